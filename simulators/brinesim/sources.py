"""Where each number comes from, beside the number: what `brinesim sources` prints."""

import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Any, NamedTuple

from pydantic import BaseModel

from brinesim.scenario import Scenario, load_scenario

BASES = (
    "published value",
    "data sheet class",
    "common practice, no source",
    "our guess",
    "the example config",
    "follows",
)
# What a sensor is, rather than how well it measures.
NO_NUMBERS = frozenset({"column", "unit", "scale", "decimals", "fitted"})


class Origin(NamedTuple):
    """One parameter: where it stands, its value, and on what it rests."""

    parameter: str
    value: str
    basis: str
    why: str


class UnsourcedError(Exception):
    """A parameter has no entry in sources.toml: for whoever added it."""


def _said() -> dict[str, Any]:
    return tomllib.loads((files("brinesim") / "sources.toml").read_text(encoding="utf-8"))


def _of_part(name: str, part: BaseModel, said: Mapping[str, Any]) -> Iterator[Origin]:
    for field, value in part:
        if field not in said.get(name, {}):
            raise UnsourcedError(f"{name}.{field} has no entry in sources.toml")
        text = str(value)
        if isinstance(value, BaseModel):
            text = ", ".join(
                f"{key} {value.__dict__[key]}" for key in sorted(value.model_fields_set)
            )
        yield Origin(f"{name}.{field}", text, *said[name][field])


def _of_sensors(scenario: Scenario, said: Mapping[str, Any]) -> Iterator[Origin]:
    common = said["sensors"]["*"]
    for sensor, plan in scenario.sensors.items():
        own = said["sensors"].get(sensor, {})
        for field, value in plan:
            if field in NO_NUMBERS or not value:
                continue
            entry = own.get(field) or common.get(field)
            if entry is None:
                raise UnsourcedError(f"sensors.{sensor}.{field} has no entry in sources.toml")
            yield Origin(f"sensors.{sensor}.{field}", str(value), *entry)


def origins() -> list[Origin]:
    """Every parameter of the plain depot, with its value and where that comes from.

    Raises: UnsourcedError where one has no entry.
    """
    said = _said()
    scenario = load_scenario("tern-hollow")
    parts = (
        ("depot", scenario.depot),
        ("weather", scenario.weather),
        ("people", scenario.people),
        ("delivery", scenario.delivery),
    )
    found = [origin for name, part in parts for origin in _of_part(name, part, said)]
    found += _of_sensors(scenario, said)
    found += [
        Origin(f"scenario.{name}", str(getattr(scenario, name)), *entry)
        for name, entry in said["scenario"].items()
    ]
    return found


def as_markdown(found: list[Origin]) -> str:
    """The origins as a table."""
    rows = [f"| {o.parameter} | {o.value} | {o.basis} | {o.why} |" for o in found]
    return "\n".join(["| parameter | value | basis | why |", "|---|---|---|---|", *rows])
