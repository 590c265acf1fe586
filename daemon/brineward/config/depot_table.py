"""`[depots.X]`: one depot, without the tables inside it."""

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator

from brineward.config.fields import (
    Duration,
    Flow,
    Line,
    MassFraction,
    Power,
    Volume,
    ZoneName,
    one_of,
)
from brineward.config.mistakes import shown
from brineward.config.sections import Section, refused
from brineward.plant.plan import Pump, Strength

_SHORT = re.compile(r"[A-Z]{2,4}", re.ASCII)

PersonId = Annotated[
    str,
    one_of(lambda known: known.people, "a person of this file", none="a [people.<name>] table"),
]
VesselId = Annotated[
    str,
    one_of(
        lambda known: known.vessels,
        "a vessel of this depot",
        none="a [depots.<depot>.vessels.<name>] table",
    ),
]
ValveId = Annotated[
    str,
    one_of(
        lambda known: known.valves,
        "a valve of this depot",
        none="a [depots.<depot>.valves.<name>] table",
    ),
]


def _short(short: str) -> str:
    if _SHORT.fullmatch(short) is None:
        raise refused(f"{shown(short)} is not two to four capital letters")
    return short


class StrengthTable(Section):
    """`[depots.X.strength]`: the band that the brine must be in."""

    low: MassFraction = Field(default=0.22, description='percent by mass, such as "22 %"')
    target: MassFraction = Field(default=0.233, description='percent by mass, such as "23.3 %"')
    high: MassFraction = Field(default=0.25, description='percent by mass, such as "25 %"')

    def planned(self) -> Strength:
        """The band as the plan has it."""
        return Strength(low=self.low, target=self.target, high=self.high)


class ValveTable(Section):
    """`[depots.X.valves.Y]`: a valve by hand, of which nothing more need be said."""


class ShelterTable(Section):
    """`[depots.X.shelter]`: the depot has one; nothing more need be said."""


class PumpTable(Section):
    """`[depots.X.pumps.Y]`: a pump."""

    draws_from: VesselId = Field(description="a vessel of this depot")
    flow: Flow = Field(description='the flow through the open hose, such as "3.6 L/s"')
    valves: list[ValveId] = Field(default=[], description="valves of this depot, in an array")
    shut_off_power: Power | None = Field(
        default=None, description='the power against a closed valve, such as "1.5 kW"'
    )
    casing: Volume | None = Field(
        default=None, description='the liquid in the pump itself, such as "5 L"'
    )

    def planned(self, pump: str) -> Pump:
        """The pump as the plan has it."""
        return Pump(
            id=pump,
            draws_from=self.draws_from,
            flow_m3_per_s=self.flow,
            valves=tuple(self.valves),
            shut_off_power_w=self.shut_off_power,
            casing_m3=self.casing,
        )


_INSIDE = "tables of their own"


class DepotTable(Section):
    """A depot's own keys; the tables of its parts are read one by one."""

    name: Line = Field(description='what texts call it, such as "Tern Hollow"')
    short: Annotated[str, AfterValidator(_short)] = Field(
        description='two to four capital letters, such as "TH"'
    )
    time_zone: ZoneName = Field(description='a name such as "America/Chicago"')
    units: Literal["us", "metric"] = Field(default="metric", description="us or metric")
    on_call: list[PersonId] = Field(
        min_length=1, description="one person or more, the first to be texted first"
    )
    next_after: Duration = Field(
        default=600.0, description='how long the first has to take an alarm, such as "10 min"'
    )
    strength: StrengthTable = Field(default=StrengthTable(), description="a table of keys")
    shelter: ShelterTable | None = Field(default=None, description="a table")
    vessels: dict[str, object] = Field(default={}, description=_INSIDE)
    valves: dict[str, object] = Field(default={}, description=_INSIDE)
    pumps: dict[str, object] = Field(default={}, description=_INSIDE)
    sensors: dict[str, object] = Field(default={}, description=_INSIDE)
    alarms: dict[str, object] = Field(default={}, description=_INSIDE)

    @field_validator("strength")
    @classmethod
    def _band_rises(cls, band: StrengthTable) -> StrengthTable:
        if not band.low < band.target < band.high:
            raise refused(
                f"low ({band.low:.1%}), target ({band.target:.1%}) and high ({band.high:.1%}) "
                "don't rise",
                "low under target under high",
            )
        return band

    @field_validator("on_call")
    @classmethod
    def _once_each(cls, people: list[str]) -> list[str]:
        if len(set(people)) < len(people):
            raise refused("somebody stands twice", "each person once")
        return people
