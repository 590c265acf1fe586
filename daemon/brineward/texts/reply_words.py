"""What people write around a code without changing its meaning: "on it", "20 min", a thumb up.

Only what is listed here may stand beside a code. A word that is not here may mean "not", so with
it nothing is taken: "not" needs no list of its own, in any language. What asks for something else
("TH3 not mine", "TH3 shelve 2h") is the whole text, or it is nothing.
"""

import re
from collections.abc import Mapping
from itertools import product
from typing import Literal

from brineward.readings.entries import HandlingKind
from brineward.readings.modes import Mode

CODE = "@"
"""Stands for the code, once it has been found."""

_OBJECTS = ("", CODE, "IT", "THIS", "THAT", "THIS ONE", "THAT ONE", "THE ALARM", "THIS ALARM")
_VERBS = (
    "TAKE", "GET", "GRAB", "HANDLE", "CHECK", "COVER", "DO", "FIX", "SEE TO", "LOOK AT",
    "LOOK INTO", "DEAL WITH", "WORK ON",
)  # fmt: skip
_MOVES = ("GO", "COME", "BE THERE", "BE RIGHT THERE", "HEAD OVER", "HEAD OUT", "BE ON IT")
_WILL = ("I'LL", "ILL", "I WILL", "WILL", "I CAN", "LET ME")
"""Never "will I" or "can I", which ask; and never "ill" alone, which is no promise."""
_I_AM = ("", "I'M", "IM", "I AM", "AM")
_ING = (
    "TAKING", "GETTING", "HANDLING", "CHECKING", "COVERING", "ON", "LOOKING AT", "LOOKING INTO",
    "DEALING WITH", "WORKING ON",
)  # fmt: skip
_MOVING = (
    "GOING", "COMING", "DRIVING", "HEADING", "HEADED", "ROLLING", "UP", "AWAKE", "HERE", "THERE",
    "OMW", "OTW", "ON MY WAY", "ON THE WAY", "ON WAY", "GETTING UP",
    "GETTING DRESSED", "EN ROUTE", "ENROUTE", "ON SITE", "ONSITE",
)  # fmt: skip
_WHERE = ("", "OVER", "OUT", "IN", "DOWN", "UP", "THERE", "THAT WAY", "SOON", "NOW")
_HAVE = ("GOT", "HAVE", "I GOT", "I HAVE", "I'VE", "IVE", "I'VE GOT", "IVE GOT", "HAVE GOT")

_ALONE = """
    REPLY | REPLYING | TEXT | CODE | ALARM | THE | IT | THIS | THAT | I | I'M | IM | ME | MY ALARM
    TAKE | TAKEN | TO TAKE | TO TAKE IT | ACK | ACKED | ACKNOWLEDGE | ACKNOWLEDGED | CONFIRM
    CONFIRMED | DONE | MINE | IS MINE | IT'S MINE | ITS MINE | THAT'S MINE | THATS MINE | IT'S ME
    ITS ME | THAT'S ME | THATS ME | OK | OKAY | OKEY | K | KK | YES | YEP | YEAH | YEA | YA | YUP
    SURE | SURE THING | AYE | WILL DO | WILCO | ROGER | ROGER THAT | COPY | COPY THAT | 10-4
    TEN FOUR | GOTCHA | THANKS | THANK YOU | THANX | THX | TY | PLEASE | PLS | PLZ | HI | HELLO
    HEY | SIR | BOSS | TEAM | NOW | RIGHT NOW | RIGHT AWAY | STRAIGHT AWAY | ASAP | AND
    LEAVING NOW | BE THERE | BE RIGHT THERE | BE THERE SOON | THERE SOON
"""


def _phrases() -> frozenset[str]:
    alone = {phrase.strip() for line in _ALONE.splitlines() for phrase in line.split("|")}
    built = [
        *product(_WILL, _VERBS, _OBJECTS),
        *product(_WILL, _MOVES),
        *product(_I_AM, _ING, _OBJECTS),
        *product(_I_AM, _MOVING, _WHERE),
        *product(_HAVE, _OBJECTS),
        *product(("TAKE", "GRAB", "TAKEN"), _OBJECTS),
        *product((CODE,), ("", "IS MINE")),
    ]
    joined = {" ".join(filter(None, words)) for words in built}
    return frozenset((alone | joined) - {""})


IDLE_PHRASES = _phrases()
_LONGEST_PHRASE = 7
"""Words; no phrase, duration or time of day has more."""

