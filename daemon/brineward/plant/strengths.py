"""A vessel's strength as its sensors show it: the newest, and those of the last minutes."""

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from brineward.physics.salinity import NotBrine, Salinity
from brineward.plant.plan import DepotPlan
from brineward.plant.probes import Probe
from brineward.plant.second_witness import SecondWitness, second_witness
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Derived, Output

KEPT = 10 * MINUTE
FEWEST = 3
"""A median is of no fewer readings than this, where there are so many."""
_MOST = 512  # evenly spread over what is kept, however fast a probe reports


class Shown(NamedTuple):
    """A strength as a reading showed it: mass fractions."""

    mass_fraction: float
    standard_uncertainty: float
    low: float
    """The ends of its 95 % interval."""
    high: float


_STRENGTH = itemgetter(0)


class Strengths:
    """The strengths of the last ten minutes, and the one in the middle."""

    def __init__(self) -> None:
        self._shown: deque[tuple[Instant, Shown]] = deque()
        self._ordered: list[Shown] = []
        """The same by strength; of equal ones the newest first."""
        self._middles: dict[float, Shown] = {}
        """What `middle` found, until the next reading: two alarms ask for the same."""

    def add(self, time: Instant, found: Salinity) -> None:
        """Take one strength; times must rise."""
        if self._shown and time - self._shown[-1][0] < KEPT // _MOST:
            return
        low, high = found.interval_95
        shown = Shown(found.mass_fraction, found.standard_uncertainty, low, high)
        self._shown.append((time, shown))
        self._put(shown)
        self._middles.clear()
        while self._shown[0][0] < time - KEPT and len(self._shown) > FEWEST:
            _, gone = self._shown.popleft()
            del self._ordered[bisect_right(self._ordered, gone[0], key=_STRENGTH) - 1]

    def _put(self, shown: Shown) -> None:
        ordered = self._ordered
        ordered.insert(bisect_left(ordered, shown[0], key=_STRENGTH), shown)

    def middle(self, span_seconds: float) -> Shown | None:
        """The strength in the middle of those of the last so many seconds, ten minutes at most.

        One wild reading doesn't move it. None where nothing was shown.
        """
        if not self._shown:
            return None
        if span_seconds * SECOND >= KEPT:
            return self._ordered[len(self._ordered) // 2]
        found = self._middles.get(span_seconds)
        if found is None:
            since = self._shown[-1][0] - span_seconds * SECOND
            latest: list[Shown] = []
            for time, shown in reversed(self._shown):
                if time < since and len(latest) >= FEWEST:
                    break
                latest.append(shown)
            latest.sort(key=_STRENGTH)
            found = self._middles[span_seconds] = latest[len(latest) // 2]
        return found

    def middle_since(self, since: Instant) -> Shown | None:
        """The one in the middle of those since an instant; None where they are too few."""
        shown = [one for time, one in self._shown if time >= since]
        if len(shown) < FEWEST:
            return None
        return sorted(shown, key=_STRENGTH)[len(shown) // 2]

    def forget(self) -> None:
        """The probe was bared: what it showed before is of other brine."""
        self._shown.clear()
        self._ordered.clear()
        self._middles.clear()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [[time, *shown] for time, shown in self._shown]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._middles.clear()
        self._shown = deque((time, Shown(*shown)) for time, *shown in data)
        self._ordered = []
        for _, one in self._shown:
            self._put(one)


class StrengthTracker(Tracker):
    """One vessel's strength by its probe, weighed with density where that is measured too."""

    version = 2

    def __init__(self, depot: str, probe: Probe, witness: SecondWitness | None) -> None:
        self._depot = depot
        self.name = f"strength/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self.probe = probe
        self.witness = witness
        if witness is not None:
            probe.density = witness.told
        self.newest: Salinity | NotBrine | None = None
        """The newest strength, or why there is none; None without a fresh temperature."""
        self.lately = Strengths()
        """What the covered probe showed in the last minutes."""
        self._kept: Instant = 0
        """The minute of which a strength was kept last: one a minute is, every one is judged."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        thermometer = self.probe.thermometer
        temperature_c = thermometer.value
        if temperature_c is None or not thermometer.fresh(time):
            self.newest = None
            return ()
        try:
            word = self.probe.word(time, value, temperature_c)
        except NotBrine as why:
            self.newest = why
            return ()
        found = word.salinity
        if self.witness is not None:
            found = self.witness.weighed(word, self.probe, temperature_c, time)
        self.newest = found
        if self.probe.covered() is False:
            self.lately.forget()
        else:
            self.lately.add(time, found)
        return self._derived(time, found)

    def _derived(self, time: Instant, found: Salinity) -> Sequence[Output]:
        minute = time // MINUTE
        if self._kept == minute:
            return ()
        self._kept = minute
        low, high = found.interval_95
        return (
            Derived(
                time=time,
                depot=self._depot,
                name=f"{self.probe.vessel}-strength",
                value=round(found.mass_fraction, 6),
                standard_uncertainty=round(found.standard_uncertainty, 6),
                low_95=round(low, 6),
                high_95=round(high, 6),
                calibrated=self.probe.calibrated,
            ),
        )

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        newest = self.newest
        parts = (newest.reason, newest.sentence) if isinstance(newest, NotBrine) else newest
        witness = self.witness and [self.witness.agreed, self.witness.question]
        return [parts and list(parts), self.lately.snapshot(), self._kept, witness]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        newest, lately, self._kept, witness = data
        self.newest = None
        if newest is not None and len(newest) == 2:
            self.newest = NotBrine(*newest)
        elif newest is not None:
            value, uncertainty, interval, bound = newest
            self.newest = Salinity(value, uncertainty, tuple(interval), bound)
        self.lately.restore(lately)
        if self.witness is not None and witness is not None:
            self.witness.agreed, self.witness.question = witness


def strength_trackers(
    plan: DepotPlan, sensors: dict[str, SensorTracker], probes: dict[str, Probe]
) -> list[StrengthTracker]:
    """The strength of each vessel with a probe and a thermometer."""
    return [
        StrengthTracker(plan.id, probe, second_witness(plan, probe.vessel, sensors))
        for probe in probes.values()
    ]
