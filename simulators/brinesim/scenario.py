"""Scenarios: small TOML files, read, put one on another, and checked."""

import tomllib
from collections.abc import Iterable, Mapping
from copy import deepcopy
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from brinesim.depot import DepotPlan
from brinesim.durations import Seconds, milliseconds_from_rfc3339
from brinesim.weather import WeatherPlan

_LISTS = ("faults", "loads", "acts")


class ScenarioError(Exception):
    """A scenario can't be run as written: says where and what was expected."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SensorPlan(_Part):
    """One sensor and its ailments, in its own unit; zero means that it has none of that kind."""

    column: str
    unit: str = ""
    scale: float = 1.0
    decimals: int = Field(default=0, ge=0, le=6)
    low: float = 0.0
    high: float = 1.0
    bits: int = Field(default=0, ge=0, le=24)
    every: Seconds = 10.0
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


class DeliveryPlan(_Part):
    """How readings travel from the sensors to the broker."""

    latency: Seconds = 0.15
    latency_sd: Seconds = 0.05
    clock_offset: Seconds = 0.0
    duplicate_share: float = Field(default=0.0, ge=0, le=1)
    late_share: float = Field(default=0.0, ge=0, le=1)
    late_by: Seconds = 30.0
    lost_share: float = Field(default=0.0, ge=0, le=1)


class PeoplePlan(_Part):
    """What people do by habit; all chances and rates of zero leave the depot alone."""

    loads_per_day: float = Field(default=0.0, ge=0)
    storm_nights_per_month: float = Field(default=0.0, ge=0)
    storm_loads: float = Field(default=9.0, ge=0)
    truck_sizes_m3: tuple[float, ...] = (1.2, 1.9, 3.2)
    tests_per_week: float = Field(default=0.0, ge=0)
    test_error_sg: float = Field(default=0.0008, ge=0)
    test_error_c: float = Field(default=0.4, ge=0)
    refill_below_m: float = Field(default=0.0, ge=0)
    refill_kg: float = Field(default=2200.0, ge=0)
    records_salt: bool = False
    """Is what is tipped in recorded, weighed?"""
    valve_late_share: float = Field(default=0.03, ge=0, le=1)
    drain_containment_above_m: float = Field(default=0.0, ge=0)


class LoadPlan(_Part):
    """One truck: the valve is opened, the pump runs, the valve is closed."""

    at: Seconds
    amount_m3: float = Field(gt=0)
    to: Literal["truck", "ground", "main"] = "truck"


class FaultPlan(_Part):
    """One thing that goes wrong, from when, for how long, and how badly."""

    kind: str
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


class ActPlan(_Part):
    """Something that people do at a set time."""

    at: Seconds
    act: Literal["test", "mode", "set", "salt"]
    mode: str = ""
    set: dict[str, bool | float | str] = Field(default_factory=dict)
    kg: float = 0.0
    error_sg: float = 0.0


class Scenario(_Part):
    """Everything that a run is made from."""

    name: str
    title: str
    seed: int = 1
    start: str
    duration: Seconds
    rough: float = Field(default=1.0, ge=0)
    """Multiplies every ailment of sensors, delivery and people: 2 is the rough setting."""
    salt_factor_sd: float = Field(default=0.006, ge=0)
    """How far this depot's brine conducts differently from pure sodium chloride, drawn once."""
    depot: DepotPlan = DepotPlan()
    weather: WeatherPlan = WeatherPlan()
    people: PeoplePlan = PeoplePlan()
    delivery: DeliveryPlan = DeliveryPlan()
    sensors: dict[str, SensorPlan]
    faults: tuple[FaultPlan, ...] = ()
    loads: tuple[LoadPlan, ...] = ()
    acts: tuple[ActPlan, ...] = ()

    @property
    def start_ms(self) -> int:
        """The start, in milliseconds since 1970 UTC."""
        return milliseconds_from_rfc3339(self.start)


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
        return path.stem, path.read_text(encoding="utf-8")
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
        elif key in _LISTS:
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
    except tomllib.TOMLDecodeError as wrong:
        raise ScenarioError(f"{name}: not a TOML file: {wrong}") from wrong
    table.setdefault("name", stem)
    below = table.pop("builds_on", None)
    if below is None:
        return table
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
    table["sensors"] = _laid_on(instruments, table.get("sensors", {}))
    try:
        scenario = Scenario.model_validate(table)
        _ = scenario.start_ms
    except ValidationError as wrong:
        raise ScenarioError(_sentences(name, wrong.errors())) from wrong
    except ValueError as wrong:
        raise ScenarioError(f"{name}: start: {wrong}") from wrong
    return scenario


def _sentences(name: str, errors: Iterable[Any]) -> str:
    return "\n".join(f"{name}: {'.'.join(str(x) for x in e['loc'])}: {e['msg']}" for e in errors)
