"""Which numbers a depot has given away, so that none is given twice."""

from pathlib import Path

from brineward.journal import Journal
from brineward.readings.entries import Tick
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority, Step, TextDue


def _alarm(depot: str, number: int) -> AlarmChanged:
    return AlarmChanged(
        time=number,
        depot=depot,
        alarm="overflow-ahead",
        source="main",
        number=number,
        before=AlarmState.NORMAL,
        state=AlarmState.UNACKNOWLEDGED,
        priority=Priority.HIGH,
        value=None,
        limit=None,
        unit="",
        sentence="",
    )


def _letter(depot: str, count: int, person: str) -> TextDue:
    return TextDue(
        id=f"{depot}-0-answer-{count}-{person}",
        time=count,
        depot=depot,
        number=0,
        person=person,
        kind="answer",
        priority=Priority.LOW,
        body="",
    )


def test_the_highest_of_each_depot(tmp_path: Path) -> None:
    """By number, not by order of writing or of letters; hyphens in names mislead nobody."""
    with Journal.open(tmp_path / "a.journal") as journal:
        assert journal.last_numbers("tern-hollow") == (0, 0)
        outputs = (
            _alarm("tern-hollow", 12),
            _alarm("tern-hollow", 9),
            _alarm("tern", 40),
            _letter("tern-hollow", 11, "night-desk-2"),
            _letter("tern-hollow", 8, "yard"),
            _letter("tern", 70, "yard"),
        )
        journal.commit([Step(Tick(time=1), outputs)])
        assert journal.last_numbers("tern-hollow") == (12, 11)
        assert journal.last_numbers("tern") == (40, 70)
