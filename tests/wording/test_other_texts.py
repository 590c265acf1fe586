"""Texts besides an alarm's own are of what can happen: no page of the docs shows what can't."""

from brineward.alarms.registry import CATALOGUE
from brineward.readings.outputs import AlarmState
from wording.answers import STATES
from wording.case_texts import example
from wording.other_texts import handled_texts, told_again_texts

PLAN = example(us=True, replies=True)


def test_what_waits_for_its_cause_has_one() -> None:
    """Only an alarm that is the consequence of another can wait for it; and a pump against a
    closed valve is not one."""
    said = dict(handled_texts(PLAN))["held back by its cause, to a siren"]
    assert "waits for its cause" in said
    assert "shelter near freezing" in said
    assert CATALOGUE["shelter-freezing"].suppressed_by
    held = [alarm for alarm, _, state in STATES if state is AlarmState.SUPPRESSED]
    assert all(CATALOGUE[alarm].suppressed_by or CATALOGUE[alarm].quiet_in for alarm in held)


def test_what_got_worse_can() -> None:
    """Its finding may be of higher priority than it was raised with; a silent sensor's never is."""
    said = dict(told_again_texts(PLAN))["got worse"]
    assert said.startswith(
        "TH12 NOW, got worse, Tern Hollow: mains power lost. Shelter may freeze."
    )
