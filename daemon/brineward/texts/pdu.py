"""Text messages as a modem has them in PDU mode: made, read, cut into parts. Pure.

Sources: 3GPP TS 23.040 clauses 9.1.2 (fields), 9.2.2 (SMS-SUBMIT, SMS-DELIVER), 9.2.3.24 (user data
header); 3GPP TS 23.038 clauses 4 (data coding scheme) and 6.1.2.1 (packing of septets); 3GPP TS
27.005 clause 3.1 (the PDU with the service centre's address before it).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from brineward.wording.gsm import NotGsm, from_gsm_codes, gsm_codes

_SUBMIT = 0x01
_RELATIVE_VALIDITY = 0x10
_HEADER_INDICATOR = 0x40
_INTERNATIONAL = 0x91
_NATIONAL = 0x81
_GSM, _UCS2 = 0x00, 0x08
_VALID_6_HOURS = 71
"""(value + 1) * 5 minutes, TS 23.040 clause 9.2.3.12.1: an alarm of yesterday helps nobody."""
_ONE_PART, _A_PART = {_GSM: 160, _UCS2: 70}, {_GSM: 153, _UCS2: 67}
"""Septets and UTF-16 code units that a message holds, alone and as a part of a longer one."""
MOST_PARTS = 20
_NUMBER = re.compile(r"\+?\d{1,20}", re.ASCII)
_DIGITS = "0123456789*#abc"


class BadPdu(ValueError):
    """The modem gave something that is no message as the standard has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Submit:
    """One message to be sent."""

    octets: str
    """Hexadecimal, the service centre's address (none: the modem's own) before it."""
    length: int
    """What AT+CMGS is told: its octets without the service centre's address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which part of a longer message it is."""

    reference: int
    total: int
    place: int
    """From 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """One message that came in."""

    sender: str
    """With its plus where it is international; letters where it is a name."""
    text: str
    stamp: str
    """The service centre's time, as its seven octets."""
    part: Part | None = None


def submits(number: str, text: str, *, reference: int) -> list[Submit]:
    """The messages that bring the text to the number: one, or parts with this reference (0-255).

    In the GSM alphabet where it has every sign, else in UCS2. Raises: ValueError where the number
    is none, or the text is over 20 parts long.
    """
    if _NUMBER.fullmatch(number) is None:
        raise ValueError("not a phone number")
    coding, units = _units(text)
    if sum(len(unit) for unit in units) <= _ONE_PART[coding]:
        pieces = [_joined(units)]
    else:
        pieces = _cut(units, _A_PART[coding])
    if len(pieces) > MOST_PARTS:
        raise ValueError(f"over {MOST_PARTS} parts long")
    return [
        _submit(
            number,
            coding,
            piece,
            Part(reference=reference & 0xFF, total=len(pieces), place=place)
            if len(pieces) > 1
            else None,
        )
        for place, piece in enumerate(pieces, 1)
    ]


def _units(text: str) -> tuple[int, list[tuple[int, ...]]]:
    """The coding, and the units of each character, which must not be parted."""
    try:
        return _GSM, gsm_codes(text)
    except NotGsm:
        return _UCS2, [_utf16(sign) for sign in text]


def _utf16(sign: str) -> tuple[int, ...]:
    octets = sign.encode("utf-16-be", "replace")
    return tuple(
        int.from_bytes(octets[start : start + 2], "big") for start in range(0, len(octets), 2)
    )


def _cut(units: Sequence[tuple[int, ...]], most: int) -> list[list[int]]:
    pieces: list[list[int]] = [[]]
    for unit in units:
        if len(pieces[-1]) + len(unit) > most:
            pieces.append([])
        pieces[-1] += unit
    return pieces


def _joined(units: Sequence[tuple[int, ...]]) -> list[int]:
    return [one for unit in units for one in unit]


def _submit(number: str, coding: int, piece: Sequence[int], part: Part | None) -> Submit:
    header = b"" if part is None else bytes((5, 0, 3, part.reference, part.total, part.place))
    if coding == _GSM:
        fill = -len(header) * 8 % 7
        length = (len(header) * 8 + fill) // 7 + len(piece)
        data = header + packed(piece, fill=fill)
    else:
        data = header + b"".join(unit.to_bytes(2, "big") for unit in piece)
        length = len(data)
    first = _SUBMIT | _RELATIVE_VALIDITY | (_HEADER_INDICATOR if header else 0)
    pdu = (
        bytes((first, 0))  # the modem numbers it
        + _address(number)
        + bytes((0, coding, _VALID_6_HOURS, length))
        + data
    )
    return Submit(octets=(b"\0" + pdu).hex().upper(), length=len(pdu))


