"""How narrow could the interval be at best in the rough years? A bound, by sizes that are known.

    python -m brineward.fitting.least_width -n 40

The best linear estimate of the strength for somebody who knows what no depot knows: the size, mean
and life of every error of `rough_seasons`, which hydrometer was read, that no film comes and no
mark is misread. It is given each day's reading, all tests up to then, and when batches began. Its
uncertainty depends on when and where was read and tested, not on what was read: all is linearised
at the truth. Intervals are not cut off at the lines of ice and saturation. An estimate that isn't
linear could be a little better, since some errors are rectangles; one that has to find the sizes
out, and must reckon with films and slips, is worse.
"""

import argparse
import sys
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.interpolate import RegularGridInterpolator
from scipy.linalg import solve_triangular

from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.rough_seasons import GRADIENT_K, SECOND_HYDROMETER, SEED, drawn_rough
from brineward.fitting.season_table import bands_c
from brineward.fitting.seasons import (
    BATCH,
    DAYS,
    MARK,
    METER_KG_PER_M3,
    PROBE,
    SALT_TAKES,
    SALT_WEIGHS,
    SAMPLE_K,
    TARGET,
    THERMOMETER_K,
    Season,
    drawn_impurity,
)
from brineward.fitting.worlds import MASS_FRACTIONS, TEMPERATURES_C, drawn_world
from brineward.physics.conductivity import (
    log_conductivity,
    slope_in_mass_fraction,
    slope_in_temperature,
)
from brineward.physics.density import density, density_per_kelvin, density_per_mass_fraction
from brineward.physics.hydrometer import salinity_from_specific_gravity, specific_gravity
from brineward.physics.probe_test import SAMPLE
from brineward.physics.salinity import COVERAGE

DRAWS = 400
"""Of worlds, and of a year's deliveries of salt: their means and covariances are of so many."""

Days = npt.NDArray[np.intp]


class Least(NamedTuple):
    """One day of one year, from the second test on."""

    temperature_c: float
    half: float
    """Half of the narrowest honest 95 % interval, % by mass."""
    fresh: bool
    """Within a week and 2 K of a test."""


class Told(NamedTuple):
    """Day by day, mass fractions."""

    off: Floats
    """Told less true; of a year without film and slips."""
    standard_uncertainty: Floats


class _Seen(NamedTuple):
    """What one kind of witness says of the strength, and what its errors weigh."""

    days: Days
    strength: Floats
    """What is measured gains so much per mass fraction,"""
    salt: Floats
    """by other salts, from none to the worst,"""
    kelvin: Floats
    """and per kelvin that the thermometer reads too much."""
    own: Floats
    """Covariance of all its other errors."""
    off: Floats
    """What was read less what would be by the true strength and the mean of all errors."""


def least_rows(years: int, seed: int = SEED, *, metered: bool = False) -> list[Least]:
    """Every day of so many years; with a density meter beside the probe if `metered`."""
    found = []
    for number in range(years):
        season = drawn_rough(np.random.default_rng([seed, number])).season
        told = least_estimate(season, metered=metered)
        tests = sorted(season.tests)
        for day in range(tests[1], DAYS):
            last = max(one for one in tests if one <= day)
            near = abs(float(season.read_c[day] - season.read_c[last])) <= 2.0
            half = 100.0 * COVERAGE * float(told.standard_uncertainty[day])
            found.append(Least(float(season.temperature_c[day]), half, near and day - last <= 7))
    return found


class Witnesses(NamedTuple):
    """All that was read and tested in one year, in order of time; linearised at the truth."""

    days: Days
    strength: Floats
    """What each gains per mass fraction."""
    off: Floats
    """What was read less what it would be at the truth and the mean of all errors."""
    errors: Floats
    """Covariance of all errors; the brine's own strength is none of them."""
    same_batch: npt.NDArray[np.bool_]
    """Are two days of one batch?"""
    readings: npt.NDArray[np.bool_]
    """Which of them are readings of the probe."""


