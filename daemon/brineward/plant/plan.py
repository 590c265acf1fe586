"""A depot's plan: what it is made of, as the config declares it. All SI, all frozen.

`brineward.config` builds it; the plant, the alarms and the engine read it.
"""

from collections.abc import Mapping, Set
from dataclasses import dataclass, field, replace
from datetime import UTC, tzinfo
from enum import StrEnum

from brineward.plant.idle_hours import IdleHours
from brineward.plant.rota import Rota
from brineward.plant.seasons import Seasons
from brineward.plant.shapes import Shape
from brineward.wording.operator_units import OperatorUnits


class VesselKind(StrEnum):
    """What a vessel is for."""

    HOPPER = "hopper"
    MAIN = "main"
    CONTAINMENT = "containment"
    STORAGE = "storage"


class Measure(StrEnum):
    """What a sensor measures; each is stored in the SI unit beside it."""

    LEVEL = "level"  # m
    CONDUCTIVITY = "conductivity"  # S/m
    TEMPERATURE = "temperature"  # degC
    DENSITY = "density"  # kg/m3
    PRESSURE = "pressure"  # Pa
    FLOW = "flow"  # m3/s
    CURRENT = "current"  # A
    RUNNING = "running"  # 0 or 1
    OPEN = "open"  # 0 or 1
    SALT_LEVEL = "salt-level"  # m
    POWER = "power"  # 0 or 1: the outlet has mains

    @property
    def is_switch(self) -> bool:
        """Does it say only yes or no?"""
        return self in _SWITCHES


_SWITCHES = frozenset({Measure.RUNNING, Measure.OPEN, Measure.POWER})

SI_UNITS: Mapping[Measure, str] = {
    Measure.LEVEL: "m",
    Measure.SALT_LEVEL: "m",
    Measure.CONDUCTIVITY: "S/m",
    Measure.TEMPERATURE: "degC",
    Measure.DENSITY: "kg/m3",
    Measure.PRESSURE: "Pa",
    Measure.FLOW: "m3/s",
    Measure.CURRENT: "A",
}
"""The SI unit of what is no switch."""


