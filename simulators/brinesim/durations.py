"""Durations and moments as a scenario writes them, and as readings carry them."""

import math
from datetime import UTC, datetime, timedelta
from typing import Annotated

from pydantic import BeforeValidator, Field

_UNITS = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def seconds_from_text(text: object) -> float:
    """Seconds from `90 s`, `20 min`, `1.5 h`, `180 d`, or from sums such as `3 d 2 h 10 min`.

    Raises: ValueError where it is none of these.
    """
    words = text.split() if isinstance(text, str) else []
    if not words or len(words) % 2:
        raise ValueError(f'{text!r} is no duration; write it with its unit, as "20 min"')
    total = 0.0
    for number, unit in zip(words[::2], words[1::2], strict=True):
        if unit not in _UNITS:
            raise ValueError(f"{text!r}: {unit!r} is none of {', '.join(_UNITS)}")
        try:
            total += float(number) * _UNITS[unit]
        except ValueError as wrong:
            raise ValueError(f'{text!r} is no duration; write it as "20 min"') from wrong
    if not math.isfinite(total):
        raise ValueError(f"{text!r} is no duration that ends")
    return total


Shift = Annotated[float, BeforeValidator(seconds_from_text)]
"""A field that a scenario writes as a duration with its unit; below 0: the other way."""
Seconds = Annotated[Shift, Field(ge=0)]
"""The same, never below 0."""


def milliseconds_from_rfc3339(text: str) -> int:
    """Milliseconds since 1970 UTC of an RFC 3339 date and time with its offset.

    Raises: ValueError where it is none or has no offset.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say its offset from UTC; end it in Z")
    return (moment - _EPOCH) // timedelta(milliseconds=1)


def seconds_from_rfc3339(text: str) -> float:
    """The same in seconds."""
    return milliseconds_from_rfc3339(text) / 1000


def rfc3339_from_milliseconds(instant: int) -> str:
    """RFC 3339 in UTC, with milliseconds only where there are some."""
    stamp = (_EPOCH + timedelta(milliseconds=instant)).strftime("%Y-%m-%dT%H:%M:%S")
    rest = instant % 1000
    return f"{stamp}.{rest:03d}Z" if rest else f"{stamp}Z"
