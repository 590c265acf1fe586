"""Times in payloads: RFC 3339 text, seconds or milliseconds since 1970."""

import re
from math import isfinite
from typing import Final

from brineward.decode.refusals import UnreadablePayload, quoted
from brineward.readings.instants import SECOND, Instant, instant_from_rfc3339

LATEST: Final[Instant] = 253_402_300_799_999
"""The end of the year 9999: no instant lies beyond it."""

_MILLISECONDS_FROM: Final = 1e11
"""As seconds this is the year 5138, as milliseconds it is 1973: what is larger is milliseconds."""

_LONGEST_TEXT: Final = 64
_EXPECTED: Final = "expected RFC 3339 with its offset, or seconds or milliseconds since 1970"
_LEAP_SECOND: Final = re.compile(r"(?<=\d\d:\d\d):60(?=[.Zz+-])")


def instant_from_json(found: object) -> Instant:
    """The instant that a JSON string or number names.

    Raises: UnreadablePayload where it is not a time, or not between 1970 and the year 9999.
    """
    if isinstance(found, str):
        return _checked(_instant_from_text(found), found)
    if isinstance(found, int | float) and not isinstance(found, bool):
        if isfinite(found):
            milliseconds = found if abs(found) >= _MILLISECONDS_FROM else found * SECOND
            return _checked(round(milliseconds), found)
        raise UnreadablePayload("bad-time", f"the time {quoted(found)} is not finite; {_EXPECTED}")
    raise UnreadablePayload("bad-time", f"the time {quoted(found)} is not a time; {_EXPECTED}")


def _instant_from_text(text: str) -> Instant:
    if len(text) > _LONGEST_TEXT:
        raise UnreadablePayload("bad-time", f"the time {quoted(text)} is not a time; {_EXPECTED}")
    try:
        return instant_from_rfc3339(text)
    except (ValueError, OverflowError):
        pass
    # A leap second has no place of its own in the count since 1970: it is the next one's first.
    without, leaps = _LEAP_SECOND.subn(":59", text)
    if leaps == 1:
        try:
            return instant_from_rfc3339(without) + SECOND
        except (ValueError, OverflowError):
            pass
    raise UnreadablePayload("bad-time", f"the time {quoted(text)} is not a time; {_EXPECTED}")


def _checked(instant: Instant, found: object) -> Instant:
    if 0 <= instant <= LATEST:
        return instant
    raise UnreadablePayload(
        "bad-time", f"the time {quoted(found)} is not between 1970 and 9999; {_EXPECTED}"
    )
