"""What became of an alarm is said without a glossary."""

from brineward.page.alarm_words import became, became_because, because
from brineward.readings.outputs import AlarmState
from journal.samples import alarm


def test_every_state_has_words_of_its_own() -> None:
    """None is called as the standard does where people would not say it so."""
    said = {state: became(state) for state in AlarmState}
    assert len(set(said.values())) == len(AlarmState)
    assert not any("acknowledged" in one or "latched" in one for one in said.values())


def test_a_cause_is_called_by_its_name() -> None:
    """What holds an alarm back is named as people know it; somebody's own words stay."""
    held = alarm(state=AlarmState.SUPPRESSED, why="salt-low, fill-weak")
    assert because(held) == "same cause as salt low, fill weak"
    assert became_because(held) == "Held back (same cause as salt low, fill weak)"
    assert became_because(alarm(state=AlarmState.NORMAL)) == "Cleared"
    assert because(alarm(state=AlarmState.SHELVED, why="salt-low")) == "salt-low"
    assert because(alarm(state=AlarmState.SUPPRESSED, why="no such alarm")) == "no such alarm"
