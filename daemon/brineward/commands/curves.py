"""`brineward curves`: the reference plot, from the physics, with the published points on it."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from brineward.physics.conductivity import conductivity
from brineward.physics.freezing import freezing_point_c, ice_line_mass_fraction
from brineward.physics.phase_coefficients import EUTECTIC_C, EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import saturation_mass_fraction
from brineward.published import conductivity_rows, freezing_rows, solubility_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DRAWN, NOT_DRAWN = 0, 2

TEMPERATURES_C = (-20, -10, 0, 10, 18, 20, 25, 30, 40)
BAND = (22.0, 25.0)
REMEDY = (
    "curves need matplotlib, which is not installed: pip install 'brineward[plots]', then ask again"
)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `curves` to the command line."""
    parser = subparsers.add_parser(
        "curves",
        help="draw conductivity over strength, and where ice and crystals come out",
        description="Draws what the service reckons with, and every published point beside it.",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        default=Path("brine-curves.png"),
        metavar="FILE",
        help="where to draw it: .png, .svg or .pdf (brine-curves.png unless said)",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Draw the plot; 0, or 2 with a sentence where it can't be drawn or written."""
    try:
        draw(arguments.output)
    except ModuleNotFoundError as missing:
        if missing.name is None or missing.name.split(".")[0] != "matplotlib":
            raise
        print(REMEDY, file=sys.stderr)
        return NOT_DRAWN
    except (OSError, ValueError) as refusal:  # no such folder, no room, an unknown kind of picture
        print(f"{arguments.output} can't be drawn: {refusal}", file=sys.stderr)
        return NOT_DRAWN
    print(f"Drawn: {arguments.output}")
    return DRAWN


def draw(file: Path) -> None:
    """Draw both diagrams into a file, whose ending says what kind.

    Raises: ModuleNotFoundError without matplotlib; OSError, ValueError where it can't be written.
    """
    from matplotlib.figure import Figure  # noqa: PLC0415 - only this command needs it, and it is optional

    figure = Figure(figsize=(15.0, 7.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    _draw_conductivity(left)
    _draw_phases(right)
    figure.savefig(file, dpi=150)


def _draw_conductivity(axes: "Axes") -> None:
    from matplotlib import colormaps  # noqa: PLC0415 - only this command needs it, and it is optional

    colour_of = colormaps["turbo"]
    low, high = TEMPERATURES_C[0] - 6.0, TEMPERATURES_C[-1] + 6.0

    def colour(temperature_c: float) -> tuple[float, float, float, float]:
        return colour_of((temperature_c - low) / (high - low))

    axes.axvspan(*BAND, color="0.92", zorder=0)
    axes.annotate("22 to 25 %", (sum(BAND) / 2, 4), ha="center", color="0.35")
    for temperature_c in TEMPERATURES_C:
        least = max(ice_line_mass_fraction(temperature_c), 1e-4)
        most = saturation_mass_fraction(temperature_c)
        strengths = [least + (most - least) * step / 120 for step in range(121)]
        levels = [10.0 * conductivity(strength, temperature_c) for strength in strengths]
        percents = [100.0 * strength for strength in strengths]
        axes.plot(percents, levels, color=colour(temperature_c), lw=1.6)
        axes.annotate(
            f"{temperature_c} degC",
            (percents[-1], levels[-1]),
            xytext=(5, -3),
            textcoords="offset points",
            color=colour(temperature_c),
        )
    rows = conductivity_rows()
    for source, marker in zip(dict.fromkeys(row.source for row in rows), "osD^vP*X", strict=False):
        points = [row for row in rows if row.source == source]
        axes.scatter(
            [100.0 * row.mass_fraction for row in points],
            [10.0 * row.conductivity_s_per_m for row in points],
            c=[colour(row.temperature_c) for row in points],
            marker=marker,
            s=26,
            edgecolors="black",
            linewidths=0.6,
            label=source,
            zorder=3,
        )
    axes.set(
        title="Conductivity of sodium chloride brine, from the ice line to saturation",
        xlabel="sodium chloride, % by mass",
        ylabel="conductivity, mS/cm",
        xlim=(0, 30.5),
        ylim=(0, None),
    )
    axes.grid(alpha=0.25)
    legend = axes.legend(title="published (colour: temperature)", loc="upper left")
    for handle in legend.legend_handles:
        if handle is not None:
            handle.set(facecolor="white")


def _draw_phases(axes: "Axes") -> None:
    axes.axvspan(*BAND, color="0.92", zorder=0)
    ice = [EUTECTIC_MASS_FRACTION * step / 200 for step in range(201)]
    axes.plot([100 * w for w in ice], [freezing_point_c(w) for w in ice], label="ice", lw=2)
    hydrohalite = _steps(EUTECTIC_C, 0.0999)
    halite = _steps(0.1, 40.0)
    for name, temperatures in (("hydrohalite", hydrohalite), ("halite", halite)):
        strengths = [100 * saturation_mass_fraction(t) for t in temperatures]
        axes.plot(strengths, temperatures, label=name, lw=2)
    axes.axhline(EUTECTIC_C, color="0.5", lw=0.8, ls="--")
    _scatter(
        axes,
        [(row.source, 100 * row.mass_fraction, row.temperature_c) for row in freezing_rows()]
        + [(row.source, 100 * row.mass_fraction, row.temperature_c) for row in solubility_rows()],
    )
    places = (("brine", (15, 12)), ("ice and brine", (5.5, -14)), ("solid", (12, -23.6)))
    for text, place in places:
        axes.annotate(text, place, ha="center", color="0.3", fontsize=12)
    axes.annotate("crystals\nand brine", (27.6, -14), ha="center", color="0.3", fontsize=12)
    axes.annotate(
        f"eutectic {100 * EUTECTIC_MASS_FRACTION:.1f} %, {EUTECTIC_C:.1f} degC",
        (100 * EUTECTIC_MASS_FRACTION, EUTECTIC_C),
        xytext=(12.5, -19.2),
        arrowprops={"arrowstyle": "->", "color": "0.3"},
        ha="center",
    )
    axes.set(
        title="Where the first solid comes out on cooling",
        xlabel="sodium chloride, % by mass",
        ylabel="temperature, degC",
        xlim=(0, 29.5),
        ylim=(-25, 42),
    )
    axes.grid(alpha=0.25)
    axes.legend(loc="upper left")


def _scatter(axes: "Axes", points: list[tuple[str, float, float]]) -> None:
    for source, marker in zip(dict.fromkeys(point[0] for point in points), "osD^vP", strict=False):
        own = [point for point in points if point[0] == source]
        axes.scatter(
            [point[1] for point in own],
            [point[2] for point in own],
            marker=marker,
            s=22,
            facecolors="none",
            edgecolors="black",
            linewidths=0.8,
            label=source,
            zorder=3,
        )


def _steps(low: float, high: float) -> list[float]:
    return [low + (high - low) * step / 100 for step in range(101)]
