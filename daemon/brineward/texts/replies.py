"""What a person texted back: a code to take, a word of the carriers, or nothing clear. Pure."""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from brineward.readings.entries import HandlingKind
from brineward.readings.modes import Mode
from brineward.texts.record_reply import RecordReply, record_in
from brineward.texts.reply_words import (
    BATCH_WORDS,
    CODE,
    IDLE_SIGNS,
    MODE_WORDS,
    Asking,
    asked_for,
    is_idle,
    question_in,
)

LONGEST_REPLY = 320
"""Characters; two segments. Nobody needs more to take an alarm."""

OPT_OUT_WORDS = frozenset(
    {"STOP", "STOPALL", "UNSUBSCRIBE", "CANCEL", "END", "QUIT", "REMOVE", "OPTOUT", "REVOKE"}
)
"""Words by which carriers cut a number off; a person who sends one gets no more texts."""
OPT_IN_WORDS = frozenset({"START", "UNSTOP", "OPTIN", "YES"})
"""Words by which carriers let texts through again."""
CARRIER_WORDS = OPT_OUT_WORDS | OPT_IN_WORDS | {"JOIN", "HELP", "INFO"}
"""Words that carriers keep for themselves: never commands of ours."""

_UNKNOWN = "\N{REPLACEMENT CHARACTER}"  # what a sign becomes that might mean anything


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """The one alarm that a reply takes, or names."""

    short: str
    """The depot's letters, as in the config."""
    number: int

    def __str__(self) -> str:
        """The code as it stands in the text."""
        return f"{self.short}{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Something else to be done with an alarm than taking it."""

    what: HandlingKind
    code: Code
    seconds: float | None = None
    """How long to shelve it, where the text says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierWord:
    """A word that the carriers keep, and nothing else."""

    word: str

    @property
    def opted(self) -> Literal["", "out", "in"]:
        """Has the carrier cut this person off, or let texts through again?"""
        if self.word in OPT_OUT_WORDS:
            return "out"
        return "in" if self.word in OPT_IN_WORDS else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeReply:
    """What a depot is to be used for from now on."""

    short: str
    mode: Mode
    single_batch: bool | None = None
    """None where it is not said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReply:
    """The next step of opening or closing the season is asked for."""

    short: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that is asked, and changes nothing."""

    what: Asking
    short: str = ""
    """The depot's letters; empty where none are named."""
    number: int = 0
    """The occurrence that it is about; 0 where none is named."""
    place: int = 1
    """Which place of a list that has no room in one text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unclear:
    """No take."""

    named: tuple[Code, ...] = ()
    """The alarms that it names all the same."""


Reply = Code | Asked | CarrierWord | ModeReply | StepReply | RecordReply | Question | Unclear


def parse_reply(text: str, shorts: Iterable[str]) -> Reply:
    """The one alarm that a reply takes; the number alone will do where there is one depot.

    "TH12", "th 12", "Reply TH12", "TH12 on it, 20 min" and "Take TH12!" all take it; with any word
    or sign that might turn the meaning round ("TH12 not mine", "TH12?"), or with two codes,
    nothing is taken, since a take stops the calling of everybody else. "TH12 not me", "TH12 shelve
    2h", "TH12 unshelve" and "TH12 reset" ask for something else. A mode is set by its own words
    alone: "TH laid up", "th in service, one batch"; "TH next" asks for the next step. A record
    begins with what it is: "load 1200 truck 7". "status", "who", "TH12 more", "TH unwatched"
    and "test" ask, and change nothing.
    """
    known = sorted(set(shorts))
    plain = _plain(text)
    word = re.sub(r"[^\w]", "", plain)
    if word in CARRIER_WORDS:
        return CarrierWord(word=word)
    named = _codes_in(plain, known)
    of_depot = (
        _mode_in(plain, known)
        or _question_in(plain, known, named)
        or (None if named else record_in(text, known))
    )
    if of_depot is not None:
        return of_depot
    if len(text) > LONGEST_REPLY:
        return Unclear(named=named[:2])
    about = _about(plain, named[0]) if len(named) == 1 else None
    if about is not None:
        return about
    if not named and len(known) == 1:
        bare = _bare_number(plain)
        if bare:
            return Code(short=known[0], number=bare)
    return Unclear(named=named)


def _about(plain: str, code: Code) -> Code | Asked | None:
    """What a text with one code wants of that alarm; None where it may be anything."""
    without = _without(plain, code)
    if is_idle(without):
        return code
    asked = asked_for(without)
    if asked is None:
        return None
    what, seconds = asked
    return Asked(what=what, code=code, seconds=seconds)


def _mode_in(plain: str, shorts: Iterable[str]) -> ModeReply | StepReply | None:
    """The mode or the step that a reply asks for, with a depot's letters before it."""
    for short in shorts:
        letters, _, words = plain.partition(" ")
        if letters != short.upper():
            continue
        if words == "NEXT":
            return StepReply(short=short)
        for batch, single_batch in BATCH_WORDS.items():
            said = words.removesuffix(batch).rstrip()
            if words.endswith(batch) and said in MODE_WORDS:
                return ModeReply(short=short, mode=MODE_WORDS[said], single_batch=single_batch)
    return None