def _address(number: str) -> bytes:
    """Source: 3GPP TS 23.040 clause 9.1.2.5: digits in swapped half octets, filled up with F."""
    digits = number.lstrip("+")
    kind = _INTERNATIONAL if number.startswith("+") else _NATIONAL
    filled = digits + "F" * (len(digits) % 2)
    swapped = "".join(filled[at + 1] + filled[at] for at in range(0, len(filled), 2))
    return bytes((len(digits), kind)) + bytes.fromhex(swapped)


def packed(septets: Sequence[int], *, fill: int = 0) -> bytes:
    """Septets in octets, the lowest bits first, after so many bits of filling (0 to 6).

    Source: 3GPP TS 23.038 clause 6.1.2.1.1.
    """
    bits = 0
    for place, septet in enumerate(septets):
        bits |= septet << (7 * place + fill)
    return bits.to_bytes((7 * len(septets) + fill + 7) // 8, "little")


def unpacked(octets: bytes, count: int, *, fill: int = 0) -> list[int]:
    """So many septets from octets, after so many bits of filling. Source: as `packed`."""
    bits = int.from_bytes(octets, "little") >> fill
    return [bits >> (7 * place) & 0x7F for place in range(count)]


def read_deliver(octets: str) -> Delivered:
    """A message that came in, from the modem's hexadecimal line. Raises: BadPdu."""
    try:
        raw = bytes.fromhex(octets.strip())
    except ValueError:
        raise BadPdu("not hexadecimal") from None
    try:
        return _delivered(raw[1 + raw[0] :])
    except (IndexError, UnicodeDecodeError):
        raise BadPdu("cut short") from None


def _delivered(pdu: bytes) -> Delivered:
    first = pdu[0]
    if first & 0x03:
        raise BadPdu("not a message that came in")
    digits, kind = pdu[1], pdu[2]
    end = 3 + (digits + 1) // 2
    sender = _sender(pdu[3:end], digits, kind)
    coding, stamp, length = pdu[end + 1], pdu[end + 2 : end + 9], pdu[end + 9]
    data = pdu[end + 10 :]
    header = data[: 1 + data[0]] if first & _HEADER_INDICATOR else b""
    return Delivered(
        sender=sender,
        text=_text(data, length, header, coding),
        stamp=stamp.hex().upper(),
        part=_part(header),
    )


def _sender(octets: bytes, digits: int, kind: int) -> str:
    if len(octets) < (digits + 1) // 2:
        raise BadPdu("cut short")
    if kind >> 4 & 0x07 == 0x05:  # letters: digits counts half octets
        return from_gsm_codes(unpacked(octets, digits * 4 // 7)).strip()
    halves = [half for octet in octets for half in (octet & 0x0F, octet >> 4)][:digits]
    number = "".join(_DIGITS[half] for half in halves if half < len(_DIGITS))
    return f"+{number}" if kind >> 4 & 0x07 == 0x01 else number


def _alphabet(coding: int) -> int | None:
    """The alphabet of a data coding scheme; None for data. Source: TS 23.038 clause 4."""
    group = coding >> 4
    if group <= 0x7:
        if coding & 0x20:
            raise BadPdu("compressed")
        return {0: _GSM, 1: None, 2: _UCS2, 3: _GSM}[coding >> 2 & 0x03]
    if group == 0xE:
        return _UCS2
    return None if group == 0xF and coding & 0x04 else _GSM


def _text(data: bytes, length: int, header: bytes, coding: int) -> str:
    alphabet = _alphabet(coding)
    if alphabet is None:
        raise BadPdu("data, not text")
    if alphabet == _UCS2:
        if len(data) < length:
            raise BadPdu("cut short")
        return data[len(header) : length].decode("utf-16-be", "replace")
    if len(data) * 8 < length * 7:
        raise BadPdu("cut short")
    fill = -len(header) * 8 % 7
    count = length - (len(header) * 8 + fill) // 7
    if count < 0:
        raise BadPdu("its header is longer than it is")
    return from_gsm_codes(unpacked(data[len(header) :], count, fill=fill))


def _part(header: bytes) -> Part | None:
    """Source: TS 23.040 clauses 9.2.3.24.1 (8-bit reference) and 9.2.3.24.8 (16-bit)."""
    at = 1
    while at + 1 < len(header):
        kind, length = header[at], header[at + 1]
        value = header[at + 2 : at + 2 + length]
        if (kind, len(value)) in ((0x00, 3), (0x08, 4)):
            *reference, total, place = value
            if 1 <= place <= total:
                return Part(
                    reference=int.from_bytes(bytes(reference), "big"), total=total, place=place
                )
        at += 2 + length
    return None
