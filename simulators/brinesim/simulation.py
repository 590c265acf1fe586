"""A run: a scenario's plant, people, faults and sensors, played chunk by chunk."""

import copy
import heapq
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from brinesim.brine import conductivity_from_mass_fraction
from brinesim.delivery import Arrivals, Delivery
from brinesim.durations import rfc3339_from_milliseconds
from brinesim.equations import COLUMNS, CONDUCTIVITY, HOPPER_SOLID
from brinesim.fault_kinds import KINDS
from brinesim.faults import Event, SensorEffect, drawn_faults, events_of, sensor_effect_of
from brinesim.instruments import Instrument, generator
from brinesim.people import (
    TIPPING_SECONDS,
    habitual_loads,
    habitual_tests,
    hydrometer_reading,
    load_events,
    salt_events,
    salt_that_fits,
)
from brinesim.plant import Plant
from brinesim.scenario import Scenario, ScenarioError, roughened
from brinesim.truth import Truth
from brinesim.weather import Weather

CHUNK_SECONDS = 6 * 3600.0
HABITS_EVERY_SECONDS = 600.0
WATER_KG_IN_M3_OF_BRINE = 1040.0
"""Let in for each m3 that reaches the tank; more than is in it, since the bed makes room."""
WEIGHED_SHARE = 0.05
"""What is tipped in by loader bucket is known so well, as a standard deviation (our guess)."""
ATTENDED_SECONDS = 2700.0
"""Somebody is still there this long after a load."""
AFTER_SECONDS = 24 * 3600.0
"""How far beyond a fault's mending the plant is played on, to learn when harm would have come."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """Some hours of a run."""

    begin: float
    end: float
    columns: Mapping[str, NDArray[np.float64]]
    arrivals: Arrivals


class Simulation:
    """One scenario, to be played once from its start to its end."""

    def __init__(self, scenario: Scenario) -> None:
        """Lays out every event; draws the weather and the sensors' errors from the seed.

        Raises: ScenarioError where no sensor is fitted that a fault could befall.
        """
        scenario = roughened(scenario).model_copy(
            update={
                "faults": drawn_faults(
                    scenario.faults, scenario.sensors, generator(scenario.seed, "faults")
                )
            }
        )
        self.scenario = scenario
        start = datetime.fromtimestamp(scenario.start_ms / 1000, UTC)
        year_day = (start - datetime(start.year, 1, 1, tzinfo=UTC)).total_seconds() / 86400
        weather = Weather(
            scenario.weather,
            seed=np.random.SeedSequence([scenario.seed, crc32(b"weather")]),
            year_day=year_day,
            seconds=scenario.duration + AFTER_SECONDS,
        )
        self.plant = Plant(scenario.depot, weather)
        self.truth = Truth(scenario)
        self.acts: list[dict[str, Any]] = []
        self.act_seconds: list[float] = []
        self.salt_added_kg = 0.0
        effects = [e for e in map(sensor_effect_of, scenario.faults) if e is not None]
        effects += _swapped_partners(effects)
        self.sensors = [name for name, s in scenario.sensors.items() if s.fitted]
        self._instruments = [
            Instrument(
                name,
                scenario.sensors[name],
                seed=scenario.seed,
                rough=scenario.rough,
                effects=effects,
            )
            for name in self.sensors
        ]
        self._order = {name: i for i, name in enumerate(self.sensors)}
        self._delivery = Delivery(
            scenario.delivery, seed=scenario.seed, start_ms=scenario.start_ms, effects=effects
        )
        draw = generator(scenario.seed, "salt")
        self.salt_factor = 1 + scenario.salt_factor_sd * float(draw.standard_normal())
        self._tests = generator(scenario.seed, "hydrometer")
        self._weighing = generator(scenario.seed, "salt weighed")
        self._dropped: set[int] = set()
        self._loaded_at = self._tipped_at = float("-inf")
        self.truth.count(0.0, self.plant.state, 0.0)
        self._agenda = self._lay_out()

    @property
    def needs_arrivals(self) -> bool:
        """Do readings come otherwise than in the order of their stamps, a moment later?"""
        ways = {KINDS[fault.kind].how for fault in self.scenario.faults}
        delivery = self.scenario.delivery
        return bool(ways & {"clock", "buffered"} or delivery.late_share or delivery.clock_offset)

    def _lay_out(self) -> list[tuple[float, int, Any]]:
        """Every event, fault mark, act and look-round in order of time."""
        scenario = self.scenario
        entries: list[tuple[float, Any]] = []
        group = 0
        for load in scenario.loads:
            group += 1
            entries += [
                (e.time, e)
                for e in load_events(
                    at=load.at, amount_m3=load.amount_m3, to=load.to, late_seconds=0.0, group=group
                )
            ]
        for at, amount, late in habitual_loads(scenario):
            group += 1
            entries += [
                (e.time, e)
                for e in load_events(
                    at=at, amount_m3=amount, to="truck", late_seconds=late, group=group
                )
            ]
        for number, fault in enumerate(scenario.faults):
            if fault.lasts:
                entries.append((fault.at + fault.lasts, ("mended", number)))
            entries += [(e.time, e) for e in events_of(fault, scenario.depot)]
        entries += [(act.at, act) for act in scenario.acts]
        entries += [(at, "test") for at in habitual_tests(scenario)]
        if scenario.people.refill_below_m or scenario.people.drain_containment_above_m:
            looks = np.arange(HABITS_EVERY_SECONDS, scenario.duration, HABITS_EVERY_SECONDS)
            entries += [(float(at), "look") for at in looks]
        agenda = [
            (at, number, entry)
            for number, (at, entry) in enumerate(entries)
            if at <= scenario.duration
        ]
        heapq.heapify(agenda)
        self._numbers = itertools.count(len(entries))
        return agenda

    def _add(self, events: Iterable[Event]) -> None:
        for event in events:
            heapq.heappush(self._agenda, (event.time, next(self._numbers), event))

    def chunks(self) -> Iterator[Chunk]:
        """Play the run, some hours at a time, in bounded memory.

        Raises: ScenarioError where the depot leaves what its equations hold for.
        """
        begin = 0.0
        while begin < self.scenario.duration - 1e-6:
            end = min(begin + CHUNK_SECONDS, self.scenario.duration)
            rows: list[tuple[float, ...]] = []
            while self._agenda and self._agenda[0][0] <= end:
                at, _, entry = heapq.heappop(self._agenda)
                self._advance(at, rows)
                rows.append(self.plant.look())
                self._handle(at, entry)
            self._advance(end, rows)
            rows.append(self.plant.look())
            table = np.array(rows)
            columns = {name: table[:, i] for i, name in enumerate(COLUMNS)}
            columns[CONDUCTIVITY] = self.salt_factor * conductivity_from_mass_fraction(
                columns["probe_strength"], columns["main_temperature"]
            )
            self.truth.watch(columns)
            self.truth.count(end, self.plant.state, self.salt_added_kg)
            samples = [i.sample(columns, end) for i in self._instruments]
            self.truth.worn = {
                i.name: i.worn_from for i in self._instruments if i.worn_from is not None
            }
            yield Chunk(
                begin=begin,
                end=end,
                columns=columns,
                arrivals=self._delivery.carry(
                    samples,
                    self._order,
                    until=end if end < self.scenario.duration else math.inf,
                ),
            )
            begin = end

    def _advance(self, until: float, rows: list[tuple[float, ...]]) -> None:
        try:
            self.plant.advance(until, rows)
        except (ArithmeticError, ValueError) as wrong:  # endless, or no number any more
            raise ScenarioError(
                f"{self.scenario.name}: {self.plant.time / 3600:.1f} h after its start the depot "
                f"can no longer be computed ({wrong}); a size in it is far from any depot's"
            ) from wrong

    def _handle(self, at: float, entry: Any) -> None:
        if isinstance(entry, Event):
            self._apply(entry)
        elif isinstance(entry, tuple):
            self._look_ahead(entry[1])
        elif entry == "look":
            self._look_round(at)
        elif entry == "test":
            self._test(at, 0.0)
        elif entry.act == "test":
            self._test(at, entry.error_sg)
        elif entry.act == "set":
            self._set(entry.set)
        elif entry.act == "salt":
            self._tip(at, entry.kg)
        else:
            self._record(at, "mode", {"mode": entry.mode})

    def _tip(self, at: float, kg: float) -> None:
        """Salt is tipped in bucket by bucket, and recorded where people do."""
        self._add(salt_events(at, kg))
        if self.scenario.people.records_salt:
            weighed = kg * (1 + WEIGHED_SHARE * float(self._weighing.standard_normal()))
            self._record(at, "record", {"kind": "salt", "mass_kg": round(weighed, 1)})

    def _set(self, changes: Mapping[str, Any]) -> None:
        for name, value in changes.items():
            setattr(self.plant.controls, name, value)

    def _apply(self, event: Event) -> None:
        if event.group in self._dropped:
            return
        if event.needs_level_m:
            level = self.plant.look()[COLUMNS.index("main_level")]
            if level < event.needs_level_m:
                self._dropped.add(event.group)
                return
        self._set(event.changes)
        if event.group >= 0:
            self._loaded_at = event.time
            if event.changes.get("pump_on") and event.changes.get("valve_open") is False:
                self.truth.slipped(event.time)
        state = self.plant.state
        if event.bed_m is not None:
            left = event.bed_m * self.plant.solid_kg_per_m
            self._add_salt(min(0.0, left - state[HOPPER_SOLID]))
        # No more can be taken out than there is.
        self._add_salt(max(event.salt_kg, -state[HOPPER_SOLID]))

    def _add_salt(self, kg: float) -> None:
        self.plant.add_salt(kg)
        self.salt_added_kg += kg

    def _look_round(self, at: float) -> None:
        """What somebody at the depot does besides loading: tips in salt, pumps the yard dry."""
        people, plant, depot = self.scenario.people, self.plant, self.scenario.depot
        hour = (self.scenario.start_ms / 3.6e6 + at / 3600 + self.scenario.weather.local_hours) % 24
        row = dict(zip(COLUMNS, plant.look(), strict=True))
        somebody = at - self._loaded_at < ATTENDED_SECONDS and at >= self._tipped_at + 1200
        if somebody and row["salt_level"] < people.refill_below_m:
            main = plant.equations.main
            # The fill goes on meanwhile, so its share of the room is left for it.
            meanwhile = depot.water_flow_kg_per_s * TIPPING_SECONDS / WATER_KG_IN_M3_OF_BRINE
            room = main.volume_m3(depot.fill_mark_m) - main.volume_m3(row["main_level"])
            room -= meanwhile
            kg = salt_that_fits(
                people,
                room_m3=max(0.0, room),
                bed_m=row["salt_level"],
                kg_per_m=plant.solid_kg_per_m,
                solid_density=depot.salt_density,
            )
            if kg:
                self._tipped_at = at
                self._tip(at, kg)
        wet = row["containment_level"]
        if people.drain_containment_above_m and wet < 0.01:
            plant.controls.yard_drain_m3_per_s = 0.0
        elif 7 <= hour < 16 and 0 < people.drain_containment_above_m < wet:
            plant.controls.yard_drain_m3_per_s = 0.002

    def _test(self, at: float, error_sg: float) -> None:
        main = self.plant.equations.main_liquid(self.plant.state)
        reading = hydrometer_reading(
            self.scenario.people,
            self._tests,
            strength=self.plant.probe_strength,
            temperature_c=main.temperature_c,
            error_sg=error_sg,
        )
        self._record(at, "test", reading)

    def _record(self, at: float, act: str, fields: Mapping[str, Any]) -> None:
        time = rfc3339_from_milliseconds(self.scenario.start_ms + round(at) * 1000)
        self.act_seconds.append(at)
        self.acts.append(
            {"time": time, "depot": self.scenario.depot.id, "act": act, "fields": dict(fields)}
        )

    def _look_ahead(self, number: int) -> None:
        """Play a copy of the plant on as if the fault were not mended, until harm comes."""
        if KINDS[self.scenario.faults[number].kind].harm is None or self.truth.harmed(number):
            return
        twin = copy.copy(self.plant)
        twin.controls = copy.copy(self.plant.controls)
        twin.state = list(self.plant.state)
        stop = self.plant.time + AFTER_SECONDS - 3600
        while twin.time < stop:
            rows: list[tuple[float, ...]] = []
            twin.advance(min(twin.time + 3600, stop), rows)
            table = np.array(rows)
            if self.truth.would_harm(number, {name: table[:, i] for i, name in enumerate(COLUMNS)}):
                return


def _swapped_partners(effects: list[SensorEffect]) -> list[SensorEffect]:
    """The other thermometer of a swapped pair shows the tank's temperature."""
    return [
        SensorEffect(
            sensor="shelter-temperature",
            how="swapped-back",
            begins=e.begins,
            ends=e.ends,
            size=e.size,
        )
        for e in effects
        if e.how == "swapped"
    ]
