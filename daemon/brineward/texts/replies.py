"""What a person texted back: a code to take, or not understood. Pure."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_REPLY = 320
"""Characters; two segments. Nobody needs more to take an alarm."""

OPT_OUT_WORDS = frozenset(
    {"STOP", "STOPALL", "UNSUBSCRIBE", "CANCEL", "END", "QUIT", "REMOVE", "OPTOUT", "REVOKE"}
)
"""Words by which carriers cut a number off; a person who sends one gets no more texts."""
CARRIER_WORDS = OPT_OUT_WORDS | {"START", "UNSTOP", "JOIN", "YES", "HELP", "INFO"}
"""Words that carriers keep for themselves: never commands of ours."""

# What may stand around a code and changes nothing. Any other word may mean "not".
_IDLE_WORDS = frozenset(
    """I ILL IM IVE A ACK ACKNOWLEDGED ALARM AM AND DONE GOING GOT HAVE IT ITS ME MINE MY NOW OK
    OKAY ON PLEASE PLS TAKE TAKEN TAKES TAKING THANKS THANX THE THIS THX WAY WILL""".split()  # noqa: SIM905 (a list that people read and add to)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """Somebody takes an alarm."""

    short: str
    """The depot's letters, as in the config."""
    number: int

    @property
    def code(self) -> str:
        """The code as it stands in the text."""
        return f"{self.short}{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class NotUnderstood:
    """No take; `why` is for the person who sent it."""

    why: str
    carrier_word: str = ""
    """The word that the carrier keeps, where that is all there was."""

    @property
    def opted_out(self) -> bool:
        """Has the carrier cut this person off?"""
        return self.carrier_word in OPT_OUT_WORDS


def parse_reply(text: str, shorts: Iterable[str]) -> Take | NotUnderstood:
    """The one code that a reply takes; the number alone will do where there is one depot.

    "TH12", "th 12", "take TH12" and "TH12 ok" all take it; with any word that might turn the
    meaning round ("TH12 not mine"), with two codes or with a word that carriers keep, nothing is
    taken, since a take stops the calling of everybody else.
    """
    known = sorted(set(shorts))
    words = _words(text)
    if len(words) == 1 and words[0] in CARRIER_WORDS:
        return NotUnderstood(why="That word belongs to the carrier.", carrier_word=words[0])
    found: set[Take] = set()
    if "?" not in text and len(text) <= LONGEST_REPLY:
        found = {take for short in known for take in _takes(words, short)}
        if not found and len(known) == 1:
            found = _takes(words, known[0], bare=True)
    if len(found) == 1:
        return found.pop()
    if found:
        return NotUnderstood(why="That may mean more than one. Send one code in each text.")
    if not known:
        return NotUnderstood(why="There is nothing to take here.")
    return NotUnderstood(
        why=f"Not understood: nothing is taken. Reply with the code alone, such as {known[0]}12."
    )


def person_with(address: str, addresses: Iterable[tuple[str, str]]) -> str | None:
    """The first person, of (person, address) pairs, whose number has the same digits."""
    wanted = digits_of(address)
    if not wanted:
        return None
    return next((person for person, own in addresses if digits_of(own) == wanted), None)


def digits_of(address: str) -> str:
    """The digits of a phone number, without signs and spaces."""
    return "".join(sign for sign in address if sign in "0123456789")


def _words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKC", text).upper()
    plain = plain.translate({ord("'"): None, 0x2019: None})  # I'll, with either apostrophe
    # Emoji, punctuation and quotes part words; letters of any alphabet stay, and stay unknown.
    return re.sub(r"[^\w]|_", " ", plain).split()


def _takes(words: list[str], short: str, *, bare: bool = False) -> set[Take]:
    """The takes that the words come to; none where a word is neither idle nor part of a code.

    `bare`: the number stands without its letters.
    """
    code = re.compile(r"([0-9]{1,9})" if bare else re.escape(short.upper()) + r" ?([0-9]{1,9})")
    place = 0
    numbers: set[int] = set()
    while place < len(words):
        one, two = words[place], " ".join(words[place : place + 2])
        if (match := code.fullmatch(two)) and " " in two:
            place += 1
        else:
            match = code.fullmatch(one)
        if match:
            numbers.add(int(match[1]))
        elif one not in _IDLE_WORDS:
            return set()
        place += 1
    return {Take(short=short, number=number) for number in numbers if number > 0}
