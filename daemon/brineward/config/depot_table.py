"""`[depots.X]`: one depot, without the tables inside it."""

import re
from datetime import date
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, field_validator

from brineward.config.fields import (
    Current,
    Duration,
    Flow,
    Height,
    Line,
    MassFraction,
    PersonId,
    Power,
    SpokenName,
    Volume,
    ZoneName,
    hours_of_day,
    one_of,
)
from brineward.config.mistakes import shown
from brineward.config.rota_table import RotaTable
from brineward.config.sections import Section, key, key_of, refused
from brineward.plant.idle_hours import IdleHours
from brineward.plant.plan import DepotPlan, Duty, Pump, Strength
from brineward.plant.seasons import Season, Seasons
from brineward.readings.modes import Mode

_SHORT = re.compile(r"[A-Z]{2,4}", re.ASCII)
_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", re.ASCII)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_DAY_OF_YEAR = re.compile(r"([01][0-9])-([0-3][0-9])", re.ASCII)

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


def _day_of_year(written: object) -> tuple[int, int]:
    found = _DAY_OF_YEAR.fullmatch(written) if isinstance(written, str) else None
    if found is None:
        raise refused(f"{shown(written)} is not a month and a day")
    month, day = int(found[1]), int(found[2])
    try:
        date(2025, month, day)  # no leap year: what begins each year needs a day of each
    except ValueError:
        raise refused(f"{shown(written)} is not a day of every year") from None
    return month, day


DayOfYear = Annotated[tuple[int, int] | None, BeforeValidator(_day_of_year)]
_DAY = 'the day on which it begins, month and day, such as "04-30"'


def _daily(written: object) -> int | None:
    if written == "off":
        return None
    found = _TIME.fullmatch(written) if isinstance(written, str) else None
    if found is None:
        raise refused(f"{shown(written)} is not a time of day")
    return int(found[1]) * 60 + int(found[2])


def _weekly(written: object) -> tuple[int, int] | None:
    if written == "off":
        return None
    day, _, at = written.partition(" ") if isinstance(written, str) else ("", "", "")
    minutes = _daily(at) if day in _WEEKDAYS and at != "off" else None
    if minutes is None:
        raise refused(f"{shown(written)} is no weekday and time of day")
    return _WEEKDAYS.index(day), minutes


class StrengthTable(Section):
    """`[depots.X.strength]`: the band that the brine must be in."""

    low: MassFraction = key_of(Strength, "low", 'percent by mass, such as "22 %"')
    target: MassFraction = key_of(Strength, "target", 'percent by mass, such as "23.3 %"')
    high: MassFraction = key_of(Strength, "high", 'percent by mass, such as "25 %"')


class ValveTable(Section):
    """`[depots.X.valves.Y]`: a valve by hand."""

    name: SpokenName = ""


class ShelterTable(Section):
    """`[depots.X.shelter]`: the depot has one."""

    name: SpokenName = ""


class SeasonsTable(Section):
    """`[depots.X.seasons]`: the days of the year on which the depot's mode is set by itself."""

    filling_up: DayOfYear = key(_DAY, default=None)
    in_service: DayOfYear = key(_DAY, default=None)
    storm_watch: DayOfYear = key(_DAY, default=None)
    standing_by: DayOfYear = key(_DAY, default=None)
    being_drained: DayOfYear = key(_DAY, default=None)
    laid_up: DayOfYear = key(_DAY, default=None)

    def seasons(self) -> Seasons:
        """The seasons of a plan, in the order of the year."""
        days = ((getattr(self, mode.value.replace(" ", "_")), mode) for mode in Mode)
        return Seasons(
            tuple(sorted(Season(day[0], day[1], mode) for day, mode in days if day is not None))
        )


