"""`--since` and `--until`: the period that a command is about."""

import argparse
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final, NamedTuple

from brineward.quantities import UnreadableQuantity, parse_quantity
from brineward.readings.instants import DAY, SECOND, Instant, instant_from_rfc3339

_EXPECTED: Final = 'a time ago such as "30 d", a day such as 2026-01-14, or 2026-01-14T18:00:00Z'
_FIRST: Final = 0
_LAST: Final = instant_from_rfc3339("9000-01-01T00:00:00Z")


class NoTime(ValueError):
    """What was given is no time; the text says what was expected."""


class Span(NamedTuple):
    """From `start` to before `end`."""

    start: Instant
    end: Instant


def add_span(parser: argparse.ArgumentParser, *, since: str) -> None:
    """Add --since, with what holds where it is not given, and --until to a command."""
    parser.add_argument(
        "--since", default=since, metavar="TIME", help=f"{_EXPECTED}; default: {since}"
    )
    parser.add_argument("--until", metavar="TIME", help="the same; default: now")


def span_of(since: str, until: str | None, zone: tzinfo, now: Instant) -> Span:
    """The stretch that these two name; days begin at midnight of `zone`, `until` is included.

    Raises: NoTime.
    """
    start = _time(since, "--since", zone, now, days=0)
    end = now if until is None else _time(until, "--until", zone, now, days=1)
    if start >= end:
        raise NoTime(f"--since {since!r} is not before {until or 'now'!r}")
    return Span(start, end)


def instant_of(text: str, zone: tzinfo, now: Instant, *, option: str = "--at") -> Instant:
    """One time that somebody named, a day's midnight, or so long ago. Raises: NoTime."""
    return _time(text, option, zone, now, days=0)


def _time(text: str, option: str, zone: tzinfo, now: Instant, *, days: int) -> Instant:
    found = _day(text, zone, days)
    if found is None:
        try:
            found = instant_from_rfc3339(text)
        except (ValueError, OverflowError):
            found = now - _ago(text, option)
    if not _FIRST <= found <= _LAST:
        raise NoTime(f"{option} {text!r} is too far away; expected {_EXPECTED}")
    return found


def _day(text: str, zone: tzinfo, days: int) -> Instant | None:
    """The midnight that a day begins with, or the one that it ends with; None: it is no day."""
    try:
        day = date.fromisoformat(text) + timedelta(days=days)
        midnight = datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    return round(midnight.timestamp() * SECOND)


def _ago(text: str, option: str) -> Instant:
    try:
        seconds = parse_quantity(text, expected="duration")
    except UnreadableQuantity as why:
        raise NoTime(f"{option} {text[:40]!r} is not a time; expected {_EXPECTED}") from why
    if not 0 <= seconds <= 400 * 366 * DAY / SECOND:
        raise NoTime(f"{option} {text[:40]!r} is too far away; expected {_EXPECTED}")
    return round(seconds * SECOND)
