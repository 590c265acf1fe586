"""Outputs: what the engine concludes from an entry."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple

from brineward.readings.entries import Entry
from brineward.readings.instants import Instant


class AlarmState(StrEnum):
    """The life of an alarm, in the words of ISA-18.2 / IEC 62682."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Priority(StrEnum):
    """How soon somebody must act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"

    @property
    def rank(self) -> int:
        """1 for low to 3 for high: the more, the graver."""
        return {Priority.LOW: 1, Priority.MEDIUM: 2, Priority.HIGH: 3}[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChanged:
    """An alarm went from one state to another, rose in priority, or came or went while shelved or
    out of service."""

    time: Instant
    depot: str
    alarm: str
    """The alarm's stable id, as in the catalogue: `brine-weak`, ..."""
    source: str
    """The vessel, pump or sensor that it is about."""
    number: int
    """This occurrence's number in its depot; the code that a person takes it by."""
    before: AlarmState
    state: AlarmState
    priority: Priority
    value: float | None
    """What was judged, SI or as `unit` says; None where the alarm has no number."""
    limit: float | None
    unit: str
    sentence: str
    """One plain sentence for a log or a status line."""
    by: str = ""
    """Who took it, shelved it, or did whatever else changed it; empty where nobody did."""
    why: str = ""
    """What a person gave as the reason, or what made it change where its state does not say it."""
    until: Instant | None = None
    """When its shelving ends."""


NoticeKind = Literal[
    "raised",
    "again",
    "cleared",
    "taken",
    "held back",
    "several",
    "reminder",
    "summary",
    "answer",
    "news",
    "test",
    "handover",
]
"""Why a person is told: `again` and `cleared` follow a `raised` of the same occurrence; `several`
says of alarms together what would be too many texts; `news` is of the depot itself, such as a mode
that its schedule has set; `test` shows that the way is open; `handover` is of who is on call."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What one person is to be texted, in pieces, in the depot's own units and clock.

    A channel renders it: a text message has 160 septets, mail has room.
    """

    kind: NoticeKind
    code: str = ""
    """What the alarm is taken by; empty where it is about no one alarm."""
    lead: str = ""
    """How it begins: `TH1`, `TH1 cleared,`, `Yard lead has TH1,`."""
    place: str = ""
    """The depot's name."""
    headline: str = ""
    """What is wrong, without numbers."""
    how_bad: str = ""
    time_left: str = ""
    when: str = ""
    response: str = ""
    take: str = ""
    """How to take it: by a reply, or otherwise while none is heard; empty where none can be."""
    plain: str = ""
    """The whole of it where it has no pieces: an answer to somebody's own text."""
    also: tuple[int, ...] = ()
    """The other occurrences that it tells of, besides its text's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextDue:
    """One notice to one person has become due."""

    id: str
    """Unique and the same on every repeat; never parsed."""
    time: Instant
    depot: str
    number: int
    """The occurrence that it is about; 0 for none."""
    person: str
    kind: NoticeKind
    priority: Priority
    notice: Notice


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """A value computed from readings, with its standard uncertainty; SI."""

    time: Instant
    depot: str
    name: str
    """`main-strength`, `main-probe-factor`, ..."""
    value: float
    standard_uncertainty: float | None
    low_95: float | None = None
    """The ends of its 95 % interval, which need not lie evenly about the value."""
    high_95: float | None = None
    calibrated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeChanged:
    """Something the plant did began or ended."""

    time: Instant
    depot: str
    episode: str
    """`fill`, `batch`, `load`, `pump-run`, `mode`, ...; `daemon/docs/records.md` has them all."""
    source: str
    """The vessel or pump that it is about; of a mode, which."""
    began: Instant
    ended: Instant | None
    amount_m3: float | None = None
    amount_uncertainty_m3: float | None = None
    """Standard uncertainty of the amount."""
    mass_fraction: float | None = None
    low_95: float | None = None
    """The ends of the strength's 95 % interval."""
    high_95: float | None = None
    temperature_c: float | None = None
    salt_kg: float | None = None
    """In what was loaded; dissolved in what was made."""
    water_m3: float | None = None
    """In what was made."""
    how: str | None = None
    """How the amount is known: `by meter and level`, `by level`, ..."""


Output = AlarmChanged | TextDue | Derived | EpisodeChanged


class Step(NamedTuple):
    """An entry and what the engine concluded from it: what the journal commits."""

    entry: Entry
    outputs: tuple[Output, ...]
