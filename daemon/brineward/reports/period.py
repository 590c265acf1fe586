"""The period that a report covers, on the depot's own clock. Pure."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from enum import StrEnum
from typing import Final

from brineward.readings.instants import SECOND, Instant, local_from_instant

_DUSK: Final = time(16)
_DAWN: Final = time(8)
"""The hours at which nobody is at the depot (common practice, no source)."""
_SEASON_BEGINS: Final = 7
"""July: a northern winter lies whole in twelve months from there (common practice, no source)."""


class PeriodKind(StrEnum):
    """How long a stretch a report is about."""

    NIGHT = "night"
    WEEK = "week"
    MONTH = "month"
    SEASON = "season"


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """From `start` to before `end`, and what people call it."""

    kind: PeriodKind
    start: Instant
    end: Instant
    title: str
    """Such as `Night of Wed 14 January 2026`."""


def period_of(kind: PeriodKind, now: Instant, zone: tzinfo) -> Period:
    """The last complete night, week or month; of seasons the current one.

    A night is from 16:00 to 08:00, a week from Monday, a season from July, all by the wall clock of
    `zone`, so they are an hour longer or shorter when that changes. Nothing is later than `now`.
    """
    today = local_from_instant(now, zone)
    if kind is PeriodKind.NIGHT:
        over = today.time() >= _DAWN
        evening = today.date() - timedelta(days=1 if over else 2)
        start = datetime.combine(evening, _DUSK)
        end = datetime.combine(evening + timedelta(days=1), _DAWN)
    elif kind is PeriodKind.WEEK:
        monday = today.date() - timedelta(days=today.weekday())
        start, end = (_midnight(monday - timedelta(days=7)), _midnight(monday))
    elif kind is PeriodKind.MONTH:
        first = today.date().replace(day=1)
        start, end = (_midnight((first - timedelta(days=1)).replace(day=1)), _midnight(first))
    else:
        year = today.year if today.month >= _SEASON_BEGINS else today.year - 1
        start, end = _midnight(date(year, _SEASON_BEGINS, 1)), today.replace(tzinfo=None)
    return between(kind, _instant(start, zone), min(now, _instant(end, zone)), zone)


def between(kind: PeriodKind, start: Instant, end: Instant, zone: tzinfo) -> Period:
    """A period given by its ends, with a title by its kind."""
    begins = local_from_instant(start, zone)
    if kind is PeriodKind.NIGHT:
        title = f"Night of {begins:%a} {begins.day} {begins:%B %Y}"
    elif kind is PeriodKind.WEEK:
        title = f"Week from {begins:%a} {begins.day} {begins:%B %Y}"
    elif kind is PeriodKind.MONTH:
        title = f"{begins:%B %Y}"
    else:
        year = begins.year if begins.month >= _SEASON_BEGINS else begins.year - 1
        title = f"Season {year}-{(year + 1) % 100:02d}"
    return Period(kind=kind, start=start, end=end, title=title)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time())


def _instant(local: datetime, zone: tzinfo) -> Instant:
    return round(local.replace(tzinfo=zone).astimezone(UTC).timestamp() * SECOND)
