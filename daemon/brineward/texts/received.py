"""Messages that a modem has received: read from its lines, their parts put together. Pure."""

import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Final

from brineward.readings.instants import MINUTE, Instant, rfc3339_from_instant
from brineward.texts.centre_stamp import sent_at
from brineward.texts.pdu import BadPdu, Part, read_deliver

WAIT_FOR_PARTS_SECONDS: Final = 600.0
"""A part that the others don't follow for so long is handed in alone: a take may stand in it."""
PARTS_WITHIN: Final = 3 * MINUTE
"""A service centre gets the parts of one message this soon one after another (common practice, no
source); what comes later with the same reference, of which there are 256, is another message."""
MOST_HELD: Final = 200

_PDU_LINE = re.compile(r"\+CMGL: *(\d+), *([0-3])\b.*", re.ASCII)
_TEXT_LINE = re.compile(r'\+CMGL: *(\d+), *"REC [A-Z]+", *"([0-9A-F+]*)",[^,]*(?:,"([^"]*)")?.*')


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """One message of the modem; `place` is where it is stored, None where it came directly."""

    place: int | None
    sender: str
    text: str
    stamp: str
    part: Part | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A whole message."""

    sender: str
    text: str
    id: str
    sent: Instant | None
    """When the service centre got it, the latest of its parts; None where no stamp can be read."""
    keys: tuple[tuple[object, ...], ...]


def listed(lines: Sequence[str]) -> list[Stored]:
    """What +CMGL lists, in PDU or in text mode; what can't be read is empty, so that it goes."""
    found: list[Stored] = []
    for head, body in itertools.pairwise(lines):
        pdu, text = _PDU_LINE.fullmatch(head), _TEXT_LINE.fullmatch(head)
        if pdu is not None and pdu[2] in "01":
            found.append(_from_pdu(int(pdu[1]), body))
        elif text is not None:
            found.append(
                Stored(
                    place=int(text[1]),
                    sender=_from_ucs2(text[2]),
                    text=_from_ucs2(body),
                    stamp=text[3] or "",
                )
            )
    return found


def pushed(unasked: Sequence[str]) -> list[Stored]:
    """What came directly, as +CMT in PDU mode."""
    pairs = itertools.pairwise(unasked)
    return [_from_pdu(None, body) for head, body in pairs if head.startswith("+CMT:")]


def _from_pdu(place: int | None, octets: str) -> Stored:
    try:
        found = read_deliver(octets)
    except BadPdu:
        return Stored(place=place, sender="", text="", stamp="")
    return Stored(
        place=place, sender=found.sender, text=found.text, stamp=found.stamp, part=found.part
    )


def _from_ucs2(written: str) -> str:
    """Hexadecimal UCS2, or the text as it is: some modems don't keep to what they were told."""
    try:
        return bytes.fromhex(written).decode("utf-16-be")
    except (ValueError, UnicodeDecodeError):
        return written


class Gathered:
    """Messages that were received and not dealt with; bounded."""

    def __init__(self) -> None:
        self._held: dict[tuple[object, ...], Stored] = {}
        self._since: dict[tuple[object, ...], float] = {}
        """Since when each is held."""
        self._dropped: list[str] = []
        self._to_free: dict[tuple[object, ...], int] = {}
        """Dealt with, and still stored: if it is listed again, that is no new message."""

    @property
    def to_free(self) -> list[int]:
        """Places whose messages are dealt with."""
        return list(self._to_free.values())

    def add_stored(self, messages: Sequence[Stored]) -> None:
        """All that is stored now."""
        keys = {_key(one) for one in messages}
        self._to_free = {key: place for key, place in self._to_free.items() if key in keys}
        self.add(one for one in messages if _key(one) not in self._to_free)

    def add(self, messages: Iterable[Stored]) -> None:
        """They were received."""
        for one in messages:
            self._held[_key(one)] = one
        while len(self._held) > MOST_HELD:
            key = next(iter(self._held))
            del self._held[key]

    def whole(self, now: float) -> list[Message]:
        """Those of which nothing is missing, or not any more waited for; `now` in seconds.

        What is left of an older message whose reference is used again is dropped.
        """
        self._since = {key: self._since.get(key, now) for key in self._held}
        groups: dict[tuple[object, ...], list[Stored]] = {}
        for key, one in self._held.items():
            part = one.part
            group = key if part is None else (one.sender, part.reference, part.total)
            groups.setdefault(group, []).append(one)
        found: list[Message] = []
        for messages in map(_assembled, groups.values()):
            for parts in messages:
                message = _message(parts)
                since = min(self._since[key] for key in message.keys)
                if _is_whole(parts) or now - since >= WAIT_FOR_PARTS_SECONDS:
                    found.append(message)
                elif _sent(messages[-1][0]) - _sent(parts[-1]) > PARTS_WITHIN:
                    self._drop(message)
        return found

    def take_dropped(self) -> list[str]:
        """A sentence, without its stop, for each message of which a part was dropped since."""
        said, self._dropped = self._dropped, []
        return said

    def _drop(self, message: Message) -> None:
        at = "" if message.sent is None else f" of {rfc3339_from_instant(message.sent)}"
        self._dropped.append(
            f"part of a text{at} is dropped: the rest did not come, and a newer text of its sender"
            " has the same reference"
        )
        self.done(message)

    def done(self, message: Message) -> None:
        """It is dealt with."""
        for key in message.keys:
            one = self._held.pop(key, None)
            if one is not None and one.place is not None:
                self._to_free[key] = one.place

    def freed(self, place: int) -> None:
        """It is stored there no longer: what is from now on is another message."""
        self._to_free = {key: one for key, one in self._to_free.items() if one != place}


def _key(one: Stored) -> tuple[object, ...]:
    reference = 0 if one.part is None else one.part.reference
    return (one.place, one.sender, one.stamp, reference, _place_in(one), one.text)


def _assembled(parts: Iterable[Stored]) -> list[list[Stored]]:
    """What has one sender, reference and number of parts, as messages; the oldest first."""
    messages: list[list[Stored]] = []
    for one in sorted(parts, key=_sent):
        its = next((message for message in reversed(messages) if _belongs(one, message)), None)
        if its is None:
            messages.append([one])
        else:
            its.append(one)
    return messages


def _belongs(one: Stored, message: Sequence[Stored]) -> bool:
    """Is it a part that is missing there, or one of its parts that came twice?"""
    for other in message:
        if _place_in(other) == _place_in(one):
            return (other.stamp, other.text) == (one.stamp, one.text)
    return _sent(one) - _sent(message[-1]) <= PARTS_WITHIN


def _is_whole(parts: Sequence[Stored]) -> bool:
    first = parts[0].part
    return first is None or len({_place_in(one) for one in parts}) == first.total


def _place_in(one: Stored) -> int:
    return 0 if one.part is None else one.part.place


def _sent(one: Stored) -> Instant:
    """0 where no stamp can be read."""
    return sent_at(one.stamp) or 0


def _message(parts: Sequence[Stored]) -> Message:
    ordered = list({_place_in(one): one for one in sorted(parts, key=_place_in)}.values())
    text = "".join(one.text for one in ordered)
    mark = f"{ordered[0].sender}\x00{ordered[0].stamp}\x00{text}"
    return Message(
        sender=ordered[0].sender,
        text=text,
        id=sha256(mark.encode("utf-8", "replace")).hexdigest(),
        sent=max((at for one in ordered if (at := sent_at(one.stamp)) is not None), default=None),
        keys=tuple(_key(one) for one in parts),
    )
