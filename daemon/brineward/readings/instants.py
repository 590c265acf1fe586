"""Instants: integer milliseconds since 1970-01-01T00:00:00Z, and their RFC 3339 form."""

from datetime import UTC, datetime, timedelta, tzinfo

Instant = int
"""Milliseconds since 1970-01-01T00:00:00Z."""

SECOND = 1_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def instant_from_rfc3339(text: str) -> Instant:
    """The instant that an RFC 3339 date and time with its offset names.

    Raises: ValueError where the text is no date and time, or says no offset from UTC.
    Source: RFC 3339 section 5.6; its own examples are in the tests.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say its offset from UTC; end it in Z")
    since = moment - _EPOCH
    # Written out: a division of one timedelta by another takes twice as long.
    return since.days * DAY + since.seconds * SECOND + since.microseconds // 1_000


def rfc3339_from_instant(instant: Instant) -> str:
    """The instant in UTC, as RFC 3339, to the second or to the millisecond where it has some."""
    moment = _EPOCH + instant * _MILLISECOND
    stamp = moment.strftime("%Y-%m-%dT%H:%M:%S")
    rest = instant % SECOND
    return f"{stamp}.{rest:03d}Z" if rest else f"{stamp}Z"


def local_from_instant(instant: Instant, zone: tzinfo) -> datetime:
    """The instant on the wall clock of a time zone, for texts and pages only."""
    return (_EPOCH + instant * _MILLISECOND).astimezone(zone)


def earliest(*instants: Instant | None) -> Instant | None:
    """The earliest of those that there are; None where there is none."""
    found = None
    for one in instants:
        if one is not None and (found is None or one < found):
            found = one
    return found
