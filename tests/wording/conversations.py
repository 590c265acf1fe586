"""What people text, and every text that follows from it, played with the real parts."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

from brineward.readings.instants import HOUR, MINUTE
from wording.talk import CHIEF, DISPATCH, STRANGER, YARD, Said, Talk


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
    (YARD, "fix 1 load 1100 truck 7"),
    (YARD, "fix 1 load 1150 truck 7"),
    (YARD, "strike 2"),
    (YARD, "fix 3 load 1100"),
    (YARD, "fix 9 load 1100"),
    (YARD, "load 900 driver Lee to Route 9"),
    (YARD, "salt 3 tons"),
    (YARD, "water 12345"),
    (YARD, "rejected weak and cloudy"),
    (YARD, "settings salt 4"),
    (YARD, "cleaning probe rinsed"),
    (CHIEF, "TH status"),
    (CHIEF, "TH storm"),
    (CHIEF, "TH next"),
    (CHIEF, "load 1200"),
    (YARD, "hello there"),
    (YARD, "STOP"),
    (YARD, "START"),
    (YARD, "HELP"),
)


def exchanged(talk: Talk, texts: Sequence[tuple[str, str]]) -> Iterator[Exchange]:
    """Each text in turn."""
    names = {
        YARD: "Yard lead",
        DISPATCH: "Dispatch desk",
        CHIEF: "Road chief",
        STRANGER: "a stranger",
    }
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


def conversations(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Each conversation under its title, as lines of the page; `folder` is for its journals."""
    with Talk(folder) as talk:
        yield "Answers about an alarm", lines_of(exchanged(talk, ABOUT_AN_ALARM))
        yield "Answers to what comes late", lines_of(late(talk))
        talk.go_on(180, pump_running=0.0, pump_current=0.0)
        after = [(YARD, "TH1 more"), (YARD, "more"), (YARD, "TH1"), (YARD, "TH1"), (YARD, "more")]
        yield "Answers about an alarm that has cleared", lines_of(exchanged(talk, after))
        yield "Answers about the depot", lines_of(exchanged(talk, ABOUT_THE_DEPOT))


def lines_of(exchanges: Iterator[Exchange]) -> list[str]:
    """All of them."""
    return [line for one in exchanges for line in written(one)]
