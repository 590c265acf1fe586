"""The salt of a hopper without a sensor in it: what was delivered, less what is in the brine made.

Mutable, but pure. It begins with the first delivery that somebody records: how much lay there
before is not known, and none is counted. What a batch used is known when the tank is at rest again,
from the salt in the tank before and after and in all that left meanwhile; while it is being made,
it is assumed to have the depot's target strength.
"""

from collections.abc import Sequence
from functools import partial
from typing import Any, NamedTuple

from brineward.physics.density import density
from brineward.plant.deliveries import PURE, Deliveries
from brineward.plant.hopper_salt import BULK_DENSITY, HALF, LEAST_USE_M
from brineward.plant.making import Blending, Stock
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.recent_use import RecentUse
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker, shifted
from brineward.plant.vessel_episodes import VesselEpisodes
from brineward.readings.entries import HandRecord
from brineward.readings.instants import DAY, MINUTE, Instant
from brineward.readings.outputs import Output

DOUBT = 0.1
"""What was used is known to this share of it: two standard uncertainties of a level, a shape and a
probe, and of brine that is lost unseen (common practice, no source)."""
UNRECORDED = 0.3
"""Where more than all that was delivered, and this share of it, was used, deliveries are missing
from the records: nothing can be said."""

_LOOKS_EVERY = MINUTE
_DENSITY_AT_C = 10.0


class _Made(NamedTuple):
    """What one tank's batches took, kg of salt."""

    whole: float = 0.0
    """Of the batches before the last."""
    last: float = 0.0
    """Of the last complete one; may still be known better."""
    ended: Instant = 0
    under_way: float = 0.0
    """Of the one that is being made."""
    began: Instant = 0
    """When that began."""

    @property
    def kg(self) -> float:
        """Of all of them."""
        return self.whole + self.last + self.under_way


