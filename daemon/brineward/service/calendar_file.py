"""Rotas as iCalendar files (RFC 5545): shifts read from events, turns written as events."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any, Final

from dateutil.rrule import rrulestr
from icalendar import Calendar, Component, Event

from brineward.readings.entries import Shift
from brineward.readings.instants import DAY, SECOND, Instant, local_from_instant

LARGEST_BYTES: Final = 2_000_000
_MOST_SHIFTS: Final = 2_000
_MOST_LOOKED_AT: Final = 200_000
"""Occurrences of all series, from the beginning of each: fifty people daily for ten years. They
take a second or two."""
_COST_OF_A_SERIES: Final = 100
"""What a series counts for at least: one of which no day ever comes is looked through, too."""
_REPEATS: Final = ("HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY")
_LONGEST_BACK = 60 * DAY
"""A shift that began longer ago than this is over, or is no shift."""


class NoCalendar(ValueError):
    """It can't be read as a calendar; the text says why."""


class _Looks:
    """How many more occurrences may be looked at in one calendar."""

    def __init__(self) -> None:
        self._left = _MOST_LOOKED_AT

    def count(self, looks: int = 1) -> None:
        """So many were. Raises: NoCalendar where it was too many."""
        self._left -= looks
        if self._left < 0:
            raise NoCalendar(
                f"its series have too many events, expected {_MOST_LOOKED_AT} at most since each"
                " began: let them begin later"
            )


def shifts_in(
    raw: bytes,
    people: Mapping[str, str],
    zone: tzinfo,
    span: tuple[Instant, Instant],
    *,
    handover_minutes: int,
) -> tuple[list[Shift], list[str]]:
    """The shifts within `span`, in order, and the titles that name nobody of `people`.

    `people` are ids with names: an event is the shift of whose id or name is in its title, the
    longest of several. An event of whole days is from the handover of its first day to that of the
    day on which it ends. Times without a zone are the depot's.

    A series that repeats by the second or minute, or each zero days, is no rota and is refused.

    Raises: NoCalendar. Source: RFC 5545 sections 3.3.4, 3.3.5, 3.3.10, 3.6.1 and 3.8.5.
    """
    if len(raw) > LARGEST_BYTES:
        raise NoCalendar("it is larger than 2 MB")
    try:
        calendar = Calendar.from_ical(raw.decode())
        events = [one for one in calendar.walk("VEVENT") if str(one.get("STATUS")) != "CANCELLED"]
        moved = _moved(calendar, zone)
        found: list[Shift] = []
        unknown: dict[str, None] = {}
        looks = _Looks()
        for event in events:
            title = str(event.get("SUMMARY", ""))
            person = _person_in(title, people)
            if person is None:
                unknown[title] = None
                continue
            for begins, ends in _times(event, zone, handover_minutes, moved, span, looks=looks):
                if begins < span[1] and ends > span[0] and begins < ends:
                    found.append(Shift(begins=begins, ends=ends, person=person))
                if len(found) > _MOST_SHIFTS:
                    raise NoCalendar(f"it has more than {_MOST_SHIFTS} shifts")
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, IndexError) as why:
        raise NoCalendar(str(why) or type(why).__name__) from why
    order = sorted(set(found), key=lambda shift: (shift.begins, shift.ends, shift.person))
    return order, list(unknown)


def _person_in(title: str, people: Mapping[str, str]) -> str | None:
    words = title.casefold()
    named = [
        (len(name), person)
        for person, called in people.items()
        for name in {person.casefold(), called.casefold()}
        if name and name in words
    ]
    return max(named)[1] if named else None


Moved = set[tuple[str, Instant]]


def _moved(calendar: Component, zone: tzinfo) -> Moved:
    """Single occurrences of a series that have an event of their own, or are cancelled."""
    events: list[Any] = list(calendar.walk("VEVENT"))
    return {
        (str(one.get("UID")), _instant(one["RECURRENCE-ID"].dt, zone, 0))
        for one in events
        if "RECURRENCE-ID" in one
    }