def _question_in(plain: str, shorts: Iterable[str], named: tuple[Code, ...]) -> Question | None:
    """What is asked, with or without its question mark; None where it may be anything else."""
    words = " ".join(plain.replace(_UNKNOWN, " ").split())
    asked = question_in(words)
    if asked is not None:
        return Question(what=asked[0], place=asked[1])
    if len(named) == 1:
        rest = " ".join(_without(words, named[0]).replace(CODE, " ", 1).split())
        asked = question_in(rest)
        if asked is not None:
            short, number = named[0].short, named[0].number
            return Question(what=asked[0], short=short, number=number, place=asked[1])
    for short in shorts:
        for rest in (words.removeprefix(f"{short} "), words.removesuffix(f" {short}")):
            asked = question_in(rest) if rest != words else None
            if asked is not None:
                return Question(what=asked[0], short=short, place=asked[1])
    return None


def person_with(address: str, addresses: Iterable[tuple[str, str]]) -> str | None:
    """The person, of (person, address) pairs, whose address this is; None for a stranger.

    The whole number counts first. A number without its country code, with a trunk 0 or with 00 or
    011 for the plus is known too, where exactly one person's fits and at least 7 digits agree.
    Addresses that are no numbers (a mailbox, say) must be the same to the letter, but for capitals.
    """
    pairs = [(person, own) for person, own in addresses if own.strip()]
    wanted = _number_of(address)
    if wanted is None:
        same = address.strip().casefold()
        return next((person for person, own in pairs if own.strip().casefold() == same), None)
    numbers = [(person, own) for person, text in pairs if (own := _number_of(text)) is not None]
    for person, own in numbers:
        if own.digits == wanted.digits:
            return person
    fitting = {person for person, own in numbers if _agree(wanted, own)}
    return fitting.pop() if len(fitting) == 1 else None


@dataclass(frozen=True, slots=True)
class _Number:
    digits: str
    whole: bool
    """It says that its country code is there: by a plus, or by 00."""

    @property
    def national(self) -> tuple[str, ...]:
        """Its digits as they may stand within a whole number: with and without a trunk 0 or 011."""
        bare = self.digits.removeprefix("011") if self.digits.startswith("011") else self.digits
        return (self.digits, self.digits.removeprefix("0"), bare)


_FEWEST_DIGITS = 7
_LONGEST_COUNTRY_CODE = 3  # ITU-T E.164 clause 6.2.1: one to three digits


def _number_of(address: str) -> _Number | None:
    """The number in an address; None where it is none."""
    text = re.sub(r"^(tel|sms):", "", address.strip(), flags=re.IGNORECASE)
    text = re.sub(r"(?<=\d)\s*\(0\)", "", text)  # +44 (0)20: the trunk 0, as some write it
    if not re.fullmatch(r"\+?[0-9 ().\-/\u00a0\u2010-\u2015]+", text):
        return None
    digits = re.sub(r"[^0-9]", "", text)
    if not digits:
        return None
    if not text.startswith("+") and digits.startswith("00"):
        return _Number(digits[2:], whole=True)
    return _Number(digits, whole=text.startswith("+"))


