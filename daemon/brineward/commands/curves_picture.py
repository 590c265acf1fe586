"""The reference plot itself: conductivity against strength, and the lines of ice and crystals."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from brineward.physics.conductivity import conductivity
from brineward.physics.freezing import freezing_point_c, ice_line_mass_fraction
from brineward.physics.phase_coefficients import EUTECTIC_C, EUTECTIC_MASS_FRACTION, TRANSITION_C
from brineward.physics.saturation import SATURATION_EXPANDED_UNCERTAINTY, saturation_mass_fraction
from brineward.published import conductivity_rows, freezing_rows, solubility_rows, sources

TEMPERATURES_C = (-20, -10, 0, 10, 18, 20, 25, 30, 35, 40)
BAND = (22.0, 25.0)
BAND_LABEL = "usual band,\n22 to 25 %"
MARKERS = "osD^vPX*"
WARMEST_C = 40.0
TEXT = "0.15"


class Point(NamedTuple):
    """One published value of the phase lines."""

    source: str
    percent: float
    temperature_c: float


def picture() -> Figure:
    """Both diagrams, with every published point beside what the service reckons with."""
    figure = Figure(figsize=(16.0, 8.0), layout="constrained")
    left, right = figure.subplots(1, 2)
    _draw_conductivity(left)
    _draw_phases(right)
    return figure


def _draw_conductivity(axes: Axes) -> None:
    _draw_band(axes, 16.0)
    for temperature_c in TEMPERATURES_C:
        least = max(ice_line_mass_fraction(temperature_c), 1e-4)
        most = saturation_mass_fraction(temperature_c)
        strengths = [least + (most - least) * step / 120 for step in range(121)]
        levels = [10.0 * conductivity(strength, temperature_c) for strength in strengths]
        axes.plot(_percents(strengths), levels, color=_colour(temperature_c), lw=1.8)
        axes.annotate(
            f"{temperature_c} degC, {_fahrenheit(temperature_c):.0f} degF",
            (100.0 * most, levels[-1]),
            xytext=(7, 0),
            textcoords="offset points",
            color=TEXT,
            fontsize=9,
            va="center",
        )
    rows = conductivity_rows()
    for source, marker in _markers(row.source for row in rows).items():
        points = [row for row in rows if row.source == source]
        axes.scatter(
            [100.0 * row.mass_fraction for row in points],
            [10.0 * row.conductivity_s_per_m for row in points],
            c=[_colour(row.temperature_c) for row in points],
            marker=marker,
            s=30,
            edgecolors="black",
            linewidths=0.7,
            label=sources()[source].cited_as,
            zorder=3,
        )
    axes.set(
        title="Conductivity of sodium chloride brine, from the ice line to saturation",
        xlabel="sodium chloride, % by mass",
        ylabel="conductivity, mS/cm",
        xlim=(0, 33),
        ylim=(0, 350),
    )
    axes.grid(alpha=0.25)
    legend = axes.legend(
        title="published (colour: temperature)", loc="upper left", fontsize=9.5, framealpha=1.0
    )
    for handle in legend.legend_handles:
        if handle is not None:
            handle.set(facecolor="white", edgecolor="black", sizes=[50.0])


def _draw_phases(axes: Axes) -> None:
    _draw_band(axes, 30.0)
    ice = [EUTECTIC_MASS_FRACTION * step / 200 for step in range(201)]
    axes.plot(_percents(ice), [freezing_point_c(w) for w in ice], label="ice", lw=2)
    for name, (low, high) in _crystals().items():
        temperatures = _steps(low, high)
        axes.plot(_saturated(temperatures), temperatures, label=name, lw=2)
    axes.axhline(EUTECTIC_C, color="0.5", lw=0.8, ls="--")
    saturated = [
        Point(row.source, 100.0 * row.mass_fraction, row.temperature_c) for row in solubility_rows()
    ]
    freezing = [
        Point(row.source, 100.0 * row.mass_fraction, row.temperature_c) for row in freezing_rows()
    ]
    markers = _markers(point.source for point in (*freezing, *saturated))
    _scatter(axes, [*freezing, *saturated], markers)
    axes.annotate("brine", (10.0, 4.0), ha="center", color="0.3", fontsize=13)
    axes.annotate("ice and brine", (5.5, -13.0), ha="center", color="0.3", fontsize=13)
    axes.annotate("solid", (12.0, -24.0), ha="center", color="0.3", fontsize=13)
    axes.annotate("crystals\nand brine", (28.2, -14.0), ha="center", color="0.3", fontsize=13)
    axes.annotate(
        f"eutectic {100 * EUTECTIC_MASS_FRACTION:.1f} %, {EUTECTIC_C:.1f} degC",
        (100 * EUTECTIC_MASS_FRACTION, EUTECTIC_C),
        xytext=(11.0, -19.4),
        arrowprops={"arrowstyle": "->", "color": "0.3"},
        ha="center",
        color=TEXT,
    )
    axes.set(
        title="Where the first solid comes out on cooling",
        xlabel="sodium chloride, % by mass",
        ylabel="temperature, degC",
        xlim=(0, 30.5),
        ylim=(-26, 62),
    )
    other = axes.secondary_yaxis("right", functions=(_fahrenheit, _celsius))
    other.set_ylabel("temperature, degF")
    axes.grid(alpha=0.25)
    axes.legend(loc="upper left", fontsize=9.5, framealpha=1.0)
    _draw_saturation(axes, saturated, markers)


def _draw_saturation(axes: Axes, points: Sequence[Point], markers: Mapping[str, str]) -> None:
    """Halite's line drawn out, with how well it is known."""
    inset = axes.inset_axes((0.40, 0.36, 0.26, 0.27))
    temperatures = _steps(TRANSITION_C, WARMEST_C)
    saturated = _saturated(temperatures)
    reach = 100.0 * SATURATION_EXPANDED_UNCERTAINTY
    inset.fill_betweenx(
        temperatures,
        [percent - reach for percent in saturated],
        [percent + reach for percent in saturated],
        color="tab:green",
        alpha=0.2,
        lw=0,
    )
    inset.plot(saturated, temperatures, color="tab:green", lw=1.5)
    _scatter(inset, points, markers)
    inset.set(xlim=(26.2, 26.8), ylim=(-1.0, 42.0))
    inset.set_title(f"saturation, known to ± {reach:.2f} %", fontsize=9.5)
    inset.tick_params(labelsize=8.5)
    inset.grid(alpha=0.25)


