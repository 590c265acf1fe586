"""Seasons as rough as a depot's: films, slips, two hydrometers, brine that is not one temperature.

    python -m brineward.fitting.rough_seasons -n 200

A year of `brineward.fitting.seasons`, and on top of it: the brine at the probe is not quite as warm
as at the thermometer; two people test, each with a hydrometer of their own error; now and then a
mark is misread by 5 to 15 thousandths; on half of the probes a film comes, in a step or creeping,
and stays. No reading tells the calibration of any of this. All sizes were settled before the seed
that is played here was drawn.
"""

import argparse
import sys
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.season_table import bands_c, uncertainty_by_season
from brineward.fitting.seasons import (
    DAYS,
    MARK,
    Filling,
    Season,
    drawn_season,
    judged_season,
)

SEED = 50917346
APART_K = 0.1
"""What the service takes where the config says nothing."""
GRADIENT_K = 0.07
SLIPS = 0.02
SECOND_HYDROMETER = 0.6 * MARK
FILLINGS = {
    "weekly": Filling(every_days=(3.0, 14.0), share=(0.1, 0.8)),
    "daily": Filling(every_days=(1.0, 2.0), share=(0.03, 0.25)),
}
"""A tank that is run down before it is filled, and one that is topped up after a load or two."""
MONTH_DAYS = 30
TOLD_FROM = 0.01
"""As the service: a shift that standing brine shows is reported from 1 % on,"""
GROWS_FROM = 0.005
"""and a film that grows by half a percent a month or more."""


class Rough(NamedTuple):
    """One year, and what was done to it."""

    season: Season
    film: str
    """`none`, `step` or `creep`."""
    film_day: int


def drawn_rough(random: np.random.Generator, filling: Filling | None = None) -> Rough:
    """One year by chance."""
    season = drawn_season(random, filling)
    own = 0.6 * random.standard_normal()
    gradient = GRADIENT_K * (own + 0.8 * random.standard_normal(DAYS))
    hydrometer = SECOND_HYDROMETER * random.uniform(-(3.0**0.5), 3.0**0.5)
    tests = {}
    for number, (day, (mark, sample_c)) in enumerate(sorted(season.tests.items())):
        read = mark + (hydrometer if number % 2 else 0.0)
        if random.random() < SLIPS:
            read += random.choice((-1.0, 1.0)) * random.uniform(0.005, 0.015)
        tests[day] = (read, sample_c)
    film = str(random.choice(("none", "none", "step", "creep")))
    day = int(random.integers(60, 240))
    since = np.maximum(np.arange(DAYS) - day, 0)
    lost = np.zeros(DAYS)
    if film == "step":
        lost = np.where(np.arange(DAYS) >= day, random.uniform(0.02, 0.08), 0.0)
    elif film == "creep":
        lost = np.minimum(random.uniform(0.01, 0.04) * since / MONTH_DAYS, 0.15)
    rough = season._replace(
        read_c=season.read_c + gradient,
        conductivity=season.conductivity * (1.0 - lost),
        tests=tests,
    )
    return Rough(rough, film, day)


class Row(NamedTuple):
    """One day of one year, from the second test on."""

    film: str
    day: int
    temperature_c: float
    held: bool
    half: float
    """Half of the interval, % by mass; not a number where the reading was refused."""
    off: float
    """Told less true, % by mass."""
    fresh: bool
    """Within a week and 2 K of a test."""
    year: int
    told: bool
    """Something was wrong with the probe, standing brine or the last test said."""
    film_days: int
    """Since the film came; below 0 before."""
    film_tests: int
    """How many tests there have been since."""


