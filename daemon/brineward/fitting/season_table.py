"""A thousand seasons (`brineward.fitting.seasons`): how often the interval held, and how wide.

python -m brineward.fitting.season_table                    prints, and draws seasons.png
python -m brineward.fitting.season_table -n 100 -o FILE     fewer seasons, another file
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.seasons import (
    COLDEST_C,
    DAYS,
    WARMEST_C,
    Judged,
    drawn_season,
    fouled,
    judged_season,
)
from brineward.physics.salinity import Salinity

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BAND_K = 5.0
WEEK_DAYS = 7.0
SEED = 60718293
"""Drawn after every size here and in the calibration had been settled on other seeds."""
KINDS = ("plain", "calibrated", "with_density")
GROUPS = (
    "not tested",
    "first test, week, 2 K",
    "week, 2 K",
    "week, 5 K",
    "older",
    "week, 2 K, density",
)
"""Since the last test: how long, and how far the temperature has moved."""
LEGEND = {
    "not tested": "never tested",
    "first test, week, 2 K": "one test, within a week and 2 degC of it",
    "week, 2 K": "within a week and 2 degC of a test",
    "week, 5 K": "within a week and 5 degC",
    "older": "tested longer ago",
    "week, 2 K, density": "within a week and 2 degC, with a density meter",
}
FOULING = (0.03, 0.08)


class Readings(NamedTuple):
    """All readings of many seasons, one a row."""

    season: npt.NDArray[np.int64]
    temperature_c: Floats
    held: dict[str, Floats]
    """By kind: 1 where the interval held the truth, 0 where not or where it was refused."""
    half: dict[str, Floats]
    """By kind: half of the interval, % by mass; not a number where the reading was refused."""
    test_days: Floats
    test_k: Floats
    tests: Floats


class Cell(NamedTuple):
    """One group of readings in one band of temperature."""

    readings: int
    held: float
    """The share of intervals that held the truth."""
    held_uncertainty: float
    """Standard uncertainty of that share; a season counts as one draw."""
    half_median: float
    half_most: float
    """Of 95 in 100 readings."""


def readings_of(seasons: int, seed: int = SEED, *, every: int = 1) -> Readings:
    """The readings of so many seasons, each with a generator of its own; one of `every` so many
    days, since those of a year err together."""
    rows: list[tuple[float, ...]] = []
    for number in range(seasons):
        season = drawn_season(np.random.default_rng([seed, number]))
        rows += [_row(number, one) for one in judged_season(season, every=every)]
    table = np.array(rows)
    return Readings(
        table[:, 0].astype(np.int64),
        table[:, 1],
        {kind: table[:, 2 + 2 * i] for i, kind in enumerate(KINDS)},
        {kind: table[:, 3 + 2 * i] for i, kind in enumerate(KINDS)},
        table[:, 8],
        table[:, 9],
        table[:, 10],
    )


def _row(number: int, one: Judged) -> tuple[float, ...]:
    judged = (_judged(one.plain, one), _judged(one.calibrated, one), _judged(one.with_density, one))
    flat = [value for pair in judged for value in pair]
    since = (one.test_days, one.test_k, float(one.tests))
    return (float(number), one.temperature_c, *flat, *since)


def _judged(found: Salinity | None, one: Judged) -> tuple[float, float]:
    if found is None:
        return 0.0, float("nan")
    low, high = found.interval_95
    return float(low <= one.truth <= high), (high - low) * 50.0


def bands_c() -> Iterator[tuple[float, float]]:
    """The bands of temperature, from the coldest up."""
    low = COLDEST_C
    while low < WARMEST_C:
        yield low, low + BAND_K
        low += BAND_K


def cell(found: Readings, group: str, low_c: float, high_c: float) -> Cell:
    """What one group shows in one band."""
    week = found.test_days <= WEEK_DAYS
    chosen = {
        "not tested": np.ones_like(week),
        "first test, week, 2 K": week & (found.test_k <= 2.0) & (found.tests == 1.0),
        "week, 2 K": week & (found.test_k <= 2.0),
        "week, 5 K": week & (found.test_k <= 5.0),
        "older": np.isfinite(found.test_days) & ~week,
        "week, 2 K, density": week & (found.test_k <= 2.0),
    }[group]
    kind = {"not tested": "plain", "week, 2 K, density": "with_density"}.get(group, "calibrated")
    # The warmest band has its upper end in it: weather is cut off there.
    last = high_c >= WARMEST_C
    inside = (found.temperature_c >= low_c) & ((found.temperature_c < high_c) | last)
    rows = chosen & inside
    held, half = found.held[kind][rows], found.half[kind][rows]
    if held.size == 0:
        return Cell(0, *(float("nan"),) * 4)
    return Cell(
        held.size,
        float(held.mean()),
        uncertainty_by_season(held, found.season[rows]),
        float(np.nanmedian(half)),
        float(np.nanpercentile(half, 95.0)),
    )


def uncertainty_by_season(held: Floats, season: npt.NDArray[np.int64]) -> float:
    """Standard uncertainty of a mean over seasons: all readings of one share its errors."""
    counts = np.bincount(season)
    off = np.bincount(season, weights=held - held.mean())
    return float(np.sqrt(np.sum(off * off)) / counts.sum())


class Fouling(NamedTuple):
    """How often the interval held after a film came on the probe, by how much was known."""

    untold: float
    """Before any test."""
    odd: float
    """After one test that was set aside."""
    decided: float
    """From the second test on."""
    seen_after_tests: float
    """Tests until nothing was in doubt any more, the median."""


def fouling_of(seasons: int, seed: int = SEED) -> Fouling:
    """Seasons in which a film takes 3 to 8 % of the reading from one day on."""
    held: dict[str, list[float]] = {"untold": [], "odd": [], "decided": []}
    needed: list[int] = []
    for number in range(seasons):
        random = np.random.default_rng([seed, number, 1])
        season = drawn_season(random)
        day = int(random.integers(90, 200))
        share = float(random.uniform(*FOULING))
        after = [test for test in sorted(season.tests) if test >= day]
        judged = [one for one in judged_season(fouled(season, day, share)) if one.day >= day]
        for one in judged[:60]:
            told = "untold" if one.day < after[0] else "odd" if one.odd else "decided"
            held[told].append(_judged(one.calibrated, one)[0])
        settled = next((one.day for one in judged if one.day >= after[0] and not one.odd), DAYS)
        needed.append(sum(test <= settled for test in after))
    return Fouling(
        untold=float(np.mean(held["untold"])),
        odd=float(np.mean(held["odd"])),
        decided=float(np.mean(held["decided"])),
        seen_after_tests=float(np.median(needed)),
    )


def table_text(found: Readings, seasons: int) -> str:
    """The table, for a terminal."""
    lines = [
        f"{seasons} seasons",
        "held: of 100 intervals (95 %), how many held the truth, with its standard uncertainty",
        "half: half of the interval, % by mass: the median / what 95 in 100 stay within",
    ]
    for group in GROUPS:
        lines.append(f"{group}:")
        for low, high in bands_c():
            one = cell(found, group, low, high)
            lines.append(
                f"  {low:4.0f} to {high:3.0f} degC  {one.readings:7d}  held {one.held * 100:5.1f}"
                f" +- {one.held_uncertainty * 100:3.1f}"
                f"  half {one.half_median:5.2f} / {one.half_most:5.2f}"
            )
    return "\n".join(lines)


def picture(found: Readings, seasons: int) -> "Figure":
    """Coverage and width over temperature."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - optional, and only for the picture

    figure = Figure(figsize=(13.0, 6.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    middles = np.array([(low + high) / 2.0 for low, high in bands_c()])
    left.axhspan(94.0, 98.0, color="0.92", label="aim: 94 to 98 %")
    left.axhline(95.0, color="0.6", linewidth=0.8)
    for number, (group, marker) in enumerate(zip(GROUPS, "osD^vP", strict=True)):
        cells = [cell(found, group, low, high) for low, high in bands_c()]
        # Side by side, or the bars of one hide the others'.
        aside = middles + (number - (len(GROUPS) - 1) / 2.0) * 0.45
        left.errorbar(
            aside,
            [one.held * 100.0 for one in cells],
            yerr=[one.held_uncertainty * 100.0 for one in cells],
            marker=marker,
            markersize=5,
            linewidth=1.0,
            capsize=2,
            label=LEGEND[group],
        )
        right.plot(middles, [one.half_median for one in cells], marker=marker, label=LEGEND[group])
    left.set(
        ylabel="95 % intervals that held the truth, %",
        ylim=(88.0, 100.5),
        title=f"Does it hold? {seasons} seasons in a world that is not the model",
    )
    right.set(
        ylabel="half of the 95 % interval, % by mass (median)",
        ylim=(0.0, None),
        title="How wide is it? What a test buys, and for how long",
    )
    for axes in (left, right):
        axes.set_xlabel("brine, degC (bands of 5 degC)")
        axes.grid(alpha=0.25)
    handles, labels = left.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4, fontsize=9)
    return figure


def main(arguments: Sequence[str]) -> None:
    """Play the seasons, print the table, draw the picture."""
    parser = argparse.ArgumentParser(description="Does the stated interval hold the truth?")
    parser.add_argument("-n", "--seasons", type=int, default=1000)
    parser.add_argument("-o", "--output", type=Path, default=Path("seasons.png"))
    asked = parser.parse_args(arguments)
    found = readings_of(asked.seasons)
    sys.stdout.write(table_text(found, asked.seasons) + "\n")
    fouling = fouling_of(max(1, asked.seasons // 5))
    sys.stdout.write(
        f"A film of {FOULING[0]:.0%} to {FOULING[1]:.0%} comes on the probe: intervals that held"
        f" before the next test {fouling.untold:.1%}, after a test that was set aside"
        f" {fouling.odd:.1%}, after that {fouling.decided:.1%}; tests needed, the median:"
        f" {fouling.seen_after_tests:.0f}\n"
    )
    picture(found, asked.seasons).savefig(asked.output, dpi=110)


if __name__ == "__main__":
    main(sys.argv[1:])
