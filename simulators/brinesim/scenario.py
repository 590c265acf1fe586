"""Scenarios: small TOML files, read, put one on another, and checked."""

import tomllib
from collections.abc import Iterable, Mapping
from copy import deepcopy
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, TypeAdapter, ValidationError, field_validator, model_validator

from brinesim.depot import DepotPlan
from brinesim.durations import Seconds, Shift, milliseconds_from_rfc3339
from brinesim.equations import COLUMNS, CONDUCTIVITY, Controls
from brinesim.fault_kinds import KINDS
from brinesim.parts import Name, Part
from brinesim.weather import WeatherPlan

_LISTS = ("faults", "loads", "acts")
_CONTROLS = TypeAdapter(Controls)
LONGEST_SECONDS = 3660 * 86400.0
"""A run of over ten years is a slip of the pen."""
FIRST_MS, LAST_MS = (milliseconds_from_rfc3339(f"{y}-01-01T00:00:00Z") for y in (1970, 2200))
"""A run begins and ends between these."""


class ScenarioError(Exception):
    """A scenario can't be run as written: says where and what was expected."""


class SensorPlan(Part):
    """One sensor and its ailments, in its own unit; zero means that it has none of that kind."""

    column: str
    unit: str = ""
    scale: float = 1.0
    decimals: int = Field(default=0, ge=0, le=6)
    low: float = 0.0
    high: float = 1.0
    bits: int = Field(default=0, ge=0, le=24)
    every: Seconds = Field(default=10.0, gt=0)
    jitter: Seconds = 0.2
    on_change: bool = False
    noise: float = Field(default=0.0, ge=0)
    gain_noise: float = Field(default=0.0, ge=0)
    lag: Seconds = 0.0
    bias_sd: float = Field(default=0.0, ge=0)
    gain_sd: float = Field(default=0.0, ge=0)
    drift_per_day: float = Field(default=0.0, ge=0)
    slosh: float = Field(default=0.0, ge=0)
    foam: float = Field(default=0.0, ge=0)
    fouling_per_day: float = Field(default=0.0, ge=0)
    bubbles_per_hour: float = Field(default=0.0, ge=0)
    bubble_depth: float = Field(default=0.0, ge=0, le=1)
    mounted: float = 0.0
    fitted: bool = True

    @model_validator(mode="after")
    def _measures_something(self) -> Self:
        if self.column not in (*COLUMNS[1:], CONDUCTIVITY):
            known = ", ".join((*COLUMNS[1:], CONDUCTIVITY))
            raise ValueError(f"column: there is no {self.column!r}; there are: {known}")
        if self.low >= self.high:
            raise ValueError(f"its range ends at {self.high:g}, where it begins at {self.low:g}")
        return self


class DeliveryPlan(Part):
    """How readings travel from the sensors to the broker."""

    latency: Seconds = 0.15
    latency_sd: Seconds = 0.05
    clock_offset: Shift = 0.0
    duplicate_share: float = Field(default=0.0, ge=0, le=1)
    late_share: float = Field(default=0.0, ge=0, le=1)
    late_by: Seconds = 30.0
    lost_share: float = Field(default=0.0, ge=0, le=1)


class PeoplePlan(Part):
    """What people do by habit; all chances and rates of zero leave the depot alone."""

    loads_per_day: float = Field(default=0.0, ge=0, le=1000)
    storm_nights_per_month: float = Field(default=0.0, ge=0)
    storm_loads: float = Field(default=9.0, ge=0, le=1000)
    truck_sizes_m3: tuple[Annotated[float, Field(gt=0)], ...] = Field(
        default=(1.2, 1.9, 3.2), min_length=1
    )
    tests_per_week: float = Field(default=0.0, ge=0)
    test_error_sg: float = Field(default=0.0008, ge=0)
    test_error_c: float = Field(default=0.4, ge=0)
    refill_below_m: float = Field(default=0.0, ge=0)
    refill_kg: float = Field(default=2200.0, ge=0)
    records_salt: bool = False
    """Is what is tipped in recorded, weighed?"""
    valve_late_share: float = Field(default=0.03, ge=0, le=1)
    drain_containment_above_m: float = Field(default=0.0, ge=0)