def _times(
    event: Any,
    zone: tzinfo,
    handover: int,
    moved: Moved,
    span: tuple[Instant, Instant],
    *,
    looks: _Looks,
) -> Iterator[tuple[Instant, Instant]]:
    """When each occurrence begins and ends."""
    first = event["DTSTART"].dt
    whole_days = not isinstance(first, datetime)
    local = _aware(first, zone)
    length = _length(event, local, zone, whole_days=whole_days)
    for begin in _occurrences(event, local, zone, span, looks):
        own = (str(event.get("UID")), _instant(begin, zone, 0))
        if "RECURRENCE-ID" not in event and own in moved:
            continue
        if whole_days:
            ends = begin.date() + length
            yield _instant(begin.date(), zone, handover), _instant(ends, zone, handover)
        else:
            at = _instant(begin, zone, 0)
            yield at, at + round(length.total_seconds() * SECOND)


def _length(event: Any, local: datetime, zone: tzinfo, *, whole_days: bool) -> timedelta:
    if "DURATION" in event:
        length: timedelta = event["DURATION"].dt
        return length
    if "DTEND" not in event:
        return timedelta(days=1) if whole_days else timedelta()
    end = _aware(event["DTEND"].dt, zone)
    if whole_days:
        return end.date() - local.date()
    return end.astimezone(UTC) - local.astimezone(UTC)


def _occurrences(
    event: Any, local: datetime, zone: tzinfo, span: tuple[Instant, Instant], looks: _Looks
) -> Iterator[datetime]:
    """When each begins, by the wall clock of its own zone, without those that are taken out."""
    after = local_from_instant(span[0] - _LONGEST_BACK, UTC)
    before = local_from_instant(span[1], UTC)
    begins = [local]
    for rule in _each(event.get("RRULE")):
        _check_repeats(rule, local)
        looks.count(_COST_OF_A_SERIES)
        begins += _between(rule.to_ical().decode(), local, (after, before), looks)
    for dates in _each(event.get("RDATE")):
        begins += [_aware(one.dt, zone) for one in dates.dts]
    out = {_aware(one.dt, zone) for dates in _each(event.get("EXDATE")) for one in dates.dts}
    yield from sorted(set(begins) - out)


def _check_repeats(rule: Any, local: datetime) -> None:
    """Raises: NoCalendar for a series whose next occurrence is never found, or at once."""
    which = f"the series that begins on {local.date()}"
    for repeats in rule.get("FREQ", []):
        if repeats not in _REPEATS:
            raise NoCalendar(f"{which} has FREQ={repeats}, expected one of {', '.join(_REPEATS)}")
    for interval in rule.get("INTERVAL", []):
        if interval < 1:
            raise NoCalendar(f"{which} has INTERVAL={interval}, expected 1 or more")


def _between(
    rule: str, local: datetime, between: tuple[datetime, datetime], looks: _Looks
) -> list[datetime]:
    """The occurrences of a series from one time to the other, both included."""
    found: list[datetime] = []
    for begin in rrulestr(rule, dtstart=local):
        looks.count()
        if begin > between[1]:
            break
        if begin >= between[0]:
            found.append(begin)
        if len(found) > _MOST_SHIFTS:
            raise NoCalendar(
                f"the series that begins on {local.date()} has more than {_MOST_SHIFTS} events,"
                f" expected {_MOST_SHIFTS} at most"
            )
    return found


def _each(value: Any) -> list[Any]:
    if value is None:
        return []
    return value if isinstance(value, list) else [value]


def _aware(moment: date | datetime, zone: tzinfo) -> datetime:
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time())
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)


def _instant(moment: date | datetime, zone: tzinfo, minutes: int) -> Instant:
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time(minutes // 60, minutes % 60))
    return round(_aware(moment, zone).timestamp() * SECOND)


def calendar_of(
    turns: Iterable[tuple[str, Instant, Instant, str, str]], *, stamp: Instant
) -> bytes:
    """Turns as an iCalendar file: each a depot's id, begin, end, the depot's and the person's name.

    Source: RFC 5545 sections 3.4 and 3.6.1 (PRODID, VERSION, UID and DTSTAMP are required).
    """
    calendar = Calendar()
    calendar.add("prodid", "-//brineward//rota//EN")
    calendar.add("version", "2.0")
    for depot, begins, ends, place, person in turns:
        event = Event()
        event.add("uid", f"{depot}-{begins}@brineward")
        event.add("dtstamp", local_from_instant(stamp, UTC).replace(microsecond=0))
        event.add("dtstart", local_from_instant(begins, UTC).replace(microsecond=0))
        event.add("dtend", local_from_instant(ends, UTC).replace(microsecond=0))
        event.add("summary", f"On call at {place}: {person}")
        calendar.add_component(event)
    return bytes(calendar.to_ical())
