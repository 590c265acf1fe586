"""The story of a night is read without a glossary."""

from pathlib import Path

from brineward.journal import Journal
from brineward.readings.outputs import AlarmState, Step
from brineward.records.night import night_of
from depots import plan
from journal.samples import T0, alarm, asked, reading

HOUR = 3_600_000


def test_an_alarm_that_its_cause_explains_is_held_back(tmp_path: Path) -> None:
    """Not called as the standard does."""
    held = alarm(before=AlarmState.UNACKNOWLEDGED, state=AlarmState.SUPPRESSED, why="salt-low")
    with Journal.open(tmp_path / "one.journal") as journal:
        journal.commit([Step(reading(), (held,))])
        (line,) = night_of(plan(), asked(journal), T0 - HOUR, T0 + HOUR).lines
    assert line.sentence == "TH12 is held back, since another alarm or the mode explains it."