class SaltBalance(Tracker):
    """One hopper's salt, by what was delivered and what was made from it."""

    version = 2
    lasting = True

    def __init__(self, plan: DepotPlan, vessel: Vessel, made: Sequence[VesselEpisodes]) -> None:
        self.vessel = vessel
        self.name = f"salt-balance/{vessel.id}"
        self.sensor: SensorTracker = made[0].level.sensor
        """What it is looked at after: the level of the first tank that it feeds."""
        self.takes = {one.level.sensor.plan.id: partial(self._take, one) for one in made}
        self._area_m2 = max(0.01, vessel.shape.area_m2(vessel.brim_m / 2))
        target = plan.strength.target
        self._target = target
        self._target_kg_per_m3 = target * density(target, _DENSITY_AT_C)
        self._made = {one.vessel.id: _Made() for one in made}
        self._looked = dict.fromkeys(self._made, 0)
        holds = vessel.shape.volume_m3(vessel.brim_m) * BULK_DENSITY * PURE
        self._deliveries = Deliveries(holds)
        self.left_at_first: float | None = None
        """What was left when salt was delivered last, with it, kg; None before any was."""
        self._used_before = 0.0
        """What had been used by then, kg."""
        self.filled: Instant = 0
        """When it was delivered."""
        self.halved: Instant = 0
        """When half of that was used; 0 where it isn't yet."""
        self._use = RecentUse()

    # -- what people enter

    def recorded(self, number: int, entry: HandRecord) -> None:
        """Somebody has recorded something, under this number: a delivery, or a correction of one.

        A correction replaces the delivery that it names; a struck one counts as never delivered.
        """
        if not self._deliveries.recorded(number, entry, self._used_kg_at):
            return
        found = self._deliveries.left()
        if found is None:
            self.left_at_first, self._used_before, self.filled, self.halved = None, 0.0, 0, 0
            return
        another = not entry.corrects or found.at != self.filled
        self.left_at_first, self._used_before, self.filled = found
        left = found.salt_kg - (self.used_kg - found.used_kg)
        if another or left >= HALF * found.salt_kg:
            self.halved = 0

    def _used_kg_at(self, at: Instant) -> float:
        """What had been used by then, kg, to the hour of the last days."""
        return self._use.used_at(at, self.used_kg)

    # -- what is made

    def _take(self, tank: VesselEpisodes, time: Instant, value: float) -> Sequence[Output]:
        name = tank.vessel.id
        if time - self._looked[name] < _LOOKS_EVERY:
            return ()
        self._looked[name] = time
        making, made = tank.making, self._made[name]
        blending = making.blending
        if blending is not None:
            whole = made.whole if blending.ended == made.ended else made.whole + made.last
            last = max(0.0, self._salt_of(blending, making.stood))
            made = _Made(round(whole, 3), round(last, 3), blending.ended)
        if making.batch is not None:
            before, began = making.batch.before, making.batch.began
            if made.under_way and made.began != began:  # one that was over before it was looked at
                made = made._replace(whole=round(made.whole + made.under_way, 3), under_way=0.0)
            came = tank.volume_m3 + making.gone.volume_m3
            came -= before.volume_m3 + before.gone.volume_m3
            under_way = max(made.under_way, came * self._target_kg_per_m3)
            made = made._replace(under_way=round(under_way, 3), began=began)
        self._made[name] = made
        self._note(time)
        return ()

    def _salt_of(self, blending: Blending, after: Stock | None) -> float:
        if after is None:
            return 0.0
        before = blending.batch.before
        gone = after.gone.salt_kg - before.gone.salt_kg
        return self._in(after) - self._in(before) + gone

    def _in(self, stock: Stock) -> float:
        strength = stock.seen.or_nominal(self._target)
        return stock.volume_m3 * density(strength, stock.seen.warmth) * strength

    def _note(self, time: Instant) -> None:
        self._use.note(time, self.used_kg)
        left = self.left_kg()
        if left is not None and not self.halved and left < HALF * (self.left_at_first or 0.0):
            self.halved = time

    # -- what is left

    @property
    def used_kg(self) -> float:
        """What was used since the beginning, kg."""
        return round(sum(one.kg for one in self._made.values()), 3)

    def left_kg(self) -> float | None:
        """What is left of what was delivered, kg; below 0 where more was used than that."""
        if self.left_at_first is None:
            return None
        return self.left_at_first - (self.used_kg - self._used_before)

    @property
    def bed_m(self) -> float | None:
        """The height of a bed of the salt surely left, m; None if nothing was delivered."""
        left = self.left_kg()
        if left is None:
            return None
        doubt = DOUBT * (self.used_kg - self._used_before)
        return self._height_m(max(0.0, left - doubt))

    @property
    def full_m(self) -> float:
        """How high it would have been after the last delivery, m."""
        return self._height_m(self.left_at_first or 0.0)

    def _height_m(self, kg: float) -> float:
        """By the hopper's area half way up, for a pile too."""
        return kg / (PURE * BULK_DENSITY * self._area_m2)

    def known(self, now: Instant) -> bool:
        """Is there a delivery to count from, and do the records still explain what is used?"""
        left = self.left_kg()
        recorded = left is not None and left > -UNRECORDED * (self.left_at_first or 0.0)
        return recorded and self.sensor.believed(now) is not None

    def use_m_per_s(self, now: Instant, over: Instant = DAY) -> float | None:
        """How fast such a bed went down in so long, m/s; None where that isn't known."""
        found = self._use.since(now, self.used_kg, over)
        if found is None or (gone := self._height_m(found[0])) < LEAST_USE_M:
            return None
        return gone / found[1]

    def salt_kg(self) -> float:
        """About how much salt is left, kg; 0 before any was delivered."""
        return max(0.0, self.left_kg() or 0.0)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds.

        A batch that was being made then has ended with it: the rest of it counts as another.
        """
        self._deliveries.shift(by)
        self.filled, self.halved = shifted(self.filled, by), shifted(self.halved, by)
        self._looked = {tank: shifted(at, by) for tank, at in self._looked.items()}
        self._use.shift(by)
        self._made = {
            tank: made._replace(ended=shifted(made.ended, by), began=shifted(made.began, by))
            for tank, made in self._made.items()
        }

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            {tank: list(one) for tank, one in self._made.items()},
            dict(self._looked),
            self._deliveries.snapshot(),
            [self.left_at_first, self._used_before],
            [self.filled, self.halved],
            self._use.snapshot(),
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        made, looked, deliveries, (left, used), (filled, halved), hours = data
        self._deliveries.restore(deliveries)
        self.filled, self.halved = int(filled), int(halved)
        self._made = {tank: _Made(*made[tank]) for tank in self._made}
        self._looked = {tank: int(looked[tank]) for tank in self._looked}
        self.left_at_first = None if left is None else float(left)
        self._used_before = float(used)
        self._use.restore(hours)


def salt_balances(plan: DepotPlan, made: Sequence[VesselEpisodes]) -> list[SaltBalance]:
    """One for each hopper without a sensor of its salt, where a tank that is filled has a level."""
    filled = {fill.into for fill in plan.fills}
    fed = [one for one in made if one.vessel.id in filled and one.vessel.brine == "sodium chloride"]
    return [
        SaltBalance(plan, vessel, fed)
        for vessel in plan.vessels.values()
        if vessel.kind is VesselKind.HOPPER
        and fed
        and plan.sensor_of(Measure.SALT_LEVEL, vessel.id) is None
    ]