class LoadPlan(Part):
    """One truck: the valve is opened, the pump runs, the valve is closed."""

    at: Seconds
    amount_m3: float = Field(gt=0)
    to: Literal["truck", "ground", "main"] = "truck"


ANY_SENSOR = "any"


class FaultPlan(Part):
    """One thing that goes wrong, from when, for how long, and how badly."""

    kind: str
    """One of `KINDS`."""
    at: Seconds
    lasts: Seconds = 0.0
    """Until it is mended; zero: not within the scenario."""
    size: float | None = None
    sensor: str = ""
    """Another sensor than the kind's own; "any": drawn from those that it can befall."""
    wander: Seconds = 0.0
    """The true onset is drawn from this much time after `at`."""
    spread: float = Field(default=0.0, ge=0, lt=1)
    """The true size is drawn from this share about `size`."""

    @property
    def how_bad(self) -> float:
        """The scenario's own size, or the kind's."""
        return KINDS[self.kind].size if self.size is None else self.size


class ActPlan(Part):
    """Something that people do at a set time."""

    at: Seconds
    act: Literal["test", "mode", "set", "salt"]
    mode: str = ""
    set: dict[str, bool | float | str] = Field(default_factory=dict)
    kg: float = 0.0
    error_sg: float = 0.0

    @field_validator("set")
    @classmethod
    def _sets_controls(cls, changes: dict[str, Any]) -> dict[str, Any]:
        """The values as the controls have them, so that nothing else is ever set."""
        controls = _CONTROLS.validate_python(changes)
        return {name: getattr(controls, name) for name in changes}

    @model_validator(mode="after")
    def _says_what(self) -> Self:
        if self.act == "mode" and not self.mode:
            raise ValueError("mode: expected the depot's new mode")
        return self


class Scenario(Part):
    """Everything that a run is made from."""

    name: str
    title: str
    seed: int = Field(default=1, ge=0)
    start: str
    duration: Seconds = Field(gt=0, le=LONGEST_SECONDS)
    rough: float = Field(default=1.0, ge=0)
    """Multiplies every ailment of sensors, delivery and people: 2 is the rough setting."""
    salt_factor_sd: float = Field(default=0.006, ge=0)
    """How far this depot's brine conducts differently from pure sodium chloride, drawn once."""
    depot: DepotPlan = DepotPlan()
    weather: WeatherPlan = WeatherPlan()
    people: PeoplePlan = PeoplePlan()
    delivery: DeliveryPlan = DeliveryPlan()
    sensors: dict[Name, SensorPlan]
    faults: tuple[FaultPlan, ...] = ()
    loads: tuple[LoadPlan, ...] = ()
    acts: tuple[ActPlan, ...] = ()

    @property
    def start_ms(self) -> int:
        """The start, in milliseconds since 1970 UTC."""
        return milliseconds_from_rfc3339(self.start)

    @field_validator("start")
    @classmethod
    def _is_a_moment(cls, start: str) -> str:
        milliseconds_from_rfc3339(start)
        return start

    @model_validator(mode="after")
    def _can_be_played(self) -> Self:
        begins = self.start_ms
        if not FIRST_MS <= begins <= LAST_MS - self.duration * 1000:
            raise ValueError("start: a run begins and ends between the years 1970 and 2200")
        if not any(sensor.fitted for sensor in self.sensors.values()):
            raise ValueError("sensors: none is fitted; expected one or more")
        for place, fault in enumerate(self.faults):
            if mistake := self._mistake_in(fault):
                raise ValueError(f"faults.{place}.{mistake}")
        return self

    def _mistake_in(self, fault: FaultPlan) -> str:
        if fault.kind not in KINDS:
            return f"kind: there is no fault {fault.kind!r}; these are: {', '.join(KINDS)}"
        if fault.sensor not in ("", ANY_SENSOR, *self.sensors):
            known = ", ".join(self.sensors)
            return f"sensor: there is no sensor {fault.sensor!r}; these are: {known}"
        acts = KINDS[fault.kind].on
        try:
            for end in (1 - fault.spread, 1 + fault.spread):
                if acts is not None:
                    _CONTROLS.validate_python(acts(fault.how_bad * end, self.depot))
        except ValidationError as wrong:
            return f"size: {fault.how_bad:g} can't be: {wrong.errors()[0]['msg']}"
        return ""


