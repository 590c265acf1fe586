"""Every transition of an alarm's life as one table of data: what `Life` runs on.

The letters are those of ISA-18.2-2016 / IEC 62682 as OPC UA Part 9, Annex E maps them; that the
suppressed ones are G, H and I is from memory. A to F say how an alarm is; G, H and I hold it back,
and beneath them it goes on being judged by the same table.
"""

from enum import StrEnum
from typing import NamedTuple

from brineward.readings.outputs import AlarmState


class Letter(StrEnum):
    """A state by its letter."""

    A = "A"
    B = "B"
    C = "C"
    D = "D"
    E = "E"
    F = "F"
    G = "G"
    H = "H"
    I = "I"  # noqa: E741 - the standard's letter
    N = "N"
    """None of the standard's: became active beneath G, H or I, and nobody was told."""


class Event(StrEnum):
    """What an alarm's state may change at."""

    RAISED = "on-delay over"
    CLEARED = "off-delay over"
    LATCHED = "off-delay over, latched"
    """The condition is gone, and the alarm stays until it is reset."""
    GRAVER = "graver finding"
    TAKEN = "taken"
    HANDED_BACK = "handed back"
    OVERDUE = "taken long ago"
    RESET = "reset"
    SUPPRESSED = "suppressed"
    RELEASED = "released"
    SHELVED = "shelved"
    UNSHELVED = "shelving over"
    REMOVED = "put out of service"
    RETURNED = "back in service"


class Row(NamedTuple):
    """From one letter to another at an event."""

    before: Letter
    event: Event
    after: Letter
    announced: bool = False
    """People are told of it as of something new, where nothing holds it back."""
    held: Letter | None = None
    """Where it goes beneath G, H or I; None: to `after` as well."""


_A, _B, _C, _D, _E, _F, _N = (
    Letter.A,
    Letter.B,
    Letter.C,
    Letter.D,
    Letter.E,
    Letter.F,
    Letter.N,
)

ROWS = (
    Row(_A, Event.RAISED, _B, True, held=_N),
    Row(_B, Event.CLEARED, _D),
    Row(_B, Event.LATCHED, _E),
    Row(_B, Event.GRAVER, _B, True),
    Row(_B, Event.TAKEN, _C),
    Row(_C, Event.CLEARED, _A),
    Row(_C, Event.LATCHED, _F),
    Row(_C, Event.GRAVER, _B, True),
    Row(_C, Event.HANDED_BACK, _B, True),
    Row(_C, Event.OVERDUE, _B, True),
    Row(_D, Event.RAISED, _B, True),
    Row(_D, Event.TAKEN, _A),
    Row(_E, Event.RAISED, _B, True),
    Row(_E, Event.TAKEN, _F),
    Row(_F, Event.RAISED, _B, True),
    Row(_F, Event.HANDED_BACK, _E, True),
    Row(_F, Event.OVERDUE, _E, True),
    Row(_F, Event.RESET, _A),
    # Who shelves an alarm or puts it out of service knows of it.
    Row(_B, Event.SHELVED, _C),
    Row(_D, Event.SHELVED, _A),
    Row(_E, Event.SHELVED, _F),
    Row(_B, Event.REMOVED, _C),
    Row(_D, Event.REMOVED, _A),
    Row(_E, Event.REMOVED, _F),
    # What nobody was told of is judged again: it has to last through its on-delay again.
    Row(_N, Event.CLEARED, _A),
    Row(_N, Event.LATCHED, _E),
    Row(_N, Event.RELEASED, _A, held=_N),
    Row(_N, Event.UNSHELVED, _A, held=_N),
    Row(_N, Event.RETURNED, _A, held=_N),
    # A cause has gone: whom it was due to be told before, it still is.
    Row(_B, Event.RELEASED, _B, True),
    Row(_E, Event.RELEASED, _E, True),
    # A person's hold is over: what is still so is announced again, whoever had it.
    Row(_B, Event.UNSHELVED, _B, True),
    Row(_C, Event.UNSHELVED, _B, True),
    Row(_E, Event.UNSHELVED, _E, True),
    Row(_F, Event.UNSHELVED, _E, True),
    Row(_B, Event.RETURNED, _B, True),
    Row(_C, Event.RETURNED, _B, True),
    Row(_E, Event.RETURNED, _E, True),
    Row(_F, Event.RETURNED, _E, True),
)
"""All there are: at any other event a letter stays."""

TABLE = {(row.before, row.event): row for row in ROWS}


class Hold(NamedTuple):
    """What holds an alarm back from anywhere, and lets it go."""

    letter: Letter
    entered: Event
    left: Event


HOLDS = (
    Hold(Letter.I, Event.REMOVED, Event.RETURNED),
    Hold(Letter.G, Event.SHELVED, Event.UNSHELVED),
    Hold(Letter.H, Event.SUPPRESSED, Event.RELEASED),
)
"""The first of those that hold is the one that shows."""


class Fields(NamedTuple):
    """What a letter says, as OPC UA Part 9 has it in separate fields."""

    active: bool
    acknowledged: bool
    latched: bool = False


FIELDS = {
    Letter.A: Fields(active=False, acknowledged=True),
    Letter.B: Fields(active=True, acknowledged=False),
    Letter.C: Fields(active=True, acknowledged=True),
    Letter.D: Fields(active=False, acknowledged=False),
    Letter.E: Fields(active=False, acknowledged=False, latched=True),
    Letter.F: Fields(active=False, acknowledged=True, latched=True),
    Letter.N: Fields(active=True, acknowledged=True),
}

STATES = {
    Letter.A: AlarmState.NORMAL,
    Letter.B: AlarmState.UNACKNOWLEDGED,
    Letter.C: AlarmState.ACKNOWLEDGED,
    Letter.D: AlarmState.RETURNED_UNACKNOWLEDGED,
    Letter.E: AlarmState.LATCHED_UNACKNOWLEDGED,
    Letter.F: AlarmState.LATCHED_ACKNOWLEDGED,
    Letter.G: AlarmState.SHELVED,
    Letter.H: AlarmState.SUPPRESSED,
    Letter.I: AlarmState.OUT_OF_SERVICE,
}
"""The letters' names in the standard's words."""
