"""What was made in a tank since it was last tested by hand, and since when a test is due.

Mutable, but pure. A tank that tops itself up makes many small batches: none of them needs a test of
its own, but together they do, once they could be half of what is inside.
"""

from collections.abc import Sequence
from functools import partial
from typing import Any, NamedTuple

from brineward.plant.hopper_salt import HopperSalt
from brineward.plant.plan import Vessel
from brineward.plant.probes import Probe
from brineward.plant.tracker import Taker, Tracker, shifted
from brineward.plant.vessel_episodes import VesselEpisodes
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

WORTH_SHARE = 0.5
"""The share of a full tank that is new at which a test is due: the last one says little about
it (common practice, no source)."""
FIRST_SHARE = 0.1
"""The same of what was first made from a hopper that was filled again: a few gallons in a full tank
show nothing of it (common practice, no source)."""
_KEPT = 50
"""How many batches are kept separately; beyond it the oldest two count as one."""


class Untested(NamedTuple):
    """One batch, or several as one."""

    ended: Instant
    made_m3: float


class Wanted(NamedTuple):
    """A test is due."""

    since: Instant
    """When the batch ended that made it due."""
    made_m3: float
    """What was made since the last test, m3."""
    first: bool
    """It is the first batch from a hopper that was filled again after it fell under half."""


class BatchTests(Tracker):
    """One tank with a probe: what is in it that nobody has tested."""

    lasting = True

    def __init__(self, made: VesselEpisodes, probe: Probe, salts: Sequence[HopperSalt]) -> None:
        self._made = made
        self.probe = probe
        self.vessel = made.vessel
        self.level = made.level
        self.name = f"batch-tests/{self.vessel.id}"
        full_m3 = _full_m3(self.vessel)
        self._worth_m3, self._first_m3 = WORTH_SHARE * full_m3, FIRST_SHARE * full_m3
        takes: dict[str, Taker] = {self.level.sensor.plan.id: self._take}
        self.takes = takes | {one.sensor.plan.id: partial(self._salt, one) for one in salts}
        self._made_lately: tuple[Untested, ...] = ()
        self._counted: Instant = 0
        """When the last batch ended that was counted."""
        self._halved: set[str] = set()
        """The hoppers that are under half."""
        self._filled: Instant = 0
        """When a hopper was filled again after it fell under half; 0 once its first batch is
        known."""
        self._made_since_filled_m3 = 0.0
        self._first: Instant = 0
        """When the first batch from it ended; 0 for none."""
        self._by_old_clock: tuple[Instant, ...] = ()
        """When tests were made before the clock was set, as it showed: what they tested is
        forgotten, and they say nothing of what came since."""
        self.pending = False
        """Is a test wanted, now or later?"""
        self._lessons: Instant = 0
        """Those of the probe when that was asked last."""

    # -- readings

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        blending = self._made.making.blending
        if blending is not None and blending.ended != self._counted:
            self._count(blending.batch.began, blending.ended)
        if self.probe.lessons != self._lessons:
            self._lessons, self.pending = self.probe.lessons, self.wanted() is not None
        return ()

    def _salt(self, salt: HopperSalt, time: Instant, value: float) -> Sequence[Output]:
        hopper = salt.vessel.id
        if salt.halved:
            self._halved.add(hopper)
        elif hopper in self._halved:
            self._halved.discard(hopper)
            self._filled, self._made_since_filled_m3 = salt.filled, 0.0
        return ()

    def _count(self, began: Instant, ended: Instant) -> None:
        """A batch is complete."""
        self._counted = ended
        blending, stood = self._made.making.blending, self._made.making.stood
        if blending is None or stood is None:
            return
        before = blending.batch.before
        came = stood.volume_m3 + stood.gone.volume_m3
        came = round(came - before.volume_m3 - before.gone.volume_m3, 6)
        if came <= 0.0:
            return
        # What a test covers stays as well: it may be struck.
        left = [*self._made_lately, Untested(ended, came)]
        if len(left) > _KEPT and left[0].ended <= self._tested():
            del left[0]
        elif len(left) > _KEPT:
            left[:2] = [Untested(left[1].ended, round(left[0].made_m3 + left[1].made_m3, 6))]
        self._made_lately = tuple(left)
        if self._filled and began >= self._filled:
            self._made_since_filled_m3 = round(self._made_since_filled_m3 + came, 6)
            if self._made_since_filled_m3 >= self._first_m3:
                self._first, self._filled = ended, 0
        self.pending = self.wanted() is not None

    # -- what is wanted

    def wanted(self) -> Wanted | None:
        """The test that is due; None if none is."""
        untested = self._since_test()
        made, since = 0.0, 0
        for batch in untested:
            made += batch.made_m3
            if not since and made >= self._worth_m3:
                since = batch.ended
        first = bool(untested) and self._first > self._tested()
        if first:
            since = min(since or self._first, self._first)
        return Wanted(since, round(made, 6), first) if since else None

    def _since_test(self) -> Sequence[Untested]:
        tested = self._tested()
        if not self._made_lately or tested < self._made_lately[0].ended:
            return self._made_lately
        return [batch for batch in self._made_lately if batch.ended > tested]

    def _tested(self) -> Instant:
        old = self._by_old_clock
        return max((one.at for one in self.probe.records if one.at not in old), default=0)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        left = self._since_test()
        self._made_lately = tuple(one._replace(ended=shifted(one.ended, by)) for one in left)
        self._first = shifted(self._first, by) if self._first > self._tested() else 0
        self._counted, self._filled = shifted(self._counted, by), shifted(self._filled, by)
        self._by_old_clock = tuple(record.at for record in self.probe.records)

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            [list(batch) for batch in self._made_lately],
            [self._counted, self._filled, self._first],
            self._made_since_filled_m3,
            sorted(self._halved),
            self.pending,
            list(self._by_old_clock),
            self._lessons,
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        untested, times, made, halved, pending, *more = data  # older snapshots have fewer
        self._made_lately = tuple(Untested(int(ended), float(came)) for ended, came in untested)
        self._counted, self._filled, self._first = map(int, times)
        self._made_since_filled_m3 = float(made)
        self._halved, self.pending = set(halved), bool(pending)
        self._by_old_clock = tuple(map(int, more[0])) if more else ()
        self._lessons = int(more[1]) if len(more) > 1 else 0


def _full_m3(vessel: Vessel) -> float:
    """What it holds at its fill mark, or at its brim where it has none."""
    full_m = vessel.brim_m if vessel.fill_mark_m is None else vessel.fill_mark_m
    return vessel.shape.volume_m3(full_m)


def batch_tests_of(
    episodes: Sequence[VesselEpisodes], probes: dict[str, Probe], salts: Sequence[HopperSalt]
) -> list[BatchTests]:
    """One for each tank with a level and a probe, which a test corrects."""
    return [
        BatchTests(made, probes[made.vessel.id], salts)
        for made in episodes
        if made.vessel.id in probes
    ]
