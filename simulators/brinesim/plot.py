"""A run drawn as a picture: levels, strength true and measured, temperatures, faults and alarms.

In the units and by the clock of the depot where a watchman's config tells them.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib import dates
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from brinesim.brine import conductivity_from_mass_fraction
from brinesim.depot_units import DepotUnits
from brinesim.scenario import FaultPlan, Scenario
from brinesim.simulation import Simulation

Floats = NDArray[np.float64]
MOST_POINTS = 6000
_GRID = np.linspace(0.0, 0.265, 531)
ACTIVE = ("unacknowledged", "acknowledged")
"""An alarm's states by ISA-18.2 in which its cause is there."""
STYLE = {"font.size": 9, "axes.spines.top": False, "axes.spines.right": False}
LANE_INCHES = 0.24
"""The height of one fault's or alarm's own line at the bottom."""
DAY_SECONDS = 86400.0
BLUE, ORANGE, GREEN, RED, GREY = "#2b5c8a", "#c8742c", "#4b8b5a", "#a8323e", "#7a7a7a"


class NoAlarmsError(Exception):
    """The file of alarms can't be drawn: says which line, and what was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """What is drawn of one run, SI: times in days since 1970, and values."""

    true: Mapping[str, Floats]
    measured: Mapping[str, tuple[Floats, Floats]]


def mass_fraction_from_conductivity(conductivity: Floats, temperature_c: Floats) -> Floats:
    """The strength at which the simulator's own brine, pure, would conduct like this, 0-0.265.

    For drawing only: found on a grid of 0.0005, not extrapolated beyond saturation.
    """
    result = np.empty(conductivity.size)
    for i in range(conductivity.size):
        curve = conductivity_from_mass_fraction(_GRID, np.full(_GRID.size, temperature_c[i]))
        result[i] = np.interp(conductivity[i], curve, _GRID)
    return result


def curves_of(simulation: Simulation) -> Curves:
    """Play the run and keep at most some thousand points of everything that is drawn."""
    scenario = simulation.scenario
    every = max(1, int(scenario.duration / 10.0 / MOST_POINTS))
    day0 = scenario.start_ms / 86_400_000
    kept: dict[str, list[Floats]] = {}
    seen: dict[str, list[tuple[Floats, Floats]]] = {name: [] for name in simulation.sensors}
    for chunk in simulation.chunks():
        for name, values in chunk.columns.items():
            kept.setdefault(name, []).append(values[::every])
        arrivals = chunk.arrivals
        for number, name in enumerate(simulation.sensors):
            mine = np.flatnonzero(arrivals.sensor == number)[::every]
            seen[name].append((arrivals.stamped[mine] / 86_400_000, arrivals.values[mine]))
    true = {name: np.concatenate(parts) for name, parts in kept.items()}
    true["day"] = true["time"] / 86400 + day0
    measured = {
        name: (np.concatenate([a for a, _ in parts]), np.concatenate([b for _, b in parts]))
        for name, parts in seen.items()
    }
    return Curves(true=true, measured=measured)


def alarm_lines(path: Path) -> list[dict[str, Any]]:
    """The alarm changes in a JSON-lines file, as `brineward replay --json` prints them.

    Raises: NoAlarmsError where a line is no JSON object with time, alarm and state; OSError.
    """
    result = []
    for number, line in enumerate(path.read_bytes().splitlines(), 1):
        if not line.strip():
            continue
        try:
            change = json.loads(line)
            result.append({key: change[key] for key in ("time", "alarm", "state")})
            datetime.fromisoformat(change["time"])
        except (ValueError, KeyError, TypeError, RecursionError) as wrong:
            raise NoAlarmsError(
                f"{path}, line {number}: expected an object with time, alarm and state"
            ) from wrong
    return result


def draw(
    simulation: Simulation,
    target: Path,
    alarms: Sequence[Mapping[str, Any]] = (),
    units: DepotUnits | None = None,
) -> None:
    """Play the run and draw it to a file, whose ending says what kind; metric and UTC by default.

    Raises: OSError, ValueError where the file can't be written.
    """
    picture(simulation, alarms, units or DepotUnits()).savefig(target, dpi=110)


def picture(
    simulation: Simulation, alarms: Sequence[Mapping[str, Any]], units: DepotUnits
) -> Figure:
    """Play the run and draw it."""
    scenario = simulation.scenario
    curves = curves_of(simulation)
    lanes = _lanes(scenario, alarms)
    at_bottom = LANE_INCHES * max(2, len(lanes)) + 0.1
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(13.0, 9.2 + at_bottom), layout="constrained")
        rows = figure.subplots(5, 1, sharex=True, height_ratios=[2.5, 2.5, 2.5, 1.7, at_bottom])
        figure.suptitle(f"{scenario.title} ({scenario.depot.id}, seed {scenario.seed})")
        _levels(rows[0], curves, simulation, units)
        _strength(rows[1], curves)
        _temperatures(rows[2], curves, units)
        _pump(rows[3], curves, units)
        _events(rows[4], scenario, alarms, lanes)
        for row in rows:
            row.grid(alpha=0.25)
            for fault in scenario.faults:
                row.axvspan(*_during(scenario, fault), color=RED, alpha=0.07, lw=0)
        _clock(rows[4], scenario, units)
        figure.align_ylabels(rows[:4])
    return figure


def _clock(row: Axes, scenario: Scenario, units: DepotUnits) -> None:
    begin = scenario.start_ms / 1000.0 / DAY_SECONDS
    row.set_xlim(begin, begin + scenario.duration / DAY_SECONDS)
    # matplotlib's own gaps in its types
    locator = dates.AutoDateLocator(tz=units.zone)  # type: ignore[no-untyped-call]
    row.xaxis.set_major_locator(locator)
    form = dates.ConciseDateFormatter(locator, tz=units.zone)  # type: ignore[no-untyped-call]
    row.xaxis.set_major_formatter(form)
    row.set_xlabel(f"time, {units.zone_name}")


def _key(row: Axes, *others: Axes) -> None:
    """The legend, beside the row: dots as large as one can see."""
    handles, labels = row.get_legend_handles_labels()
    for other in others:
        more, names = other.get_legend_handles_labels()
        handles, labels = [*handles, *more], [*labels, *names]
    beside = 1.05 if others else 1.01
    key = row.legend(
        handles,
        labels,
        loc="upper left",
        bbox_to_anchor=(beside, 1.02),
        frameon=False,
        fontsize=8.5,
    )
    for handle in key.legend_handles:
        if isinstance(handle, Line2D):
            handle.set_alpha(1.0)
            handle.set_markersize(6.0)
            handle.set_linewidth(2.0)


def _measured(row: Axes, seen: tuple[Floats, Floats] | None, colour: str, label: str) -> None:
    if seen is not None:
        times, values = seen
        row.plot(times, values, ".", ms=1.5, color=colour, alpha=0.4, label=label)


def _levels(row: Axes, curves: Curves, simulation: Simulation, units: DepotUnits) -> None:
    depot, true, (unit, per_m) = simulation.scenario.depot, curves.true, units.length
    seen = curves.measured.get("main-level")
    if seen is not None:
        _measured(row, (seen[0], seen[1] * per_m), BLUE, "main, measured")
    row.plot(true["day"], true["main_level"] * per_m, color=BLUE, lw=1, label="main, true")
    row.plot(true["day"], true["salt_level"] * per_m, color=ORANGE, lw=1, label="salt bed, true")
    row.plot(
        true["day"], true["containment_level"] * per_m, color=GREEN, lw=1, label="containment, true"
    )
    row.axhline(depot.main.brim_m * per_m, color=RED, lw=1.0, ls=":", label="main's brim")
    row.axhline(depot.fill_mark_m * per_m, color=GREY, lw=1.0, ls=":", label="fill mark")
    row.set_ylabel(f"level, {unit}")
    _key(row)


def _strength(row: Axes, curves: Curves) -> None:
    measured = curves.measured
    if "main-conductivity" in measured and "main-temperature" in measured:
        times, conductivity = measured["main-conductivity"]
        thermometer = np.interp(times, *measured["main-temperature"])
        thin = slice(None, None, max(1, times.size // 2000))
        strength = mass_fraction_from_conductivity(conductivity[thin], thermometer[thin])
        row.plot(
            times[thin],
            strength * 100,
            ".",
            ms=2,
            color=BLUE,
            alpha=0.4,
            label="as the probe reads,\nnot calibrated",
        )
    row.plot(curves.true["day"], curves.true["main_strength"] * 100, color=BLUE, label="true")
    row.axhspan(22, 25, color=GREEN, alpha=0.12, lw=0, label="22 to 25 %")
    low = float(np.min(curves.true["main_strength"])) * 100
    row.set_ylim(min(20.0, low - 1), 27)
    row.set_ylabel("strength, % by mass")
    _key(row)


def _temperatures(row: Axes, curves: Curves, units: DepotUnits) -> None:
    unit, per_k, at_zero = units.temperature
    day, true = curves.true["day"], curves.true
    for place, colour in (("outdoor", GREY), ("shelter", ORANGE), ("main", BLUE)):
        seen = curves.measured.get(f"{place}-temperature")
        if seen is not None:
            _measured(row, (seen[0], seen[1] * per_k + at_zero), colour, f"{place}, measured")
        values = true[f"{place}_temperature"] * per_k + at_zero
        row.plot(day, values, lw=1, color=colour, label=f"{place}, true")
    casing = true["casing_temperature"] * per_k + at_zero
    row.plot(day, casing, lw=0.8, color=RED, label="pump's liquid, true")
    row.axhline(at_zero, color=GREY, lw=1.0, ls=":", label=f"{at_zero:.0f} {unit}, water freezes")
    row.set_ylabel(f"temperature, {unit}")
    _key(row)


def _pump(row: Axes, curves: Curves, units: DepotUnits) -> None:
    unit, per_m3_per_s = units.flow
    day, true = curves.true["day"], curves.true
    row.plot(day, true["hose_flow"] * per_m3_per_s, color=BLUE, lw=1, label="hose, true")
    row.plot(day, true["fill_flow"] * per_m3_per_s, color=GREEN, lw=1, label="fill, true")
    row.set_ylabel(f"flow, {unit}")
    row.set_ylim(bottom=0.0)
    current = row.twinx()
    current.plot(day, true["pump_current"], color=RED, lw=0.8, alpha=0.8, label="current, true")
    current.set_ylabel("pump's current, A")
    # Lower than the flow, which it would else lie on.
    current.set_ylim(0.0, 1.5 * max(1.0, float(np.max(true["pump_current"]))))
    current.spines["right"].set_visible(True)
    _key(row, current)


def _during(scenario: Scenario, fault: FaultPlan) -> tuple[float, float]:
    """From when to when a fault lasts, days since 1970."""
    begin = scenario.start_ms / 1000.0
    ends = fault.at + fault.lasts if fault.lasts else scenario.duration
    return (begin + fault.at) / DAY_SECONDS, (begin + ends) / DAY_SECONDS


def _lanes(scenario: Scenario, alarms: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], int]:
    """A line of its own for each kind of fault and each alarm, so that no name lies on another."""
    names = [("fault", fault.kind) for fault in scenario.faults]
    names += [("alarm", str(change["alarm"])) for change in alarms]
    return {name: number for number, name in enumerate(dict.fromkeys(names))}


def _events(
    row: Axes,
    scenario: Scenario,
    alarms: Sequence[Mapping[str, Any]],
    lanes: Mapping[tuple[str, str], int],
) -> None:
    """Faults above in red, alarms below in blue; a mark where one was raised."""
    for fault in scenario.faults:
        begin, end = _during(scenario, fault)
        row.barh(lanes["fault", fault.kind], end - begin, left=begin, height=0.5, color=RED)
        # A short one shows in a long run too.
        row.plot([begin], [lanes["fault", fault.kind]], marker="v", color=RED, ms=6)
    end = (scenario.start_ms / 1000.0 + scenario.duration) / DAY_SECONDS
    for name, raised, ended in _spans(alarms):
        lane = lanes["alarm", name]
        last = end if ended is None else ended
        row.barh(lane, max(last - raised, 0.0), left=raised, height=0.3, color=BLUE, alpha=0.6)
        row.plot([raised], [lane], marker="^", color=BLUE, ms=6)
    row.yaxis.tick_right()
    row.spines["right"].set_visible(True)
    row.spines["left"].set_visible(False)
    row.set_yticks(list(lanes.values()), [f"{kind}: {name}" for kind, name in lanes])
    row.set_ylim(max(2, len(lanes)) - 0.5, -0.5)
    if not lanes:
        row.set_yticks([0.5], ["no fault, no alarm"])


def _spans(alarms: Sequence[Mapping[str, Any]]) -> Iterator[tuple[str, float, float | None]]:
    """Each alarm from when it was raised until its cause was gone; None: not within the run."""
    raised: dict[str, float] = {}
    for change in alarms:
        name, active = str(change["alarm"]), change["state"] in ACTIVE
        at = datetime.fromisoformat(change["time"]).timestamp() / DAY_SECONDS
        if active:
            raised.setdefault(name, at)
        elif name in raised:
            yield name, raised.pop(name), at
    for name, at in raised.items():
        yield name, at, None