class PumpTable(Section):
    """`[depots.X.pumps.Y]`: a pump; its keys make a `Pump`."""

    name: SpokenName = ""
    draws_from: VesselId = key("a vessel of this depot")
    flow_m3_per_s: Flow = key('the flow through the open hose, such as "3.6 L/s"', "flow")
    valves: tuple[ValveId, ...] = key_of(
        Pump, "valves", "valves of this depot, in an array", strict=False
    )
    shut_off_power_w: Power | None = key_of(
        Pump,
        "shut_off_power_w",
        'the power against a closed valve, such as "1.5 kW"',
        "shut_off_power",
    )
    casing_m3: Volume | None = key_of(
        Pump, "casing_m3", 'the liquid in the pump itself, such as "5 L"', "casing"
    )
    longest_run_seconds: Duration | None = key_of(
        Pump,
        "longest_run_seconds",
        'the time after which it was left running, such as "45 min"',
        "longest_run",
    )
    suction_m: Height = key_of(
        Pump, "suction_m", 'the height of its suction above the floor, such as "8 cm"', "suction"
    )
    running_current_a: Current | None = key_of(
        Pump,
        "running_current_a",
        'what it draws while it delivers, such as "12.5 A"',
        "running_current",
    )


_INSIDE = "tables of their own"


class DepotTable(Section):
    """A depot's own keys; its inner tables are read one by one."""

    name: Line = key('what texts call it, such as "Tern Hollow"')
    short: Annotated[str, AfterValidator(_short)] = key('two to four capital letters, such as "TH"')
    time_zone: ZoneName = key('a name such as "America/Chicago"')
    units: Literal["us", "metric"] = key("us or metric", default="metric")
    on_call: list[PersonId] = key("one person or more, the first to be texted first", min_length=1)
    rota: RotaTable | None = key("a table of keys", default=None)
    next_after_seconds: Duration = key_of(
        Duty,
        "next_after_seconds",
        'how long the first has to take an alarm, such as "10 min"',
        "next_after",
    )
    most_texts_an_hour: int = key_of(
        Duty,
        "most_texts_an_hour",
        "how many texts, a whole number from 1 to 1000",
        ge=1,
        le=1000,
    )
    most_texts_a_minute: int = key_of(
        Duty,
        "most_texts_a_minute",
        "how many texts, a whole number from 1 to 1000",
        ge=1,
        le=1000,
    )
    daily_minutes: Annotated[int | None, BeforeValidator(_daily)] = key_of(
        Duty,
        "daily_minutes",
        'a time of the depot\'s clock such as "07:00", or "off"',
        "daily_line",
    )
    test_at: Annotated[tuple[int, int] | None, BeforeValidator(_weekly)] = key_of(
        Duty,
        "test_at",
        'a weekday and a time of the depot\'s clock such as "Mon 10:00", or "off"',
        "weekly_test",
    )
    idle_hours: Annotated[IdleHours | None, BeforeValidator(hours_of_day)] = key(
        'the hours in which no pump runs, such as "22:00-05:00"', default=None
    )
    test_batches_within_seconds: Duration = key_of(
        DepotPlan,
        "test_batches_within_seconds",
        'how long after a batch its hydrometer test is asked for, such as "3 days"',
        "test_batches_within",
    )
    strength: StrengthTable = key("a table of keys", default=StrengthTable())
    seasons: SeasonsTable = key("a table of keys", default=SeasonsTable())
    shelter: ShelterTable | None = key("a table", default=None)
    vessels: dict[str, object] = key(_INSIDE, default={})
    valves: dict[str, object] = key(_INSIDE, default={})
    pumps: dict[str, object] = key(_INSIDE, default={})
    sensors: dict[str, object] = key(_INSIDE, default={})
    alarms: dict[str, object] = key(_INSIDE, default={})

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

    @field_validator("seasons")
    @classmethod
    def _one_a_day(cls, table: SeasonsTable) -> SeasonsTable:
        seasons = table.seasons().each
        for one, other in pairwise(seasons):
            if one[:2] == other[:2]:
                raise refused(
                    f"{one.mode} and {other.mode} both begin on {one.month:02}-{one.day:02}",
                    "a day of its own for each",
                )
        return table

    @field_validator("on_call")
    @classmethod
    def _once_each(cls, people: list[str]) -> list[str]:
        if len(set(people)) < len(people):
            raise refused("somebody is named twice", "each person once")
        return people
