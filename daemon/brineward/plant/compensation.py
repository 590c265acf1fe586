"""Does a probe's transmitter convert its readings to 25 degC? Then they are not the conductivity.

Mutable, but pure. Brine conducts some 2 % more a kelvin. A transmitter that compensates for that
reads the same at any temperature: in cold brine more than any brine can conduct there, about what
the depot's brine conducts at 25 degC; and over the days its readings do not follow the temperature.
"""

import math
from collections import deque
from collections.abc import Sequence
from typing import Any

from brineward.physics.conductivity import conductivity, slope_in_temperature
from brineward.physics.liquid_lines import most_liquid
from brineward.plant.plan import DepotPlan, Strength
from brineward.plant.probes import Probe
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, Instant
from brineward.readings.outputs import Output

REFERENCE_C = 25.0
"""To which transmitters compensate (ISO 7888's reference temperature)."""
COLDER_K = 5.0
"""Nearer to it compensated and plain readings are too much alike."""
ABOVE_SATURATION = 1.05
SHARES = (0.019, 0.022)
"""By so much a kelvin transmitters compensate, least and most (common practice, no source)."""
ABOUT_AS = 0.05
"""How near the depot's own brine the readings are with that correction undone."""
MINUTES = 5
"""How many minutes of standing brine in a row must show it, or show it no more."""
SWING_K = 4.0
"""Over such a change of temperature a slope is judged: brine's would be 8 %, far more than what its
strength changes by."""
FEWEST_HOURS = 12
SHARE_FOLLOWED = 1 / 3
_KEPT = 168
_STANDARD_ERRORS = 3.0


class Compensation(Tracker):
    """One probe beside its thermometer, in standing brine."""

    def __init__(self, probe: Probe, band: Strength) -> None:
        self._probe = probe
        self._band = band
        self.vessel = probe.vessel
        self.sensor = probe.sensor
        self.name = f"compensation/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self._looked: Instant = 0
        self._run = 0
        """Minutes in a row that were like this (above 0), or unlike it (below)."""
        self.reads_as_at_25: bool | None = None
        """None before enough cold, standing brine was seen."""
        self.compensated: bool | None = None
        """Does it compensate? None if neither its readings nor their course show it."""
        self._hours: deque[tuple[int, float, float]] = deque(maxlen=_KEPT)
        """Of each hour: its number, the first temperature and the logarithm of conductivity."""
        self._followed: tuple[float, float] | None = None

    def _take(self, time: Instant, read_s_per_m: float) -> Sequence[Output]:
        """A reading of the probe: one a minute is used."""
        if time - self._looked < MINUTE:
            return ()
        self._looked = time
        probe, celsius = self._probe, self._probe.thermometer.believed(time)
        if celsius is None or read_s_per_m <= 0.0 or probe.sensor.implausible:
            return ()
        if not probe.in_standing_brine(time):
            return ()
        if not self._hours or time // HOUR != self._hours[-1][0]:
            self._hours.append((time // HOUR, celsius, round(math.log(read_s_per_m), 6)))
            self._followed = self._slope()
        if celsius <= REFERENCE_C - COLDER_K:
            like = self._like_25(read_s_per_m, celsius)
            self._run = max(1, self._run + 1) if like else min(-1, self._run - 1)
            if abs(self._run) >= MINUTES:
                self.reads_as_at_25 = self._run > 0
        self.compensated = self._judged()
        return ()

    def _like_25(self, read_s_per_m: float, celsius: float) -> bool:
        """More than any brine can conduct here, and about what this depot's does at 25 degC?"""
        here = min(max(celsius, -20.0), REFERENCE_C)
        if read_s_per_m < ABOVE_SATURATION * conductivity(most_liquid(here), here):
            return False
        most, least = (read_s_per_m * (1.0 + share * (here - REFERENCE_C)) for share in SHARES)
        low, high = (conductivity(w, here) for w in (self._band.low, self._band.high))
        return most >= low * (1.0 - ABOUT_AS) and least <= high * (1.0 + ABOUT_AS)

    def _judged(self) -> bool | None:
        slope = self._followed
        if slope is None:
            return self.reads_as_at_25
        share, error = slope
        if share + _STANDARD_ERRORS * error < SHARE_FOLLOWED:
            return True
        return self.reads_as_at_25 is True and share < 1.0 - SHARE_FOLLOWED

    def _slope(self) -> tuple[float, float] | None:
        """What its readings do a kelvin, as a share of what brine does, and its standard error."""
        hours = self._hours
        if len(hours) < FEWEST_HOURS:
            return None
        temperatures = [celsius for _, celsius, _ in hours]
        if max(temperatures) - min(temperatures) < SWING_K:
            return None
        n = len(hours)
        mean_t = sum(temperatures) / n
        mean_l = sum(read for _, _, read in hours) / n
        sum_tt = sum((celsius - mean_t) ** 2 for celsius in temperatures)
        sum_tl = sum((celsius - mean_t) * (read - mean_l) for _, celsius, read in hours)
        sum_ll = sum((read - mean_l) ** 2 for _, _, read in hours)
        slope = sum_tl / sum_tt
        left = max(0.0, sum_ll - slope * sum_tl) / (n - 2)
        at = min(max(mean_t, -20.0), 40.0)
        usual = slope_in_temperature(self._band.target, at)
        return round(slope / usual, 6), round(math.sqrt(left / sum_tt) / usual, 6)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        hours = [list(hour) for hour in self._hours]
        return [self._looked, self._run, self.reads_as_at_25, hours]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        looked, run, like, hours = data
        self._looked, self._run = int(looked), int(run)
        self.reads_as_at_25 = None if like is None else bool(like)
        self._hours = deque(
            ((int(number), float(celsius), float(read)) for number, celsius, read in hours),
            maxlen=_KEPT,
        )
        self._followed = self._slope()
        self.compensated = self._judged()


def compensations_of(plan: DepotPlan, probes: dict[str, Probe]) -> list[Compensation]:
    """That of each probe in sodium chloride brine whose vessel's level is measured."""
    return [
        Compensation(probe, plan.strength)
        for probe in probes.values()
        if probe.level is not None and plan.vessels[probe.vessel].brine == "sodium chloride"
    ]
