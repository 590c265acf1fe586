"""What a server's answer to a write means. Pure, except for the time of a date in it."""

import json
from collections.abc import Mapping
from email.utils import parsedate_to_datetime
from typing import Final

from brineward.followers.cursor import NotNow

LONGEST_ASKED_SECONDS: Final = 3600.0
"""A server that asks for a longer wait is asked again after this one."""
_WRITTEN: Final = 204
_TOO_LARGE: Final = 413
_BAD_POINTS: Final = (400, 422)
_ITS_OWN_FAULT: Final = 500
_WORDS: Final = 300
_MEANINGS: Final = {
    401: "the server does not know the token",
    403: "the token may not write there",
    404: "the server has no such bucket, organisation or database",
    429: "the server asks for a pause",
    503: "the server is not ready",
}


class Lost(NotNow):
    """The server is gone, or may have been: it may not have kept what it took last.

    `surely`: nothing listens where it was.
    """

    def __init__(self, why: str, wait_seconds: float = 0.0, *, surely: bool = False) -> None:
        super().__init__(why, wait_seconds)
        self.surely = surely


class Refused(Exception):
    """The server will not take a point among these; the text is its own words."""


def judge(status: int, headers: Mapping[str, str], body: bytes, now: float) -> None:
    """Return if the points were written. `now` is in seconds since 1970.

    Raises: Refused if one of them is bad or they are too many; Lost if the server, or what is in
    front of it, says that it fails; NotNow for everything else. Only a refusal in the server's own
    form counts: a proxy's page must not cost a single point.
    """
    if status == _WRITTEN:
        return
    words = server_words(headers, body)
    if status == _TOO_LARGE or (status in _BAD_POINTS and words):
        raise Refused(words)
    meaning = _MEANINGS.get(status, "this is no answer to a write")
    said = f': "{words}"' if words else ""
    error = Lost if status >= _ITS_OWN_FAULT else NotNow
    raise error(f"{meaning} (HTTP {status}{said})", _asked_wait(headers, now))


def server_words(headers: Mapping[str, str], body: bytes) -> str:
    """What the server says is wrong, in its own words; empty where it says it in no known form."""
    found: object = None
    try:
        answer = json.loads(body)
    except (ValueError, RecursionError):
        answer = None
    if isinstance(answer, dict):
        found = answer.get("message") or answer.get("error")
    if not isinstance(found, str):
        found = headers.get("X-Influxdb-Error", "")
    return "".join(c if c.isprintable() else " " for c in str(found)[:_WORDS]).strip()


def _asked_wait(headers: Mapping[str, str], now: float) -> float:
    """Retry-After in s, as a number or a date (RFC 9110 section 10.2.3); 0 where there is none."""
    asked = headers.get("Retry-After", "").strip()
    if asked.isascii() and asked.isdigit():
        return min(float(asked[:9]), LONGEST_ASKED_SECONDS)
    try:
        seconds = parsedate_to_datetime(asked).timestamp() - now
    except (ValueError, OverflowError, TypeError):
        return 0.0
    return min(max(seconds, 0.0), LONGEST_ASKED_SECONDS)
