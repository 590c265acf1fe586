"""`[depots.X.sensors.Y]`: what a sensor measures, where, and how its value is read."""

import math
from dataclasses import dataclass
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from brineward.config.fields import Duration, Height, Line, SpokenName, Topic
from brineward.config.mistakes import not_among, shown
from brineward.config.sections import Known, Section, key, key_of, known_of, refused
from brineward.config.settings import PayloadSettings, SensorSource
from brineward.plant.plan import DOOR, HEATER, Measure, SensorPlan, Vessel
from brineward.quantities import EXAMPLES, UnknownUnit, unit_named

ValueT = TypeVar("ValueT")

OUTDOORS = "outdoors"
SHELTER = "shelter"
MAINS = "mains"
"""The depot's supply, before all its outlets."""

_SILENT_MARGIN_SECONDS = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """What is expected of the sensors of one measure."""

    quantity: str
    places: tuple[str, ...]
    low: float = 0.0
    high: float = 1.0
    """The range believed where the file gives none, SI."""


# The ranges are common practice, no source: wide enough for a depot, and narrow enough that a
# broken wire or a wrong unit falls outside.
_RULES = {
    Measure.LEVEL: _Rule(quantity="length", places=("vessel",), low=-0.1, high=12.0),
    Measure.SALT_LEVEL: _Rule(quantity="length", places=("vessel",), low=-0.1, high=12.0),
    Measure.CONDUCTIVITY: _Rule(quantity="conductivity", places=("vessel",), high=40.0),
    Measure.DENSITY: _Rule(quantity="density", places=("vessel",), low=900.0, high=1400.0),
    Measure.TEMPERATURE: _Rule(
        quantity="temperature",
        places=("vessel", "pump", SHELTER, OUTDOORS),
        low=-50.0,
        high=120.0,
    ),
    Measure.PRESSURE: _Rule(quantity="pressure", places=("pump", "vessel"), low=-1e5, high=1e6),
    Measure.FLOW: _Rule(quantity="flow", places=("pump", "vessel"), low=-0.05, high=0.05),
    Measure.CURRENT: _Rule(quantity="current", places=("pump", HEATER), high=100.0),
    Measure.RUNNING: _Rule(quantity="", places=("pump", HEATER)),
    Measure.OPEN: _Rule(quantity="", places=("valve", DOOR)),
    Measure.POWER: _Rule(quantity="", places=("pump", SHELTER, HEATER, MAINS)),
}
_VESSEL_MARGIN_M = 0.3
_PLACE_WORDS = {
    "vessel": "a vessel",
    "pump": "a pump",
    "valve": "a valve",
    SHELTER: SHELTER,
    OUTDOORS: OUTDOORS,
    MAINS: MAINS,
    HEATER: f"the shelter's {HEATER}",
    DOOR: f"the shelter's {DOOR}",
}


def _key_path(path: str) -> str:
    if "" in (step.strip() for step in path.split(".")):
        raise refused(f"{shown(path)} has an empty step between its dots")
    return path


JsonKeyPath = Annotated[Line, AfterValidator(_key_path)]
"""Keys with dots between them; a number is a place in an array, counted from 0."""


class JsonPayload(Section):
    """A payload that is a JSON object."""

    kind: Literal["json"]
    value: JsonKeyPath = Field(
        default="value", description='the key of the value, such as "v" or "readings.0.v"'
    )
    time: JsonKeyPath | None = Field(
        default=None, description='the key of the time, such as "t" or "readings.0.t"'
    )

    def settled(self) -> PayloadSettings:
        """The settings of it."""
        return PayloadSettings(kind="json", value_key=self.value, time_key=self.time)


class SenmlPayload(Section):
    """A payload that is a SenML pack, RFC 8428."""

    kind: Literal["senml"]
    record: Line | None = Field(
        default=None,
        description='the full name of this sensor\'s record, such as "urn:dev:1:level"',
    )

    def settled(self) -> PayloadSettings:
        """The settings of it."""
        return PayloadSettings(kind="senml", record_name=self.record)


_PAYLOADS: dict[object, type[JsonPayload | SenmlPayload]] = {
    "json": JsonPayload,
    "senml": SenmlPayload,
}