def rows_of(
    years: int,
    seed: int = SEED,
    *,
    stands: bool = True,
    metered: bool = False,
    filling: str = "",
    fed: bool = True,
) -> list[Row]:
    """Every day's reading of so many years, each with a generator of its own.

    Without `stands` nothing is known of the tank's batches, as where no level is measured; if
    `metered`, there is a density meter beside the probe. With `filling`, one of `FILLINGS`, batches
    are made by fills of known volume, and what came in is asked if `fed`.
    """
    found = []
    for number in range(years):
        rough = drawn_rough(np.random.default_rng([seed, number]), FILLINGS.get(filling))
        second = sorted(rough.season.tests)[1]
        for one in judged_season(rough.season, APART_K, stands=stands, metered=metered, fed=fed):
            if one.day < second:
                continue
            told = one.with_density if metered else one.calibrated
            low, high = (0.0, 0.0) if told is None else told.interval_95
            found.append(
                Row(
                    rough.film,
                    one.day,
                    one.temperature_c,
                    low <= one.truth <= high,
                    float("nan") if told is None else (high - low) * 50.0,
                    float("nan") if told is None else (told.mass_fraction - one.truth) * 100.0,
                    one.test_days <= 7.0 and one.test_k <= 2.0,
                    number,
                    one.odd or abs(one.shifted) >= TOLD_FROM or one.film >= GROWS_FROM,
                    one.day - rough.film_day,
                    sum(rough.film_day <= test <= one.day for test in rough.season.tests),
                )
            )
    return found


def line(name: str, rows: Sequence[Row]) -> str:
    """What some rows show, for a terminal.

    How many held is given with its standard uncertainty, for which a year counts as one draw.
    """
    if not rows:
        return f"{name:16s} none"
    half: Floats = np.array([row.half for row in rows])
    fresh = np.array([row.half for row in rows if row.fresh] or [np.nan])
    off = np.array([row.off for row in rows])
    held: Floats = np.array([100.0 * row.held for row in rows])
    doubt = uncertainty_by_season(held, np.array([row.year for row in rows]))
    return (
        f"{name:16s} {len(rows):6d}  held {held.mean():5.1f} +- {doubt:.1f}"
        f"  half {np.nanmedian(half):.2f}  fresh {np.nanmedian(fresh):.2f}"
        f"  rms off {np.sqrt(np.nanmean(off * off)):.2f}"
    )


def telling(rows: Sequence[Row]) -> list[str]:
    """How soon a film was told, and how often without one."""
    lines = []
    for film in ("step", "creep"):
        first: dict[int, tuple[float, float]] = {}
        for row in rows:
            if row.film == film:
                first.setdefault(row.year, (float("inf"), float("inf")))
                if row.told and row.film_days >= 0:
                    first[row.year] = min(first[row.year], (row.film_days, row.film_tests))
        for place, unit in enumerate(("days", "tests")):
            found = sorted(one[place] for one in first.values())
            if found:
                share = ", ".join(
                    f"{100 * q:.0f} % in {found[int(q * len(found))]:.0f}" for q in (0.5, 0.9)
                )
                lines.append(f"{film}: of {len(found)} films told, {unit}: {share}")
    calm = [row for row in rows if row.film == "none"]
    began = sum(one.told and not was.told and one.year == was.year for was, one in pairwise(calm))
    years = max(len({row.year for row in calm}), 1)
    lines.append(f"without a film told {began} times in {years} years")
    return lines


def main(arguments: Sequence[str]) -> None:
    """Play the years, and print what held by film, band and month."""
    parser = argparse.ArgumentParser(description="Does the interval hold in rough seasons?")
    parser.add_argument("-n", "--years", type=int, default=200)
    parser.add_argument("--no-level", action="store_true", help="nothing tells when it stands")
    parser.add_argument("--metered", action="store_true", help="with a density meter")
    parser.add_argument("--filling", choices=sorted(FILLINGS), default="", help="how, if it is")
    parser.add_argument("--unfed", action="store_true", help="what came in is not asked")
    parser.add_argument("--seed", type=int, default=SEED)
    asked = parser.parse_args(arguments)
    rows = rows_of(
        asked.years,
        asked.seed,
        stands=not asked.no_level,
        metered=asked.metered,
        filling=asked.filling,
        fed=not asked.unfed,
    )
    lines = [line("all", rows)]
    lines += [line(film, [r for r in rows if r.film == film]) for film in ("none", "step", "creep")]
    for low, high in bands_c():
        chosen = [row for row in rows if low <= row.temperature_c < high]
        lines.append(line(f"{low:.0f} to {high:.0f} degC", chosen))
    for month in range(12):
        chosen = [row for row in rows if row.day // MONTH_DAYS == month]
        lines.append(line(f"month {month + 1}", chosen))
    lines += telling(rows)
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
