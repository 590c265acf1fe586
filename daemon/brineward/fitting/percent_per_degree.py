"""What a fixed percent per degree makes of brine: the numbers and the picture of the docs.

    python -m brineward.fitting.percent_per_degree            prints, draws percent-per-degree.png
    python -m brineward.fitting.percent_per_degree -o FILE

The rule of many meters: divide what the probe reads by 1 + a (t - 25) with one a, 2 % per degree
say, and look the result up at 25 degC.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from brineward.physics.conductivity import conductivity, slope_in_temperature
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.salinity import NotBrine, mass_fraction_from_conductivity
from brineward.published import conductivity_coefficient_rows, conductivity_rows, sources

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RULES = (0.019, 0.020, 0.021, 0.022, 0.025)
TEMPERATURES_C = (-15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0)
STRENGTHS = (0.20, 0.22, 0.233, 0.25)
BAND = (0.22, 0.25)
GRID_C = tuple(-15.0 + 0.25 * step for step in range(181))
"""Where the picture's lines are worked out."""


class Shown(NamedTuple):
    """What the rule makes of a reading."""

    mass_fraction: float | None
    """None: more than saturated brine conducts at 25 degC, so no strength at all."""
    conductivity_25: float


def shown(conductivity_s_per_m: float, temperature_c: float, rule: float) -> Shown:
    """The strength that a fixed percent per degree tells; none where it divides by 0 or less."""
    divisor = 1.0 + rule * (temperature_c - 25.0)
    if divisor <= 0.0:
        return Shown(None, inf)
    at_25 = conductivity_s_per_m / divisor
    try:
        return Shown(mass_fraction_from_conductivity(at_25, 25.0), at_25)
    except NotBrine:
        return Shown(None, at_25)


def is_liquid(mass_fraction: float, temperature_c: float) -> bool:
    """Is there brine of this strength at this temperature?"""
    return least_liquid(temperature_c) <= mass_fraction <= most_liquid(temperature_c)


def table(rule: float) -> Iterator[str]:
    """What the rule says of good and weak brine, temperature by temperature."""
    yield f"{rule:.1%} per degree: what it tells of brine of"
    yield "   degC " + "".join(f"{strength * 100:9.1f} %" for strength in STRENGTHS)
    for temperature_c in TEMPERATURES_C:
        cells = [_cell(strength, temperature_c, rule) for strength in STRENGTHS]
        yield f"  {temperature_c:5.0f} " + "".join(cell.rjust(11) for cell in cells)


def _cell(strength: float, temperature_c: float, rule: float) -> str:
    if not is_liquid(strength, temperature_c):
        return "not liquid"
    told = shown(conductivity(strength, temperature_c), temperature_c, rule).mass_fraction
    return "none" if told is None else f"{told * 100:.1f} %"


def published_table(rule: float) -> Iterator[str]:
    """The same for what was measured, with no curve of ours but at 25 degC."""
    yield f"{rule:.1%} per degree, on published conductivities of 20 % and more, not at 25 degC:"
    for row in conductivity_rows():
        if row.mass_fraction < 0.20 or abs(row.temperature_c - 25.0) < 0.5:
            continue
        told = shown(row.conductivity_s_per_m, row.temperature_c, rule)
        says = "no strength" if told.mass_fraction is None else f"{told.mass_fraction * 100:.2f} %"
        yield (
            f"  {row.source:8} {row.mass_fraction * 100:6.2f} % at {row.temperature_c:4.1f} degC, "
            f"{row.conductivity_s_per_m * 10.0:6.1f} mS/cm: it says {says}"
            f" ({told.conductivity_25 * 10.0:.0f} mS/cm at 25 degC)"
        )


