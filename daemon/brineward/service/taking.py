"""Taking an alarm from outside the engine: is there something to take, and then the act."""

from dataclasses import dataclass
from pathlib import Path

from brineward.journal.journal import Journal
from brineward.readings.entries import Act
from brineward.readings.outputs import AlarmState

_TAKABLE = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """What came of it."""

    taken: bool
    sentence: str
    """What was taken, or why nothing was; without a full stop."""


def take(journal_path: Path, act: Act) -> Taking:
    """Post the act `take` where its occurrence stands and nobody has it.

    Raises: DiskTrouble, JournalUnusable.
    """
    number = act.fields.get("number")
    with Journal.open(journal_path) as journal:
        found = [a.change for a in journal.alarms_standing(act.depot) if a.change.number == number]
        if not found:
            return Taking(taken=False, sentence="not standing, so there is nothing to take")
        if found[0].state not in _TAKABLE:
            return Taking(taken=False, sentence=f"{found[0].state} already: {found[0].sentence}")
        journal.post(act)
        return Taking(taken=True, sentence=found[0].sentence)
