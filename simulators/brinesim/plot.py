"""A run drawn as a picture: levels, strength true and measured, temperatures, faults and alarms."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib import dates
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from brinesim.brine import conductivity_from_mass_fraction
from brinesim.simulation import Simulation

Floats = NDArray[np.float64]
MOST_POINTS = 6000
_GRID = np.linspace(0.0, 0.265, 531)
BLUE, ORANGE, GREEN, RED, GREY = "#2b5c8a", "#c8742c", "#4b8b5a", "#a8323e", "#7a7a7a"


class NoAlarmsError(Exception):
    """The file of alarms can't be drawn: says which line, and what was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """What is drawn of one run: times in days since 1970, and values."""

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
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if not line.strip():
            continue
        try:
            change = json.loads(line)
            result.append({key: change[key] for key in ("time", "alarm", "state")})
        except (json.JSONDecodeError, KeyError, TypeError) as wrong:
            raise NoAlarmsError(
                f"{path}, line {number}: expected an object with time, alarm and state"
            ) from wrong
    return result


def draw(simulation: Simulation, target: Path, alarms: Sequence[Mapping[str, Any]] = ()) -> None:
    """Play the run and draw it to a PNG file.

    Raises: OSError where the file can't be written.
    """
    curves = curves_of(simulation)
    mpl.rcParams.update({"font.size": 9, "axes.spines.top": False, "axes.spines.right": False})
    figure = Figure(figsize=(12, 10), layout="constrained")
    rows = figure.subplots(5, 1, sharex=True, height_ratios=[3, 3, 3, 2, 1.3])
    figure.suptitle(f"{simulation.scenario.title} (seed {simulation.scenario.seed})")
    _levels(rows[0], curves, simulation)
    _strength(rows[1], curves)
    _temperatures(rows[2], curves)
    _pump(rows[3], curves)
    _events(rows[4], simulation, alarms)
    for row in rows[:4]:
        row.grid(alpha=0.25)
        row.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False, fontsize=8)
        for fault in simulation.scenario.faults:
            begin = simulation.scenario.start_ms / 86_400_000 + fault.at / 86400
            ends = fault.at + fault.lasts if fault.lasts else simulation.scenario.duration
            row.axvspan(begin, begin + (ends - fault.at) / 86400, color=RED, alpha=0.07, lw=0)
    locator = dates.AutoDateLocator()  # type: ignore[no-untyped-call] # matplotlib's own gap
    rows[4].xaxis.set_major_locator(locator)
    form = dates.ConciseDateFormatter(locator)  # type: ignore[no-untyped-call] # the same gap
    rows[4].xaxis.set_major_formatter(form)
    rows[4].set_xlabel("UTC")
    figure.savefig(target, dpi=110)


def _measured(row: Axes, curves: Curves, name: str, colour: str, label: str) -> None:
    if name in curves.measured:
        times, values = curves.measured[name]
        row.plot(times, values, ".", ms=1.5, color=colour, alpha=0.4, label=label)


def _levels(row: Axes, curves: Curves, simulation: Simulation) -> None:
    depot, true = simulation.scenario.depot, curves.true
    _measured(row, curves, "main-level", BLUE, "main, measured")
    row.plot(true["day"], true["main_level"], color=BLUE, lw=1, label="main")
    row.plot(true["day"], true["salt_level"], color=ORANGE, lw=1, label="salt bed")
    row.plot(true["day"], true["containment_level"], color=GREEN, lw=1, label="containment")
    row.axhline(depot.fill_mark_m, color=GREY, lw=0.8, ls=":", label="fill mark")
    row.axhline(depot.main.brim_m, color=RED, lw=0.8, ls=":", label="brim")
    row.set_ylabel("level, m")


def _strength(row: Axes, curves: Curves) -> None:
    measured = curves.measured
    if "main-conductivity" in measured and "main-temperature" in measured:
        times, conductivity = measured["main-conductivity"]
        thermometer = np.interp(times, *measured["main-temperature"])
        thin = slice(None, None, max(1, times.size // 2000))
        strength = mass_fraction_from_conductivity(conductivity[thin], thermometer[thin])
        row.plot(times[thin], strength * 100, ".", ms=2, color=BLUE, alpha=0.4, label="measured")
    row.plot(curves.true["day"], curves.true["main_strength"] * 100, color=BLUE, label="true")
    row.axhspan(22, 25, color=GREEN, alpha=0.08, lw=0, label="22-25 %")
    low = float(np.min(curves.true["main_strength"])) * 100
    row.set_ylim(min(20.0, low - 1), 27)
    row.set_ylabel("strength, % by mass")


def _temperatures(row: Axes, curves: Curves) -> None:
    places = (("outdoor", GREY), ("shelter", ORANGE), ("main", BLUE))
    for place, colour in places:
        row.plot(
            curves.true["day"], curves.true[f"{place}_temperature"], lw=1, color=colour, label=place
        )
        _measured(row, curves, f"{place}-temperature", colour, f"{place}, measured")
    row.plot(
        curves.true["day"],
        curves.true["casing_temperature"],
        lw=0.8,
        color=RED,
        label="pump casing",
    )
    row.axhline(0, color=GREY, lw=0.8, ls=":")
    row.set_ylabel("temperature, degC")


def _pump(row: Axes, curves: Curves) -> None:
    day, true = curves.true["day"], curves.true
    row.plot(day, true["hose_flow"] * 1000, color=BLUE, lw=1, label="hose, L/s")
    row.plot(day, true["fill_flow"] * 1000, color=GREEN, lw=1, label="fill, L/s")
    row.plot(day, true["pump_current"] / 4, color=RED, lw=0.8, label="current, A / 4")
    row.set_ylabel("flow")


def _events(row: Axes, simulation: Simulation, alarms: Sequence[Mapping[str, Any]]) -> None:
    """Faults above, alarms below, by name."""
    scenario = simulation.scenario
    start = scenario.start_ms / 86_400_000
    row.set_yticks([0.3, 1.0], ["alarms", "faults"])
    row.set_ylim(0, 1.5)
    for number, fault in enumerate(scenario.faults):
        ends = fault.at + fault.lasts if fault.lasts else scenario.duration
        row.barh(
            1.0, (ends - fault.at) / 86400, left=start + fault.at / 86400, height=0.25, color=RED
        )
        row.text(start + fault.at / 86400, 1.17 if number % 2 else 0.72, fault.kind, fontsize=7)
    for change in alarms:
        moment = datetime.fromisoformat(change["time"]).astimezone(UTC)
        at = moment.timestamp() / 86400
        raised = change["state"] == "unacknowledged"
        row.plot([at], [0.3], marker="^" if raised else "v", color=RED if raised else GREY, ms=6)
        if raised:
            row.text(at, 0.48, change["alarm"], fontsize=7)
