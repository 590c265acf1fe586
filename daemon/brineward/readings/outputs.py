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
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Priority(StrEnum):
    """How soon somebody must act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChanged:
    """An alarm went from one state to another."""

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
    """Who took it, where somebody did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextDue:
    """One message to one person has become due."""

    id: str
    """Unique and the same on every repeat: `<depot>-<number>-<kind>-<count>-<person>`."""
    time: Instant
    depot: str
    number: int
    person: str
    kind: Literal["raised", "again", "over", "summary", "taken", "answer"]
    priority: Priority
    body: str
    """One GSM 03.38 segment: at most 160 septets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """A value computed from readings, with its standard uncertainty; SI."""

    time: Instant
    depot: str
    name: str
    """`strength`, `main-volume`, `minutes-to-brim`, ..."""
    value: float
    standard_uncertainty: float | None
    calibrated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeChanged:
    """Something the plant did began or ended."""

    time: Instant
    depot: str
    episode: str
    """`fill`, `blend`, `load`, `pump-run`, ..."""
    source: str
    began: Instant
    ended: Instant | None
    amount_m3: float | None = None


Output = AlarmChanged | TextDue | Derived | EpisodeChanged


class Step(NamedTuple):
    """An entry and what the engine concluded from it: what the journal commits."""

    entry: Entry
    outputs: tuple[Output, ...]