HEATER, DOOR = "heater", "door"
"""Places of a shelter that a sensor may be at, where no vessel, pump or valve is called so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A tank, the hopper or the containment."""

    id: str
    kind: VesselKind
    shape: Shape
    brim_m: float
    """The level at which it runs over."""
    name: str = ""
    """What people call it; empty: by its id."""
    fill_mark_m: float | None = None
    """The level at which the float shuts the fill; None where nothing fills it by itself."""
    run_on_m: float = 0.05
    """How far above the mark the level rises before a healthy float has closed the fill."""
    brine: str = "sodium chloride"
    empty_mass_kg: float | None = None
    """What it weighs empty; None: by its size, see `brineward.plant.standing`."""
    in_containment: bool = True
    """Is it in the depot's containment, if there is one?"""
    raised_m: float = 0.0
    """How high its floor is above the containment's."""

    @property
    def holds_brine(self) -> bool:
        """Is it a tank of brine: no hopper and no containment?"""
        return self.kind in (VesselKind.MAIN, VesselKind.STORAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """The float-shut fill of a vessel."""

    into: str
    flow_m3_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Valve:
    """A valve by hand between a pump and its hose."""

    id: str
    name: str = ""


DELIVERS_SHARE = 0.25
"""Of a pump's own flow: a meter that says so much or more shows that it delivers (common practice,
no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A pump, what it draws from, and the valves that its flow must pass."""

    id: str
    draws_from: str
    flow_m3_per_s: float
    name: str = ""
    valves: tuple[str, ...] = ()
    shut_off_power_w: float | None = None
    """What it draws against a closed valve: all of it heats the liquid that is in it."""
    casing_m3: float | None = None
    """How much liquid that is."""
    longest_run_seconds: float | None = None
    """A longer run is one that was forgotten; None: as long as its largest load takes."""
    suction_m: float = 0.0
    """Height of its suction above the floor of the vessel: a level there, and it draws air."""
    running_current_a: float | None = None
    """What it draws while it delivers; None: learned from its loads."""

    def delivers(self, flow_m3_per_s: float | None) -> bool:
        """Does the meter in its hose show that it delivers? None if that doesn't show it."""
        if flow_m3_per_s is None:
            return False
        return flow_m3_per_s >= DELIVERS_SHARE * self.flow_m3_per_s


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPlan:
    """One sensor: what it measures, where, and how its readings are to be used."""

    id: str
    measures: Measure
    at: str
    """The vessel, pump or valve it belongs to, `shelter`, its `heater` or `door`, `outdoors`,
    `mains`."""
    name: str = ""
    low: float
    high: float
    """The range in which a value is believed, SI."""
    standard_uncertainty: float
    """Standard uncertainty of one reading, SI."""
    every_seconds: float
    silent_after_seconds: float
    on_change: bool = False
    """It also publishes at once when its value changes (most switches)."""
    mounted_m: float = 0.0
    """Height of a probe above its vessel's floor: above the liquid it is dry."""
    apart_k: float = 0.1
    """Of a conductivity probe: how far the brine at it may differ in temperature from that at its
    thermometer, a standard uncertainty; 0.1 K for two probes in one pipe or fitting, or side by
    side (common practice, no source); 0.03 K where the thermometer is inside the probe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """The band that the brine must be in, as mass fractions."""

    low: float = 0.22
    target: float = 0.233
    high: float = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSettings:
    """What the config changes of one alarm; None keeps the catalogue's own."""

    limit: float | None = None
    on_delay_seconds: float | None = None
    off_delay_seconds: float | None = None
    deadband: float | None = None
    shelve_at_most_seconds: float | None = None
    text_after_seconds: float | None = None
    """Active for so long before anybody is texted; until then it shows on the page alone. None: as
    its finding says."""
    enabled: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """Whom to wake, in order, and how long the first has before the next is woken."""

    on_call: tuple[str, ...] = ()
    """People by id; the first is texted first."""
    next_after_seconds: float = 600.0
    """Not taken within this time: the next person, and after the last one everybody again."""
    names: Mapping[str, str] = field(default_factory=dict)
    """What people are called, by id."""
    replies: bool = False
    """Can a text be answered? Then the text says so."""
    replies_one_way: bool = False
    """Do answers come by one way alone, so that all are lost while that is not heard?"""
    replies_by_broker: bool = False
    """Is that way the broker, so that losing it is why they are not heard?"""
    replies_fail: bool = False
    """That is so now: a text says how else an alarm is taken."""
    page: bool = False
    """Can an alarm be taken on a page?"""
    rota: Rota | None = None
    """Who is first when; None: always the first on call. All of its people are on call."""
    quiet: Mapping[str, IdleHours] = field(default_factory=dict)
    """When people are woken by high alarms alone, by person; by the depot's clock."""
    us_units: Mapping[str, bool] = field(default_factory=dict)
    """Who reads US units (True) or metric ones (False), whatever their depot does."""
    most_texts_an_hour: int = 12
    """Texts about alarms to one person, without those of high priority; the rest are texted
    together. An alarm that comes and clears is two, so it is about 6 alarms an hour: what an
    operator is said to manage (ANSI/ISA-18.2-2016, Table 7)."""
    most_texts_a_minute: int = 2
    """The same within a minute: alarms that come together are texted together (common practice, no
    source)."""
    unlimited: Set[str] = frozenset()
    """People whose texts ring no phone, such as a siren's: they get them all, and are told that an
    alarm has cleared where other people know it without."""
    daily_minutes: int | None = None
    """When the depot's state is texted to who is on call: minutes of its day; None: never."""
    test_at: tuple[int, int] | None = None
    """When the way to who is on call is tested each week: the weekday, Monday is 0, and the minutes
    of the depot's day; None: on request alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DepotPlan:
    """One depot, the unit of state."""

    id: str
    name: str
    short: str
    """Two to four capitals before an alarm's number, unique among the config's depots."""
    zone: tzinfo = UTC
    us_units: bool = False
    vessels: Mapping[str, Vessel] = field(default_factory=dict)
    fills: tuple[Fill, ...] = ()
    pumps: Mapping[str, Pump] = field(default_factory=dict)
    valves: Mapping[str, Valve] = field(default_factory=dict)
    has_shelter: bool = False
    shelter_name: str = ""
    sensors: Mapping[str, SensorPlan] = field(default_factory=dict)
    idle_hours: IdleHours | None = None
    """When no pump should run, since nobody loads; None: any hour may be right."""
    seasons: Seasons = field(default_factory=Seasons)
    """When its mode is set by itself; a depot without any is set by people alone."""
    strength: Strength = field(default_factory=Strength)
    test_batches_within_seconds: float = 3 * 86_400.0
    """How long after a batch somebody is asked for its hydrometer test."""
    alarms: Mapping[str, AlarmSettings] = field(default_factory=dict)
    duty: Duty = field(default_factory=Duty)

    @property
    def units(self) -> OperatorUnits:
        """What its people count in, read the clock by, and call things."""
        return OperatorUnits(us=self.us_units, zone=self.zone, name_of=self.name_of)

    def as_read_by(self, person: str) -> "DepotPlan":
        """The depot as a text to this person counts: in their own units, else in the depot's."""
        us = self.duty.us_units.get(person, self.us_units)
        return self if us == self.us_units else replace(self, us_units=us)

    def code(self, number: int) -> str:
        """What a person takes an alarm by: the depot's letters and the occurrence's number."""
        return f"{self.short}{number}"

    def name_of(self, source: str) -> str:
        """What people call a vessel, pump, valve, sensor, the shelter or a person of this depot."""
        if source == "shelter" and self.shelter_name:
            return self.shelter_name
        vessel = self.vessels.get(source)
        for known in (vessel, self.pumps.get(source), self.valves.get(source)):
            if known is not None and known.name:
                return known.name
        sensor = self.sensors.get(source)
        if sensor is not None and sensor.name:
            return sensor.name
        if source in self.duty.names:
            return self.duty.names[source]
        spoken = source.replace("-", " ").replace("_", " ")
        tank = vessel is not None and vessel.kind in (VesselKind.MAIN, VesselKind.STORAGE)
        return f"{spoken} tank" if tank and not spoken.endswith("tank") else spoken

    def sensor_of(self, measures: Measure, at: str) -> SensorPlan | None:
        """The first sensor that measures this here, or None."""
        for sensor in self.sensors.values():
            if sensor.measures is measures and sensor.at == at:
                return sensor
        return None