def roughened(scenario: Scenario) -> Scenario:
    """The scenario with what delivery, people and salt do wrong multiplied by its `rough`.

    The sensors' own ailments are multiplied where they are drawn.
    """
    by = scenario.rough
    delivery, people = scenario.delivery, scenario.people
    return scenario.model_copy(
        update={
            "salt_factor_sd": scenario.salt_factor_sd * by,
            "delivery": delivery.model_copy(
                update={
                    "latency": delivery.latency * by,
                    "latency_sd": delivery.latency_sd * by,
                    "late_by": delivery.late_by * by,
                    "duplicate_share": min(1.0, delivery.duplicate_share * by),
                    "late_share": min(1.0, delivery.late_share * by),
                    "lost_share": min(1.0, delivery.lost_share * by),
                }
            ),
            "people": people.model_copy(
                update={
                    "test_error_sg": people.test_error_sg * by,
                    "test_error_c": people.test_error_c * by,
                    "valve_late_share": min(1.0, people.valve_late_share * by),
                }
            ),
        }
    )


def scenario_names() -> list[str]:
    """The scenarios that come with the package."""
    found = (files("brinesim") / "scenarios").iterdir()
    return sorted(f.name.removesuffix(".toml") for f in found if f.name.endswith(".toml"))


def _text(name: str) -> tuple[str, str]:
    path = Path(name)
    if path.suffix == ".toml" and path.is_file():
        try:
            return path.stem, path.read_text(encoding="utf-8")
        except UnicodeDecodeError as wrong:
            raise ScenarioError(f"{name}: not a text in UTF-8: {wrong}") from wrong
    if name not in scenario_names():
        raise ScenarioError(
            f"there is no scenario {name!r}; these are: {', '.join(scenario_names())}; "
            "or give the path of a .toml file"
        )
    return name, (files("brinesim") / "scenarios" / f"{name}.toml").read_text(encoding="utf-8")


def _laid_on(under: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """The two put together: tables key by key, the lists of events one after the other."""
    result: dict[str, Any] = deepcopy(dict(under))
    for key, value in over.items():
        if isinstance(value, Mapping) and isinstance(result.get(key), Mapping):
            result[key] = _laid_on(result[key], value)
        elif key in _LISTS and isinstance(value, list) and isinstance(result.get(key, []), list):
            result[key] = [*result.get(key, []), *value]
        else:
            result[key] = deepcopy(value)
    return result


def _raw(name: str, seen: tuple[str, ...]) -> dict[str, Any]:
    if name in seen:
        raise ScenarioError(f"{' builds on '.join((*seen, name))}: that goes in a circle")
    stem, text = _text(name)
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as wrong:  # a number of too many digits, too deep a list
        raise ScenarioError(f"{name}: not a TOML file: {wrong}") from wrong
    table.setdefault("name", stem)
    below = table.pop("builds_on", None)
    if below is None:
        return table
    if not isinstance(below, str):
        raise ScenarioError(f"{name}: builds_on: expected the name of a scenario, not {below!r}")
    under = _raw(below, (*seen, name))
    under.pop("name", None)
    return _laid_on(under, table)


def load_scenario(name: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """The scenario of this name, or in this .toml file, with changes laid over it.

    Raises: ScenarioError with every mistake, where it is, and what was expected.
    """
    table = _raw(name, ())
    if changes:
        table = _laid_on(table, changes)
    instruments = tomllib.loads(
        (files("brinesim") / "instruments.toml").read_text(encoding="utf-8")
    )
    if isinstance(sensors := table.get("sensors", {}), Mapping):
        table["sensors"] = _laid_on(instruments, sensors)
    try:
        return Scenario.model_validate(table)
    except ValidationError as wrong:
        raise ScenarioError(_sentences(name, wrong.errors())) from wrong


def _sentences(name: str, errors: Iterable[Any]) -> str:
    places = [(".".join(str(x) for x in e["loc"]), e["msg"]) for e in errors]
    told = [f"{place}: {said}" if place else said for place, said in places]
    return "\n".join(f"{name}: {one.replace('Value error, ', '', 1)}" for one in told)
