"""When the next hydrometer test is worth the walk: when the strength is known too loosely."""

from collections.abc import Iterator
from math import exp
from typing import NamedTuple

from brineward.physics.conductivity import conductivity
from brineward.physics.freezing import freezing_point_c
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import Salinity
from brineward.plant.plan import Strength
from brineward.plant.probes import Probe
from brineward.readings.instants import DAY, SECOND, Instant
from brineward.records.tests_due import LONGEST_DAYS

FURTHEST_K = 25.0
_WARMEST_C = 40.0
_STEP_K = 0.5


class NextTest(NamedTuple):
    """How well brine at the target would be known, and what makes the next test due."""

    known: Salinity | None
    """What a reading of brine at the target would be taken for; None where it isn't liquid."""
    loose: bool
    """The interval of brine at the target reaches an end of the band: a test is worth the walk."""
    old: bool
    """The last test is older than `LONGEST_DAYS`, or there is none."""
    at: Instant | None
    """When it will be loose at this temperature, or old; None where it is already."""
    below_c: float | None
    """It is loose today where the brine is colder than this; None: not within `FURTHEST_K`."""
    above_c: float | None
    """The same for warmer."""


def next_test(probe: Probe, band: Strength, temperature_c: float, now: Instant) -> NextTest:
    """When brine at the target can no longer be told from brine at an end of the band.

    Temperature -21.1 to 40 degC, as the probe's thermometer says.
    """
    known = known_at_target(probe, band, temperature_c, now)
    loose, old = _loose(known, band), _old(probe, now)
    if loose or old:
        return NextTest(known, loose, old, None, None, None)
    colder = _steps(temperature_c, -_STEP_K, freezing_point_c(band.target))
    warmer = _steps(temperature_c, _STEP_K, _WARMEST_C)
    return NextTest(
        known,
        loose,
        old,
        _first_day(probe, band, temperature_c, now),
        _first_loose(probe, band, colder, now),
        _first_loose(probe, band, warmer, now),
    )


def known_at_target(
    probe: Probe, band: Strength, temperature_c: float, now: Instant
) -> Salinity | None:
    """What the reading of brine at the target would be taken for, at a temperature and a time."""
    try:
        true = conductivity(band.target, temperature_c)
        found = probe.calibration.factor_at(now / SECOND, temperature_c, band.target)
        factor = found.log_factor if probe.calibrated else 0.0
        return probe.strength(now, true * exp(-factor), temperature_c, holding=False)
    except NotBrine:
        return None


def _loose(known: Salinity | None, band: Strength) -> bool:
    if known is None:
        return True
    low, high = known.interval_95
    return low < band.low or high > band.high


def _old(probe: Probe, now: Instant) -> bool:
    kept = probe.calibration.kept
    return not kept or now - kept[-1].seconds * SECOND > LONGEST_DAYS * DAY


def _first_day(probe: Probe, band: Strength, temperature_c: float, now: Instant) -> Instant:
    then = now
    while not (
        _old(probe, then) or _loose(known_at_target(probe, band, temperature_c, then), band)
    ):
        then += DAY
    return then


def _steps(temperature_c: float, step_k: float, end_c: float) -> Iterator[float]:
    for count in range(1, round(FURTHEST_K / _STEP_K) + 1):
        there = temperature_c + count * step_k
        if (end_c - there) * step_k < 0.0:
            return
        yield there


def _first_loose(
    probe: Probe, band: Strength, temperatures: Iterator[float], now: Instant
) -> float | None:
    for there in temperatures:
        if _loose(known_at_target(probe, band, there, now), band):
            return there
    return None
