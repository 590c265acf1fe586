"""What people text, and every text that follows from it, played with the real parts."""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from brineward.readings.instants import HOUR, MINUTE
from wording.talk import DISPATCH, STRANGER, YARD, Said, Talk


class Exchange(NamedTuple):
    """One text in, and what goes out because of it."""

    who: str
    text: str
    late: int
    """Milliseconds that it took to come."""
    said: Sequence[Said]
    """The answer first, where there is one."""


ABOUT_AN_ALARM: Final = (
    (DISPATCH, "status"),
    (DISPATCH, "who"),
    (DISPATCH, "more"),
    (DISPATCH, "TH1 more"),
    (DISPATCH, "TH9 more"),
    (DISPATCH, "TH1 who"),
    (DISPATCH, "TH9 who"),
    (DISPATCH, "what is it?"),
    (DISPATCH, "TH1 TH2"),
    (DISPATCH, "TH1?"),
    (DISPATCH, "TH1?"),
    (DISPATCH, "TH9"),
    (DISPATCH, "TH1 back"),
    (DISPATCH, "TH1 on it"),
    (YARD, "TH1"),
    (YARD, "TH1 who"),
    (YARD, "TH1 back"),
    (DISPATCH, "TH1 back"),
    (YARD, "TH1 hold"),
    (YARD, "TH1 hold 30 min"),
    (DISPATCH, "TH1"),
    (DISPATCH, "TH1 unshelve"),
    (DISPATCH, "TH1 unshelve"),
    (YARD, "TH1 hold 40h"),
    (YARD, "TH1 unshelve"),
    (YARD, "TH1 reset"),
    (STRANGER, "TH1"),
)
"""With the alarm of the recorded run active, in this order."""

ABOUT_THE_DEPOT: Final = (
    (YARD, "test"),
    (YARD, "TH next"),
    (YARD, "TH storm"),
    (YARD, "TH in service"),
    (YARD, "load 1200 truck 7"),
    (YARD, "load"),
    (YARD, "salt 3 tons"),
    (YARD, "hello there"),
    (YARD, "STOP"),
    (YARD, "START"),
    (YARD, "HELP"),
)


def exchanged(talk: Talk, texts: Sequence[tuple[str, str]]) -> Iterator[Exchange]:
    """Each text in turn."""
    names = {YARD: "Yard lead", DISPATCH: "Dispatch desk", STRANGER: "a stranger"}
    for number, text in texts:
        yield Exchange(names[number], text, 0, talk.text(number, text))


def late(talk: Talk) -> Iterator[Exchange]:
    """What a gateway that was cut off hands in late, or with a wrong clock."""
    for behind in (3 * HOUR, -20 * MINUTE):
        yield Exchange("Yard lead", "TH1", behind, talk.text(YARD, "TH1", late=behind))


def written(exchange: Exchange) -> Iterator[str]:
    """The exchange as lines of the page."""
    when = ""
    if exchange.late:
        minutes = abs(exchange.late) // MINUTE
        way = "late" if exchange.late > 0 else "ahead of its time"
        when = f", {minutes} min {way}"
    yield f"- {exchange.who} texts `{exchange.text}`{when}:" + (
        "" if exchange.said else " no answer"
    )
    for to, text in exchange.said:
        yield f"  - to {to}: `{text}`"