def witnesses(season: Season, *, metered: bool = False) -> Witnesses:
    """A reading a day, all tests, and with `metered` a density a day."""
    seen = [_readings(season), _tests(season)] + ([_metered(season)] if metered else [])
    days, strength, salt, kelvin, off = (
        np.concatenate([getattr(one, name) for one in seen])
        for name in ("days", "strength", "salt", "kelvin", "off")
    )
    batch = np.cumsum(np.diff(season.mass_fraction, prepend=season.mass_fraction[0]) != 0.0)
    both = np.ix_(days, days)
    errors = np.outer(salt, salt) / 12.0 * _same_salt()[both]
    errors += np.outer(kelvin, kelvin) * _thermometer()[both]
    begins = 0
    for one in seen:
        inside = slice(begins, begins + one.days.size)
        errors[inside, inside] += one.own
        begins += one.days.size
    order = np.argsort(days, kind="stable")
    return Witnesses(
        days[order],
        strength[order],
        off[order],
        errors[np.ix_(order, order)],
        batch[:, None] == batch,
        order < seen[0].days.size,
    )


def triangle_of(seen: Witnesses) -> Floats:
    """The triangle whose square is the covariance of all witnesses, strengths included; what is
    known by any day is in its first rows.
    """
    same = seen.same_batch[np.ix_(seen.days, seen.days)]
    brine = np.outer(seen.strength, seen.strength) * BATCH**2 * same
    return np.asarray(np.linalg.cholesky(seen.errors + brine), dtype=np.float64)


def least_estimate(season: Season, *, metered: bool = False) -> Told:
    """The best linear estimate by all that was read and tested up to each day."""
    seen = witnesses(season, metered=metered)
    off = seen.off + seen.strength * (season.mass_fraction[seen.days] - TARGET)
    right = seen.strength[:, None] * BATCH**2 * seen.same_batch[seen.days]
    solved = solve_triangular(triangle_of(seen), np.column_stack([off, right]), lower=True)
    until = np.searchsorted(seen.days, np.arange(DAYS), side="right") - 1
    mean = np.cumsum(solved[:, :1] * solved[:, 1:], axis=0)[until, np.arange(DAYS)]
    learnt = np.cumsum(solved[:, 1:] ** 2, axis=0)[until, np.arange(DAYS)]
    return Told(TARGET + mean - season.mass_fraction, np.sqrt(BATCH**2 - learnt))


def _readings(season: Season) -> _Seen:
    pairs = _pairs(season)
    strength = np.array([slope_in_mass_fraction(w, t) for w, t in pairs])
    short = strength * np.interp(season.temperature_c, *SALT_TAKES)
    curve = _worlds()(np.column_stack([season.mass_fraction, season.temperature_c])).T
    as_read = zip(season.mass_fraction, season.read_c, strict=True)
    expected = np.array([log_conductivity(float(w), float(t)) for w, t in as_read])
    year, ramp = np.arange(1, DAYS + 1) / DAYS, np.arange(DAYS) / DAYS
    drift = 0.49 + 0.25 * np.outer(ramp, ramp) + 0.64 * np.minimum.outer(year, year)
    return _Seen(
        np.arange(DAYS),
        strength,
        -short,
        -np.array([slope_in_temperature(w, t) for w, t in pairs]),
        PROBE**2 * (drift + 0.15**2 * np.eye(DAYS)) + np.cov(curve, rowvar=False),
        np.log(season.conductivity) - expected - curve.mean(axis=0) + 0.5 * short,
    )


def _tests(season: Season) -> _Seen:
    days = np.array(sorted(season.tests))
    pairs = [_pairs(season)[day] for day in days]
    per_mark = np.array(
        [1e-4 / (specific_gravity(w + 1e-4, t) - specific_gravity(w, t)) for w, t in pairs]
    )
    kelvin = np.array([_per_kelvin(w, t) for w, t in pairs])
    second = np.arange(days.size) % 2
    # All of one hydrometer, more of the other, and a mark that is read to half a thousandth.
    lasting = 0.36 * MARK**2 + SECOND_HYDROMETER**2 * np.outer(second, second)
    each = 0.64 * MARK**2 + 0.0005**2 / 12.0
    mark = (lasting + each * np.eye(days.size)) * np.outer(per_mark, per_mark)
    warmth = (0.7 * SAMPLE_K) ** 2 * (1.0 + np.eye(days.size)) * np.outer(kelvin, kelvin)
    said = [
        salinity_from_specific_gravity(
            *season.tests[int(day)],
            mark_standard_uncertainty=MARK,
            temperature_standard_uncertainty=SAMPLE_K,
        ).mass_fraction
        for day in days
    ]
    return _Seen(
        days,
        np.ones(days.size),
        np.full(days.size, SALT_WEIGHS),
        np.zeros(days.size),
        mark + warmth + SAMPLE**2 * np.eye(days.size),
        np.array(said) - season.mass_fraction[days] - 0.5 * SALT_WEIGHS,
    )


