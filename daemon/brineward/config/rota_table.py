"""`[depots.X.rota]`: who is on duty when."""

import re
from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator, model_validator

from brineward.config.fields import Duration, Line, PersonId
from brineward.config.mistakes import shown
from brineward.config.sections import Section, key, refused
from brineward.plant.rota import OwnDay, Rota, Swap

_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", re.ASCII)
_EACH_YEAR = re.compile(r"([01][0-9])-([0-3][0-9])", re.ASCII)
_ADDRESS = re.compile(r"(https?|webcal)://[^\s]+")


def _minutes(written: object) -> int:
    found = _TIME.fullmatch(written) if isinstance(written, str) else None
    if found is None:
        raise refused(f"{shown(written)} is not a time of day")
    return int(found[1]) * 60 + int(found[2])


def _day(written: object) -> date:
    if isinstance(written, date) and type(written) is date:
        return written  # TOML has dates of its own
    try:
        return date.fromisoformat(str(written))
    except ValueError:
        raise refused(f"{shown(written)} is no date") from None


def _own_day(written: object) -> tuple[int | None, int, int]:
    each_year = _EACH_YEAR.fullmatch(written) if isinstance(written, str) else None
    if each_year is None:
        day = _day(written)
        return day.year, day.month, day.day
    try:
        leap = date(2024, int(each_year[1]), int(each_year[2]))
    except ValueError:
        raise refused(f"{shown(written)} is not a day of a year") from None
    return None, leap.month, leap.day


Day = Annotated[date, BeforeValidator(_day)]


class SwapTable(Section):
    """One of `swaps`: somebody else is on duty for a while."""

    begins: Day = key('the day that it begins, such as "2026-12-21"', "from")
    ends: Day = key("the day that it ends, at the handover", "until")
    person: PersonId = key("a person of this file")

    @model_validator(mode="after")
    def _forward(self) -> "SwapTable":
        if self.ends <= self.begins:
            raise refused(f"it ends on {self.ends}, not after it begins", "a later day for until")
        return self


class HolidayTable(Section):
    """One of `holidays`: a day with its own person on duty."""

    day: Annotated[tuple[int | None, int, int], BeforeValidator(_own_day)] = key(
        'a day such as "2026-12-25", or "12-25" of every year'
    )
    person: PersonId = key("a person of this file")


class RotaTable(Section):
    """`[depots.X.rota]`."""

    people: tuple[PersonId, ...] = key("people of this file, in turn", default=(), strict=False)
    every: Literal["week", "day"] = key("week or day", default="week")
    begins: Day | None = key(
        'the day on which the first one\'s turn begins, such as "2026-11-02"', "from", default=None
    )
    handover: Annotated[int, BeforeValidator(_minutes)] = key(
        'a time of the depot\'s clock, such as "07:00"', default=7 * 60
    )
    backup: tuple[PersonId, ...] = key("people of this file, in order", default=(), strict=False)
    swaps: tuple[SwapTable, ...] = key("tables of from, until, person", default=(), strict=False)
    holidays: tuple[HolidayTable, ...] = key("tables of day, person", default=(), strict=False)
    calendar: Line | None = key("an iCalendar file or its address", default=None)
    read_every_seconds: Duration = key(
        'how often the calendar is read, such as "15 min"', "read_every", default=900.0
    )

    @model_validator(mode="after")
    def _somebody(self) -> "RotaTable":
        if not self.people and self.calendar is None:
            raise refused("names nobody", "people, in turn, or a calendar")
        if self.people and self.begins is None:
            raise refused("does not say when the first turn begins", 'a day: from = "2026-11-02"')
        where = self.calendar or ""
        if "://" in where and _ADDRESS.fullmatch(where) is None:
            # Not quoted: whoever knows the address may read the calendar, and some hold a key.
            raise refused("is no address of a calendar", "https://...")
        return self

    def rota(self) -> Rota:
        """The rota of a plan."""
        return Rota(
            people=self.people,
            every=self.every,
            **({} if self.begins is None else {"begins": self.begins}),
            handover_minutes=self.handover,
            backups=self.backup,
            swaps=tuple(Swap(begins=s.begins, ends=s.ends, person=s.person) for s in self.swaps),
            own_days=tuple(
                OwnDay(year=h.day[0], month=h.day[1], day=h.day[2], person=h.person)
                for h in self.holidays
            ),
            calendar=self.calendar is not None,
        )