_COUNT = (
    r"(?:\d{1,3}(?:\.\d)?(?: ?(?:-|TO) ?\d{1,3})? ?|(?:A|AN|A FEW|A COUPLE(?: OF)?|COUPLE(?: OF)?"
    r"|HALF(?: AN?)?|ONE|TWO|THREE|FOUR|FIVE|TEN|FIFTEEN|TWENTY|THIRTY|FORTY|FORTY FIVE|SIXTY) )"
)
_UNIT = r"(?:M|MIN|MINS|MINUTE|MINUTES|H|HR|HRS|HOUR|HOURS|MI|MILES|KM)"
_LEAD = r"(?:(?:BE )?(?:THERE |HERE )?(?:IN |WITHIN )|ETA (?:IS )?|GIVE ME )?"
_IDLE_FORMS = (
    # how long: "20 min", "be there in 20 minutes", "eta 15 mins", "half an hour out"
    re.compile(rf"{_LEAD}(?:ABOUT |ABT |~ ?)?{_COUNT}{_UNIT}(?: (?:OUT|AWAY|TOPS|MAX))?"),
    # the same with the minutes left unsaid, which needs the "in": "there in 20", "eta 20"
    re.compile(r"(?:(?:BE )?(?:THERE |HERE )?(?:IN|WITHIN)|ETA) (?:ABOUT |~ ?)?\d{1,2}"),
    # "omw 15": of two digits, or it could be another alarm
    re.compile(r"(?:OMW|OTW|ON MY WAY) \d\d"),
    # until when: "there by 5:30", "eta 5:30 am"
    re.compile(r"(?:(?:BE )?(?:THERE |HERE )?(?:BY|AT|AROUND)|ETA) \d{1,2}(?::\d\d)? ?(?:AM|PM)?"),
)

_SAID: dict[HandlingKind, str] = {
    "hand back": "UNTAKE|UNTAKE IT|NOT ME|NOT MINE|BACK|GIVE BACK|GIVE IT BACK|HAND BACK",
    "unshelve": "UNSHELVE|UNSHELVE IT",
    "reset": "RESET|RESET IT",
}
_LENGTH = r"(?P<count>\d{1,3}(?:\.\d)?) ?(?P<unit>H|HRS?|HOURS?|M|MINS?|MINUTES?)"
_FOR = rf"(?: (?:FOR )?{_LENGTH})?"
_ASKED: dict[HandlingKind, re.Pattern[str]] = {
    **{
        what: re.compile(rf"{CODE} (?:{words})|(?:{words}) {CODE}") for what, words in _SAID.items()
    },
    "shelve": re.compile(rf"(?:{CODE} (?:SHELVE|HOLD)(?: IT)?|(?:SHELVE|HOLD) {CODE}){_FOR}"),
}
"""What people ask for beside taking: the whole text, with a sign in the code's place."""

IDLE_SIGNS = frozenset("👍👌🆗✅✔☑👊🙏💪🫡🙂😀😃😊🤙🚗🚙🚚🛻🚐🏃🚶♂♀")
"""Pictures that say yes or on my way; any other may say no."""


def is_idle(text: str) -> bool:
    """Is the text, in capitals and with single spaces, made of idle phrases alone?

    Every way to cut it into phrases is tried, so that none hides another.
    """
    words = text.split()
    reached = [True] + [False] * len(words)
    for start in range(len(words)):
        if not reached[start]:
            continue
        for end in range(start + 1, min(start + _LONGEST_PHRASE, len(words)) + 1):
            phrase = " ".join(words[start:end])
            if phrase in IDLE_PHRASES or any(form.fullmatch(phrase) for form in _IDLE_FORMS):
                reached[end] = True
    return reached[-1]


def asked_for(text: str) -> tuple[HandlingKind, float | None] | None:
    """What a text, in capitals, asks to be done with the alarm whose code is a sign in it.

    With how long, in seconds, where it says so; None where it asks for nothing but taking.
    """
    for what, form in _ASKED.items():
        found = form.fullmatch(text)
        if found is not None:
            said = found.groupdict()
            if said.get("count") is None:
                return what, None
            return what, float(said["count"]) * (3600 if said["unit"].startswith("H") else 60)
    return None


MODE_WORDS: Mapping[str, Mode] = {mode.value.upper(): mode for mode in Mode} | {
    "FILLING": Mode.FILLING_UP,
    "STORM": Mode.STORM_WATCH,
    "STANDBY": Mode.STANDING_BY,
    "DRAINING": Mode.DRAINING,
}
"""What sets a mode after a depot's letters: a mode's own name, or what a thumb makes of it."""

Asking = Literal["status", "more", "who", "test", "unwatched"]

BATCH_WORDS: Mapping[str, bool | None] = {
    "ONE BATCH": True,
    "SINGLE BATCH": True,
    "REFILLS": False,
    "": None,
}
"""What may follow a mode: is one batch wanted, and no refill? The last: it is not said."""

QUESTIONS: Mapping[str, Asking] = {
    "STATUS": "status",
    "MORE": "more",
    "WHO": "who",
    "WHO ELSE": "who",
    "WHO ELSE KNOWS": "who",
    "WHO IS ON CALL": "who",
    "TEST": "test",
    "UNWATCHED": "unwatched",
    "NOT WATCHED": "unwatched",
    "WHAT IS UNWATCHED": "unwatched",
}
"""What is asked and changes nothing: alone, or beside a depot's letters or an alarm's code."""

_REST = re.compile(r"(?:UNWATCHED|NOT WATCHED) (?P<place>[1-9]\d?)")
"""The rest of a list that had no room in one text."""


def question_in(words: str) -> tuple[Asking, int] | None:
    """What words in capitals ask, and which place of its list; None where they ask nothing."""
    if words in QUESTIONS:
        return QUESTIONS[words], 1
    found = _REST.fullmatch(words)
    return ("unwatched", int(found["place"])) if found else None