def _metered(season: Season) -> _Seen:
    pairs = _pairs(season)
    per_density = np.array([1.0 / density_per_mass_fraction(w, t) for w, t in pairs])
    each = METER_KG_PER_M3**2 * (0.64 + 0.25 * np.eye(DAYS))
    as_read = zip(season.mass_fraction, season.read_c, strict=True)
    expected = np.array([density(float(w), float(t)) for w, t in as_read])
    return _Seen(
        np.arange(DAYS),
        np.ones(DAYS),
        np.full(DAYS, SALT_WEIGHS),
        np.array([_per_kelvin(w, t) for w, t in pairs]),
        each * np.outer(per_density, per_density),
        (season.read_density - expected) * per_density - 0.5 * SALT_WEIGHS,
    )


def _pairs(season: Season) -> list[tuple[float, float]]:
    both = zip(season.mass_fraction, season.temperature_c, strict=True)
    return [(float(w), float(t)) for w, t in both]


def _per_kelvin(mass_fraction: float, temperature_c: float) -> float:
    """What a strength told by density gains per kelvin that its thermometer reads too much."""
    pair = mass_fraction, temperature_c
    return -density_per_kelvin(*pair) / density_per_mass_fraction(*pair)


def _thermometer() -> Floats:
    """K squared: the thermometer's own, and what the brine at the probe is off it."""
    ramp, each = np.arange(DAYS) / DAYS, np.eye(DAYS)
    own = 0.95**2 + 0.2**2 * np.outer(ramp, ramp) + 0.15**2 * each
    found: Floats = THERMOMETER_K**2 * own + GRADIENT_K**2 * (0.36 + 0.64 * each)
    return found


@cache
def _worlds() -> RegularGridInterpolator:
    """By how much each of many worlds lies off our curve, over mass fraction and temperature."""
    random = np.random.default_rng(SEED)
    w, t = (axis.ravel() for axis in np.meshgrid(MASS_FRACTIONS, TEMPERATURES_C, indexing="ij"))
    off = np.array([drawn_world(random).difference(w, t) for _ in range(DRAWS)]).T
    shape = MASS_FRACTIONS.size, TEMPERATURES_C.size, DRAWS
    return RegularGridInterpolator((MASS_FRACTIONS, TEMPERATURES_C), off.reshape(shape))


@cache
def _same_salt() -> Floats:
    """How likely the salt of two days is of one delivery."""
    random = np.random.default_rng(SEED)
    found = np.zeros((DAYS, DAYS))
    for _ in range(DRAWS):
        salt = drawn_impurity(random)
        found += salt[:, None] == salt
    return found / DRAWS


def main(arguments: Sequence[str]) -> None:
    """Print the bound, over all and by band of temperature."""
    parser = argparse.ArgumentParser(description="How narrow could the interval be at best?")
    parser.add_argument("-n", "--years", type=int, default=40)
    parser.add_argument("--metered", action="store_true", help="with a density meter")
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args(arguments)
    rows = least_rows(asked.years, asked.seed, metered=asked.metered)
    lines = [_line("all", rows)]
    for low, high in bands_c():
        chosen = [row for row in rows if low <= row.temperature_c < high]
        lines.append(_line(f"{low:.0f} to {high:.0f} degC", chosen))
    sys.stdout.write("\n".join(lines) + "\n")


def _line(name: str, rows: Sequence[Least]) -> str:
    if not rows:
        return f"{name:16s} none"
    half = np.median([row.half for row in rows])
    fresh = np.median([row.half for row in rows if row.fresh] or [np.nan])
    return f"{name:16s} {len(rows):6d}  half {half:.2f}  fresh {fresh:.2f}"


if __name__ == "__main__":
    main(sys.argv[1:])
