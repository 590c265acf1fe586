"""When a service centre got a text, read from the stamp that a modem gives with it. Pure.

Sources: 3GPP TS 23.040 clause 9.2.3.11 (TP-SCTS: seven octets of swapped digits, the last one the
zone in quarters of an hour, its sign the bit 3), 3GPP TS 27.005 clause 3.1 (<scts> of the text
mode: "yy/MM/dd,hh:mm:ss±zz", the zone in quarters of an hour).
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Final

from brineward.readings.instants import SECOND, Instant

_WRITTEN: Final = re.compile(r"(\d\d)/(\d\d)/(\d\d),(\d\d):(\d\d):(\d\d)([+-])(\d\d)", re.ASCII)
_OCTETS: Final = re.compile(r"[0-9A-F]{14}", re.ASCII)
_MINUS: Final = 0x08


def sent_at(stamp: str) -> Instant | None:
    """The instant of a stamp, written as in text mode or as the octets of the PDU mode.

    None where it can't be read. The year is of this century.
    """
    written = _WRITTEN.fullmatch(stamp)
    if written is not None:
        *digits, sign, quarters = written.groups()
        return _instant([int(one) for one in digits], int(quarters), minus=sign == "-")
    if _OCTETS.fullmatch(stamp) is None:
        return None
    raw = bytes.fromhex(stamp)
    zone = raw[6] & ~_MINUS
    try:
        *fields, quarters_of = [int(f"{one & 0x0F:X}{one >> 4:X}") for one in (*raw[:6], zone)]
    except ValueError:  # a digit over nine
        return None
    return _instant(fields, quarters_of, minus=bool(raw[6] & _MINUS))


def _instant(fields: list[int], quarters: int, *, minus: bool) -> Instant | None:
    """From year to second by the centre's clock, which is so far from UTC."""
    year, month, day, hour, minute, second = fields
    ahead = timedelta(minutes=-15 * quarters if minus else 15 * quarters)
    try:
        local = datetime(2000 + year, month, day, hour, minute, second, tzinfo=UTC)
        return round((local - ahead).timestamp() * SECOND)
    except (ValueError, OverflowError):
        return None