def _agree(one: _Number, other: _Number) -> bool:
    """Are they the same but for a country code that one of them, not written whole, leaves out?"""
    return any(
        _is_end_of(short, long.digits)
        for short_number, long in ((one, other), (other, one))
        if not short_number.whole
        for short in short_number.national
    )


def _is_end_of(short: str, long: str) -> bool:
    left_out = len(long) - len(short)
    return (
        len(short) >= _FEWEST_DIGITS
        and 0 <= left_out <= _LONGEST_COUNTRY_CODE
        and long.endswith(short)
    )


def _plain(text: str) -> str:
    """Capitals and single spaces; what may mean anything becomes a word that nobody knows."""
    whole = re.sub(r"\u00bd|\b1\s*[/\u2044]\s*2\b", " half ", text)
    whole = re.sub(r"(?<!\S)!(?=\w)", _UNKNOWN, whole)  # "!mine", as programmers say not
    whole = unicodedata.normalize("NFKC", whole).upper()
    signs = "".join(_sign(sign) for sign in whole)
    # Between digits a point, a colon and a hyphen are part of what is meant: 1.2, 5:30, 20-30.
    signs = re.sub(r"(?<![0-9])[.:\-]|[.:\-](?![0-9])", " ", signs)
    words = (word.strip("'") for word in signs.split())
    return " ".join(word for word in words if word)


_APOSTROPHES = "'\u2018\u2019\u02bc\u00b4`\u2032"
_DRAWN = (
    "\ufe0e\ufe0f\u200d\u20e3"  # how a picture is drawn: as a sign, as a picture, joined, as a key
    "\U0001f3fb\U0001f3fc\U0001f3fd\U0001f3fe\U0001f3ff"  # and with which colour of skin
)
_SIGNS = (
    dict.fromkeys(_APOSTROPHES, "'")
    | dict.fromkeys(IDLE_SIGNS | {"_", "+"}, " ")
    | dict.fromkeys(_DRAWN, "")
    | {kept: kept for kept in ".:-~"}
)


def _sign(sign: str) -> str:
    """What is left of one sign: letters stay, idle signs part words, the rest is unknown."""
    if sign in _SIGNS:
        return _SIGNS[sign]
    category = unicodedata.category(sign)
    if category.startswith("L") or (sign.isascii() and sign.isdigit()):
        return sign
    asks = any(word in unicodedata.name(sign, "") for word in ("QUESTION", "INTERROBANG"))
    if (category[0] in "PZ" or category in ("Cc", "Cf")) and not asks:
        return " "
    return f" {_UNKNOWN} "


def _pattern(short: str) -> re.Pattern[str]:
    """A code with these letters, together or apart ("T H 3", as a phone writes what it hears)."""
    letters = " ?".join(re.escape(letter) for letter in short.upper())
    return re.compile(rf"(?<!\S){letters} ?([0-9]{{1,9}})(?!\S)")


def _codes_in(plain: str, shorts: Iterable[str]) -> tuple[Code, ...]:
    """Every code that can be read in it, each once, in the order of the depots."""
    found = {
        Code(short=short, number=int(match[1])): None
        for short in shorts
        if short.strip()
        for match in _pattern(short).finditer(plain)
        if int(match[1]) > 0
    }
    return tuple(found)


def _without(plain: str, code: Code) -> str:
    """The text with a sign in every place of the code."""
    return _pattern(code.short).sub(
        lambda match: CODE if int(match[1]) == code.number else match[0], plain
    )


def _bare_number(plain: str) -> int:
    """The one number that takes an alarm without its letters; 0 for none.

    A text that makes sense without any code ("coming in 20") has none.
    """
    if is_idle(plain):
        return 0
    numbers = {word for word in plain.split() if re.fullmatch(r"[0-9]{1,9}", word)}
    fitting = {
        int(number) for number in numbers if is_idle(re.sub(rf"(?<!\S){number}(?!\S)", CODE, plain))
    }
    return fitting.pop() if len(fitting) == 1 else 0