def true_rates() -> Iterator[str]:
    """Percent per degree as brine has it, against 25 degC and from degree to degree."""
    yield "percent per degree of 23.3 %: from that degree to the next, and against 25 degC"
    for temperature_c in TEMPERATURES_C:
        ratio = conductivity(0.233, temperature_c) / conductivity(0.233, 25.0)
        whole = (
            "" if temperature_c == 25.0 else f"{(ratio - 1.0) / (temperature_c - 25.0) * 100:5.2f}"
        )
        local = slope_in_temperature(0.233, temperature_c) * 100.0
        yield f"  {temperature_c:5.0f} degC  {local:5.2f}  {whole}"


def picture() -> "Figure":
    """What the rule shows of 23.3 % brine, and the percent per degree that brine has."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - optional, and only for the picture

    figure = Figure(figsize=(13.0, 6.0), layout="constrained")
    left, right = figure.subplots(1, 2)
    _draw_shown(left)
    _draw_rates(right)
    for axes in (left, right):
        axes.set(xlabel="brine, degC", xlim=(GRID_C[0], GRID_C[-1]))
        axes.grid(alpha=0.25)
        other = axes.secondary_xaxis("top", functions=(_fahrenheit, _celsius))
        other.set_xlabel("brine, degF")
    return figure


def _draw_shown(left: "Axes") -> None:
    left.axhspan(BAND[0] * 100, BAND[1] * 100, color="0.92", label="usual band, 22 to 25 %")
    left.axhline(23.3, color="black", linewidth=1.2, label="the truth, 23.3 %")
    for rule in RULES:
        told = [(t, shown(conductivity(0.233, t), t, rule).mass_fraction) for t in GRID_C]
        line = left.plot(
            [t for t, w in told if w is not None],
            [w * 100 for _, w in told if w is not None],
            label=f"{rule * 100:.1f} % per degree",
        )
        end = next((t for t, w in told if w is not None), None)
        if end is not None and end > GRID_C[0]:
            left.plot([end], [most_liquid(25.0) * 100], "x", ms=8, color=line[0].get_color())
    left.set(
        ylabel="what the rule shows, % by mass",
        ylim=(20.0, 27.0),
        title="Brine of 23.3 %; left of a cross the rule has no answer",
    )
    left.legend(fontsize=9, loc="lower left", framealpha=1.0)


def _draw_rates(right: "Axes") -> None:
    for strength in (0.10, 0.233, 0.26):
        warm = [t for t in GRID_C if is_liquid(strength, t)]
        right.plot(
            warm,
            [slope_in_temperature(strength, t) * 100 for t in warm],
            label=f"brine of {strength * 100:g} %",
        )
    measured = [row for row in conductivity_coefficient_rows() if row.mass_fraction >= 0.05]
    (source,) = {row.source for row in measured}
    right.plot(
        [18.0] * len(measured),
        [row.coefficient_per_k * 100 for row in measured],
        "ko",
        ms=4,
        label=f"{sources()[source].cited_as};\n5 % and more, at 18 degC",
    )
    right.axhline(2.0, color="tab:red", linewidth=1.2, label="the rule, 2 % per degree")
    right.set(
        ylabel="percent per degC",
        ylim=(1.5, 4.5),
        title="Percent per degree, as brine has it",
    )
    right.legend(fontsize=9, framealpha=1.0)


def _fahrenheit(temperature_c: Any) -> Any:
    """Of numbers and of matplotlib's arrays."""
    return temperature_c * 1.8 + 32.0


def _celsius(temperature_f: Any) -> Any:
    return (temperature_f - 32.0) / 1.8


def main(arguments: Sequence[str]) -> None:
    """Print the numbers and draw the picture."""
    parser = argparse.ArgumentParser(description="What a fixed percent per degree makes of brine.")
    parser.add_argument("-o", "--output", type=Path, default=Path("percent-per-degree.png"))
    asked = parser.parse_args(arguments)
    for rule in (0.019, 0.020, 0.022):
        sys.stdout.write("\n".join(table(rule)) + "\n")
    sys.stdout.write("\n".join(published_table(0.02)) + "\n")
    sys.stdout.write("\n".join(true_rates()) + "\n")
    picture().savefig(asked.output, dpi=110)


if __name__ == "__main__":
    main(sys.argv[1:])
