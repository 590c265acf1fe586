"""A record in a text: "load 1200 truck 7", "TH salt 20 tons", "fix 12 load 1100 truck 7". Pure."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from brineward.decode.by_hand import is_record

_CORRECTS = re.compile(
    r"(?P<how>fix|strike) #?(?P<number>\d{1,6})\b[: ]*(?P<rest>.*)", re.IGNORECASE
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordReply:
    """A record, in the words of whoever wrote it."""

    short: str
    """The depot's letters."""
    words: str
    """What it says; empty where an earlier record is only struck."""
    corrects: int = 0
    """The number of the record whose place it takes."""
    why: str = ""


def record_in(text: str, shorts: Sequence[str]) -> RecordReply | None:
    """The record that a text holds; None where it holds none.

    The depot's letters come first; they may be left out where there is one depot.
    """
    line = " ".join(text.split())
    letters, _, rest = line.partition(" ")
    named = [short for short in shorts if short.casefold() == letters.casefold().rstrip(":,")]
    if named:
        line = rest
    elif len(shorts) != 1:
        return None
    short = named[0] if named else shorts[0]
    if is_record(line):
        return RecordReply(short=short, words=line)
    found = _CORRECTS.fullmatch(line)
    if found is None:
        return None
    number, words = int(found["number"]), found["rest"].strip()
    if found["how"].casefold() == "strike":
        return RecordReply(short=short, words="", corrects=number, why=words or "struck by text")
    if not is_record(words):
        return None
    return RecordReply(short=short, words=words, corrects=number, why="corrected by text")