def _payload(raw: object, info: ValidationInfo) -> object:
    if raw in ("any", "number"):
        return PayloadSettings(kind="any" if raw == "any" else "number")
    kind = raw.get("kind") if isinstance(raw, dict) else None
    table = _PAYLOADS.get(kind) if isinstance(kind, str) else None
    if table is None:
        raise refused(f"{shown(raw if kind is None else kind)} is not a kind of payload known here")
    return table.model_validate(raw, context=info.context).settled()


def places_of(known: Known) -> dict[str, str]:
    """Every place that a sensor may be at, and what kind of place it is."""
    places = {OUTDOORS: OUTDOORS, MAINS: MAINS}
    if known.has_shelter:
        places |= {SHELTER: SHELTER, HEATER: HEATER, DOOR: DOOR}
    for names, kind in ((known.valves, "valve"), (known.pumps, "pump"), (known.vessels, "vessel")):
        places.update(dict.fromkeys(names, kind))
    return places


class SensorTable(Section):
    """One sensor; its keys make a `SensorPlan` and a `SensorSource`."""

    name: SpokenName = ""
    measures: Measure = key(
        f"one of {', '.join(sorted(measure.value for measure in Measure))}", strict=False
    )
    at: str = key("a vessel, pump or valve of this depot, shelter, heater, door, outdoors or mains")
    unit: str | None = key("the unit it publishes in", default=None, validate_default=True)
    scale: float = key_of(SensorSource, "scale", "what the number is multiplied by, such as 0.1")
    range: list[float] | None = key(
        "the lowest and the highest number believed, in the sensor's own unit",
        default=None,
        min_length=2,
        max_length=2,
    )
    accuracy: float | None = key(
        "its plus or minus, a number above 0 in the sensor's own unit",
        default=None,
        validate_default=True,
    )
    every_seconds: Duration = key('the time from reading to reading, such as "10 s"', "every")
    silent_after_seconds: Duration | None = key(
        'the time after which its silence is told, such as "1 min"', "silent_after", default=None
    )
    on_change: bool = key_of(SensorPlan, "on_change", "true or false")
    inverted: bool = key_of(SensorSource, "inverted", "true or false")
    mounted_m: Height = key_of(
        SensorPlan,
        "mounted_m",
        'the height of the probe above the floor, such as "0.30 m"',
        "mounted",
    )
    apart_k: float = key_of(
        SensorPlan,
        "apart_k",
        "how far the brine at a conductivity probe may differ from that at its thermometer: a "
        "number from 0 to 5, in kelvin",
        "thermometer_apart_k",
        ge=0.0,
        le=5.0,
    )
    topic: Topic | None = key("an MQTT topic name", default=None)
    payload: Annotated[PayloadSettings, BeforeValidator(_payload)] = key(
        '"any", "number", { kind = "json", value = "v", time = "t" } or '
        '{ kind = "senml", record = "..." }',
        default=PayloadSettings(),
    )

    @field_validator("at")
    @classmethod
    def _known_place(cls, at: str, info: ValidationInfo) -> str:
        places = places_of(known_of(info))
        if at == SHELTER and SHELTER not in places:
            raise refused("the depot has no shelter", "a [depots.<depot>.shelter] table")
        if at not in places:
            raise refused(
                f"{shown(at)} is not a place of this depot", not_among(at, places, none="")
            )
        measures: Measure | None = info.data.get("measures")
        if measures is not None and places[at] not in _RULES[measures].places:
            raise refused(
                f"{measures.value} can't be measured at {shown(at)}",
                " or ".join(_PLACE_WORDS[place] for place in _RULES[measures].places),
            )
        return at

    @field_validator("unit")
    @classmethod
    def _unit_of_measure(cls, unit: str | None, info: ValidationInfo) -> str | None:
        measures: Measure | None = info.data.get("measures")
        if measures is None:
            return unit
        if measures.is_switch:
            if unit is not None:
                raise refused("a switch has no unit", "no unit")
            return None
        quantity = _RULES[measures].quantity
        such = f'a unit of {quantity}, such as the one in "{EXAMPLES[quantity]}"'
        if unit is None:
            raise refused("is missing", such)
        try:
            known = unit_named(unit[:60])
        except UnknownUnit as unknown:
            raise refused(str(unknown), such) from unknown
        if known.quantity != quantity:
            raise refused(f"{shown(unit)} is a unit of {known.quantity}", such)
        return unit

    @field_validator("scale")
    @classmethod
    def _some_scale(cls, scale: float, info: ValidationInfo) -> float:
        if scale == 0:
            raise refused("a scale of 0 would make every reading 0")
        return _for_numbers(scale, info)

    @field_validator("range")
    @classmethod
    def _range_rises(cls, bounds: list[float] | None, info: ValidationInfo) -> list[float] | None:
        if bounds is not None and bounds[0] >= bounds[1]:
            raise refused(f"the range runs from {bounds[0]:g} to {bounds[1]:g}")
        return _for_numbers(bounds, info)

    @field_validator("accuracy")
    @classmethod
    def _some_accuracy(cls, accuracy: float | None, info: ValidationInfo) -> float | None:
        measures: Measure | None = info.data.get("measures")
        if accuracy is None:
            if measures is not None and not measures.is_switch:
                raise refused("is missing")
            return None
        if accuracy <= 0:
            raise refused(f"{accuracy:g} is not above 0")
        bounds = info.data.get("range")
        if bounds is not None and accuracy >= bounds[1] - bounds[0]:
            raise refused(f"{accuracy:g} is as wide as the whole range")
        return _for_numbers(accuracy, info)

    @field_validator("silent_after_seconds")
    @classmethod
    def _silent_later(cls, silent: float | None, info: ValidationInfo) -> float | None:
        every = info.data.get("every_seconds")
        if silent is not None and every is not None and silent <= every:
            raise refused(
                f"{silent:g} s is no longer than the {every:g} s from reading to reading",
                "a time of two or more readings",
            )
        return silent

    @field_validator("inverted")
    @classmethod
    def _switches_only(cls, inverted: bool, info: ValidationInfo) -> bool:
        measures: Measure | None = info.data.get("measures")
        if inverted and measures is not None and not measures.is_switch:
            raise refused(f"{measures.value} is not a switch", "no inverted key")
        return inverted

    def planned(self, sensor: str, vessel: Vessel | None) -> SensorPlan:
        """The sensor as the plan has it, all SI; `vessel` is the one that it is at, if any."""
        low, high = self._range_si(vessel)
        silent = self.silent_after_seconds or 3 * self.every_seconds + _SILENT_MARGIN_SECONDS
        return self.made(
            SensorPlan,
            id=sensor,
            low=low,
            high=high,
            standard_uncertainty=self._standard_uncertainty(),
            silent_after_seconds=silent,
        )

    def source(self, depot: str, sensor: str) -> SensorSource:
        """Where its readings come from."""
        return self.made(
            SensorSource,
            depot=depot,
            sensor=sensor,
            topic=self.topic or default_topic(depot, sensor),
            unit=unit_named(self.unit or "1"),
        )

    def _range_si(self, vessel: Vessel | None) -> tuple[float, float]:
        if self.range is not None and self.unit is not None:
            unit = unit_named(self.unit)
            return unit.to_si(self.range[0]), unit.to_si(self.range[1])
        rule = _RULES[self.measures]
        if self.measures is Measure.LEVEL and vessel is not None:
            return rule.low, vessel.brim_m + _VESSEL_MARGIN_M
        return rule.low, rule.high

    def _standard_uncertainty(self) -> float:
        """A plus or minus without more said is an even spread: JCGM 100:2008, 4.3.7."""
        if self.accuracy is None or self.unit is None:
            return 0.0
        return unit_named(self.unit).difference_to_si(self.accuracy) / math.sqrt(3)


def default_topic(depot: str, sensor: str) -> str:
    """The topic of a sensor whose table gives none."""
    return f"brine/{depot}/{sensor}"


def _for_numbers(value: ValueT, info: ValidationInfo) -> ValueT:
    measures: Measure | None = info.data.get("measures")
    if value is not None and measures is not None and measures.is_switch:
        raise refused("a switch says only yes or no", "no such key")
    return value