def _draw_band(axes: Axes, label_at: float) -> None:
    axes.axvspan(*BAND, color="0.92", zorder=0)
    axes.annotate(
        BAND_LABEL, (sum(BAND) / 2, label_at), ha="center", va="center", color="0.35", fontsize=8.5
    )


def _scatter(axes: Axes, points: Sequence[Point], markers: Mapping[str, str]) -> None:
    for source in dict.fromkeys(point.source for point in points):
        own = [point for point in points if point.source == source]
        axes.scatter(
            [point.percent for point in own],
            [point.temperature_c for point in own],
            marker=markers[source],
            s=26,
            facecolors="none",
            edgecolors="black",
            linewidths=0.9,
            label=sources()[source].cited_as,
            zorder=3,
        )


def _markers(names: Iterable[str]) -> dict[str, str]:
    """A marker of its own for each source."""
    return dict(zip(dict.fromkeys(names), MARKERS, strict=False))


def _crystals() -> dict[str, tuple[float, float]]:
    return {
        "hydrohalite": (EUTECTIC_C, TRANSITION_C - 1e-4),
        "halite": (TRANSITION_C, WARMEST_C),
    }


def _saturated(temperatures_c: Sequence[float]) -> list[float]:
    return _percents(saturation_mass_fraction(t) for t in temperatures_c)


def _percents(mass_fractions: Iterable[float]) -> list[float]:
    return [100.0 * mass_fraction for mass_fraction in mass_fractions]


def _colour(temperature_c: float) -> tuple[float, float, float, float]:
    low, high = TEMPERATURES_C[0] - 6.0, TEMPERATURES_C[-1] + 6.0
    return colormaps["turbo"]((temperature_c - low) / (high - low))


def _fahrenheit(temperature_c: Any) -> Any:
    """Of numbers and of matplotlib's arrays."""
    return temperature_c * 1.8 + 32.0


def _celsius(temperature_f: Any) -> Any:
    return (temperature_f - 32.0) / 1.8


def _steps(low: float, high: float) -> list[float]:
    return [low + (high - low) * step / 100 for step in range(101)]
