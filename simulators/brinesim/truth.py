"""The truth beside the readings: each fault's onset, mending and harm, and the true state."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brinesim.brine import freezing_from_mass_fraction
from brinesim.durations import rfc3339_from_milliseconds
from brinesim.equations import (
    HOPPER_SALT,
    HOPPER_SOLID,
    HOPPER_WATER,
    LOADED_SALT,
    LOADED_WATER,
    LOST_SALT,
    LOST_WATER,
    MAIN_SALT,
    MAIN_WATER,
    SUPPLIED,
    YARD_SALT,
)
from brinesim.fault_kinds import KINDS
from brinesim.salt_wanted import salt_wanted
from brinesim.scenario import FaultPlan, Scenario
from brinesim.spells import Spell, Spells

Columns = Mapping[str, NDArray[np.float64]]

NO_FLOW = 1e-6
"""A fill of less than this, in m3/s, is none."""
TRICKLES = 1e-4
"""A batch is made once its fill has fallen under this, in m3/s: a tenth of the whole. What still
trickles over the weir takes half an hour more."""

LOAD_FLOW = 1e-4
"""A hose that carries less than this, in m3/s, carries nothing."""

STOP_AND_GO_SECONDS = 180.0
"""A load whose pump was stopped for less than this goes on."""

STAND_SECONDS = 600.0
"""A fill that rested for less than this goes on."""

STOCKS = {
    "hopper_salt_kg": HOPPER_SOLID,
    "hopper_dissolved_kg": HOPPER_SALT,
    "hopper_water_kg": HOPPER_WATER,
    "main_salt_kg": MAIN_SALT,
    "main_water_kg": MAIN_WATER,
    "containment_salt_kg": YARD_SALT,
    "supplied_water_kg": SUPPLIED,
    "loaded_salt_kg": LOADED_SALT,
    "loaded_water_kg": LOADED_WATER,
    "lost_salt_kg": LOST_SALT,
    "lost_water_kg": LOST_WATER,
}
"""What stands where, and what has crossed the fence since the start, by its place in the state."""

STILL_FILLS_SECONDS = 8 * 3600.0
"""Brine that is off its band so long after a mending is of something else."""

AT_LIMIT = 0.001
"""Mass fraction: brine that is off its band by less than this, or inside by less, is at its limit,
by a hydrometer too (its scale is read to 0.001 in density, 0.13 % of salt)."""
FREEZES_ABOVE_K = 1.0
"""Outdoors this far above the brine's freezing point counts as freezing: an interval of half a
percent of strength is nearly as much (`published/freezing.csv`: 0.43 to 0.62 K at 13 to 20 %)."""
WET_M = 0.01
"""A containment with more than this is wet: people leave less when they have pumped it out."""

EVERY_SECONDS = 300.0
"""The true state is kept so often,"""
EVERY_SECONDS_LONG = 3600.0
"""and so often in runs of over a month; the salt's bed as often as in short ones, since what is
used and tipped in within an hour decides whether salt was wanted."""

SERIES = (
    "main_level",
    "main_strength",
    "main_temperature",
    "hopper_level",
    "salt_level",
    "containment_level",
    "shelter_temperature",
    "outdoor_temperature",
    "casing_temperature",
)


class Truth:
    """Watches a run go by and keeps what is true."""

    def __init__(self, scenario: Scenario) -> None:
        """Keeps the true state every five minutes, every hour in runs of over a month."""
        self._scenario = scenario
        short = scenario.duration <= 31 * 86400
        self._marks = _Marks(EVERY_SECONDS if short else EVERY_SECONDS_LONG)
        self._bed_marks = _Marks(EVERY_SECONDS)
        count = len(scenario.faults)
        self._begun: list[float | None] = [None] * count
        self._stuck_on: list[bool | None] = [None] * count
        """Was this fault's switch on at its onset? None before it."""
        self._most_off = [0.0] * count
        """How far each left the brine off its band at most, as a mass fraction."""
        self._stopped: list[float | None] = [None] * count
        """When the pump first stopped after each fault's onset."""
        self._harm: list[float | None] = [None] * count
        self._harmed = [False] * count
        self._slips: list[float] = []
        self._turned = False
        """Did the pump turn in the last row?"""
        self._starts: list[float] = []
        self._wet: list[tuple[float, float | None]] = []
        """From when to when there was liquid in the containment; None: to the end."""
        self._is_wet = False
        self._filled: float | None = None
        """How fast the tank was filled in the last row."""
        self._batches: list[tuple[float, float]] = []
        self._loads = Spells("hose_flow", least_flow=LOAD_FLOW, joins_seconds=STOP_AND_GO_SECONDS)
        self._fills = Spells("fill_flow", least_flow=NO_FLOW, joins_seconds=STAND_SECONDS)
        self._stocks: list[tuple[float, dict[str, float]]] = []
        self.series: dict[str, list[float]] = {"seconds": [], **{name: [] for name in SERIES}}
        self.worn: dict[str, float] = {}
        """Sensors that have fouled, each with the time from which it counts as worn, in seconds."""
        self._beds: tuple[list[float], list[float]] = [], []
        """Times in seconds, and how deep the salt's bed then was."""
        self._strengths: list[float] = []
        """How strong the main tank's brine was at the same times,"""
        self._outdoors: list[float] = []
        """and the temperature outdoors, degC."""

    def slipped(self, seconds: float) -> None:
        """Keep that somebody started the pump before opening the valve."""
        self._slips.append(seconds)

    def harmed(self, number: int) -> bool:
        """Has this fault's harm truly come?"""
        return self._harmed[number]

    def watch(self, columns: Columns) -> None:
        """Look at one chunk."""
        time = columns["time"]
        for number, fault in enumerate(self._scenario.faults):
            ends = fault.at + fault.lasts if fault.lasts else np.inf
            kind, onset = KINDS[fault.kind], _onset(fault)
            during = (time >= onset) & (time <= ends)
            self._watch_switches(number, columns)
            begun = kind.begun_if_on if self._stuck_on[number] else kind.begun
            # A fill may go on after the valve is mended; all else is over with its fault.
            lasts = (time >= onset) & (time <= ends + STILL_FILLS_SECONDS * bool(kind.band))
            if begun is not None and self._begun[number] is None:
                self._begun[number] = _first(time, lasts & begun(columns, self._scenario.depot))
            if kind.band is not None:
                limit, side = kind.band
                off = side * (columns["main_strength"] - limit)
                self._most_off[number] = max(self._most_off[number], *off[lasts], 0.0)
            if kind.harm is not None and not self._harmed[number]:
                at = _first(time, during & kind.harm(columns, self._scenario.depot))
                if at is not None:
                    self._harm[number], self._harmed[number] = at, True
        self._watch_batches(columns)
        self._loads.watch(columns)
        self._fills.watch(columns)
        self._watch_starts(columns)
        self._watch_containment(columns)
        marks = self._marks.up_to(time[-1])
        self.series["seconds"] += marks.tolist()
        for name in SERIES:
            self.series[name] += np.interp(marks, time, columns[name]).round(6).tolist()
        marks = self._bed_marks.up_to(time[-1])
        self._beds[0].extend(marks.tolist())
        self._beds[1].extend(np.interp(marks, time, columns["salt_level"]).tolist())
        self._strengths.extend(np.interp(marks, time, columns["main_strength"]).tolist())
        self._outdoors.extend(np.interp(marks, time, columns["outdoor_temperature"]).tolist())

    def _watch_switches(self, number: int, columns: Columns) -> None:
        """Keep whether a switch got stuck at on, and when the pump stopped after a fault began."""
        fault = self._scenario.faults[number]
        kind, time = KINDS[fault.kind], columns["time"]
        if self._stuck_on[number] is None and kind.begun_if_on and time[-1] >= fault.at:
            column = self._scenario.sensors[fault.sensor or kind.sensor].column
            onset = int(np.searchsorted(time, fault.at))
            self._stuck_on[number] = bool(columns[column][onset] > 0)
        if kind.pump_runs_on is not None and self._stopped[number] is None:
            stands = (time > fault.at) & (columns["pump_turning"] <= 0)
            self._stopped[number] = _first(time, stands)

    def count(self, seconds: float, state: list[float], delivered_kg: float) -> None:
        """Keep what salt and water stands where, and how much salt was tipped in by now."""
        stock = {name: round(state[place], 3) for name, place in STOCKS.items()}
        self._stocks[1:] = [(seconds, stock | {"delivered_salt_kg": round(delivered_kg, 3)})]

    def _watch_batches(self, columns: Columns) -> None:
        """Keep when each fill ended, and how strong the tank then was."""
        flow = columns["fill_flow"]
        before = flow[0] if self._filled is None else self._filled
        fills = np.concatenate([[before], flow]) > TRICKLES
        for at in np.flatnonzero(fills[:-1] & ~fills[1:]):
            strength = float(columns["main_strength"][at])
            self._batches.append((float(columns["time"][at]), strength))
        self._filled = float(flow[-1])

    def _watch_starts(self, columns: Columns) -> None:
        """Keep when the pump began to turn."""
        turns = np.concatenate([[self._turned], columns["pump_turning"] > 0])
        starts = np.flatnonzero(~turns[:-1] & turns[1:])
        self._starts += [float(columns["time"][at]) for at in starts]
        self._turned = bool(turns[-1])

    def _watch_containment(self, columns: Columns) -> None:
        """Keep from when to when there was liquid in the containment."""
        wet = np.concatenate([[self._is_wet], columns["containment_level"] > WET_M])
        for at in np.flatnonzero(wet[:-1] != wet[1:]):
            time = float(columns["time"][at])
            if wet[at + 1]:
                self._wet.append((time, None))
            else:
                self._wet[-1] = (self._wet[-1][0], time)
        self._is_wet = bool(wet[-1])

    def would_harm(self, number: int, columns: Columns) -> bool:
        """Does harm come in these rows, which were played on without mending? Then keep when."""
        kind = KINDS[self._scenario.faults[number].kind]
        if kind.harm is None:
            return False
        self._harm[number] = _first(columns["time"], kind.harm(columns, self._scenario.depot))
        return self._harm[number] is not None

    def _stamp(self, seconds: float | None) -> str | None:
        if seconds is None:
            return None
        return rfc3339_from_milliseconds(self._scenario.start_ms + round(seconds * 1000))

    def _spell(self, spell: Spell) -> dict[str, Any]:
        return {
            "began": self._stamp(spell.began),
            "ended": self._stamp(spell.ended),
            "volume_m3": round(spell.volume_m3, 5),
            "salt_kg": round(spell.salt_kg, 3),
            "strength": round(spell.strength, 6),
            "temperature_c": round(spell.temperature_c, 3),
            "strength_at_end": round(spell.strength_at_end, 6),
        }

    def _wrong_from(self, number: int) -> float | None:
        """When the depot became wrong; None where the fault came to nothing, or not in this run."""
        fault = self._scenario.faults[number]
        kind = KINDS[fault.kind]
        sensor = self._scenario.sensors.get(fault.sensor or kind.sensor)
        if kind.how and sensor is not None and not sensor.fitted:
            return None
        if kind.band is not None and self._most_off[number] < AT_LIMIT:
            return None  # no test by hand could say that it was off
        if kind.begun is not None:
            return self._begun[number]
        stopped = self._stopped[number]
        if kind.pump_runs_on is not None and stopped is not None:
            short = stopped - fault.at < kind.pump_runs_on(self._scenario.depot)
            return None if short else fault.at
        return fault.at if fault.at < self._scenario.duration else None

    def _every(self, sensor: str) -> float | None:
        plan = self._scenario.sensors.get(sensor)
        return None if plan is None else plan.every

    def _off(self, limit: float, side: int) -> list[tuple[float, float]]:
        """When the brine was off its band on this side, or so near that a test may say either."""
        return self._spans(side * (np.array(self._strengths) - limit) >= -AT_LIMIT)

    def _freezes_outdoors(self, weak_below: float) -> list[tuple[float, float]]:
        """When brine under its band would freeze in a line outdoors, or nearly."""
        freezes = np.array([freezing_from_mass_fraction(one) for one in self._strengths])
        near = np.array(self._outdoors) <= freezes + FREEZES_ABOVE_K
        return self._spans(near & (np.array(self._strengths) < weak_below))

    def _spans(self, so: NDArray[np.bool_]) -> list[tuple[float, float]]:
        """From when to when it was so, in seconds."""
        edges = np.flatnonzero(np.diff(so, prepend=False, append=False))
        return [
            (self._beds[0][begin], self._beds[0][end - 1])
            for begin, end in zip(edges[::2], edges[1::2], strict=True)
        ]

    def _brine_off(self) -> dict[str, list[list[str | None]]]:
        """By alarm: when it was true of the brine, whatever the reason."""
        found = {}
        for kind in (KINDS["weak-brine"], KINDS["strong-brine"]):
            if kind.band is not None:
                found[kind.alarm] = self._off(*kind.band)
        weak = KINDS["weak-brine"].band
        if weak is not None:
            found["brine-freezing"] = self._freezes_outdoors(weak[0])
        return {
            alarm: [[self._stamp(a), self._stamp(b)] for a, b in spans]
            for alarm, spans in found.items()
        }

    def as_table(self) -> dict[str, Any]:
        """The whole truth as plain values, to be written as JSON."""
        faults = []
        for number, fault in enumerate(self._scenario.faults):
            kind = KINDS[fault.kind]
            begun = self._wrong_from(number)
            faults.append(
                {
                    "kind": fault.kind,
                    "onset": self._stamp(_onset(fault)),
                    "wrong_from": self._stamp(begun),
                    "mended": self._stamp(fault.at + fault.lasts) if fault.lasts else None,
                    "harm": self._stamp(self._harm[number]),
                    "harm_came": self._harmed[number],
                    "harm_is": kind.harm_is,
                    "size": fault.how_bad,
                    "unit": kind.unit,
                    "sensor": fault.sensor or kind.sensor,
                    "every": self._every(fault.sensor or kind.sensor),
                    "names": list(kind.names or ([fault.sensor or kind.sensor] * bool(kind.how))),
                    "band": kind.band,
                    "alarm": kind.alarm,
                    "alarms": [kind.alarm, *kind.also] if kind.alarm else [],
                }
            )
        local_hours = self._scenario.weather.local_hours
        wants = salt_wanted(*self._beds, self._scenario.start_ms, local_hours)
        return {
            "scenario": self._scenario.name,
            "title": self._scenario.title,
            "seed": self._scenario.seed,
            "depot": self._scenario.depot.id,
            "start": self._scenario.start,
            "end": self._stamp(self._scenario.duration),
            "faults": faults,
            "batches": [
                {"end": self._stamp(at), "strength": round(strength, 6)}
                for at, strength in self._batches
            ],
            "loads": [self._spell(one) for one in self._loads.all],
            "fills": [self._spell(one) for one in self._fills.all],
            "stocks": [{"at": self._stamp(at)} | stock for at, stock in self._stocks],
            "pump_starts": [self._stamp(at) for at in self._starts],
            "wet": [[self._stamp(a), self._stamp(b)] for a, b in self._wet],
            "slips": [self._stamp(at) for at in self._slips],
            "salt_low": [[self._stamp(a), self._stamp(b)] for a, b in wants.low],
            "salt_wanted": [[self._stamp(a), self._stamp(b)] for a, b in wants.wanted],
            "brine_off": self._brine_off(),
            "worn": {name: self._stamp(at) for name, at in self.worn.items()},
            "series": self.series,
        }


def _onset(fault: FaultPlan) -> float:
    """When it began to be done, in seconds from the start."""
    return max(0.0, fault.at - KINDS[fault.kind].begins_before)


class _Marks:
    """Times that are so many seconds apart, from the start of a run on."""

    def __init__(self, step: float) -> None:
        self._step = step
        self._next = 0.0

    def up_to(self, seconds: float) -> NDArray[np.float64]:
        """Those that have not been given before."""
        count = max(0, int(np.floor((seconds - self._next) / self._step + 1e-6)) + 1)
        marks = self._next + self._step * np.arange(count)
        self._next += self._step * count
        return marks


def _first(time: NDArray[np.float64], mask: NDArray[np.bool_]) -> float | None:
    where = np.flatnonzero(mask)
    return float(time[where[0]]) if where.size else None
