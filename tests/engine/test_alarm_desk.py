"""The alarm desk by itself: what is suppressed all along is nobody's news."""

from brineward.engine.desk import Desk

from brineward.alarms.condition import Verdict
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import TextDue
from depots import START, plan


def test_come_and_gone_under_a_cause_sends_no_word_to_who_was_told_the_last_time() -> None:
    """The yard was told of an earlier silence; one that nobody was told of has no "over"."""
    desk = Desk(plan())
    silent = desk.by_key["sensor-silent/level"]
    silent.call.told = ["yard"]
    silent.life.suppress()
    for place, active in enumerate((True, False)):
        now = START + place * 10 * MINUTE
        desk.judge(silent, Verdict(active), now)
        desk.fire(now + 5 * MINUTE, now + 5 * MINUTE)
        assert silent.life.standing is active
    assert [o for o in desk.outputs if isinstance(o, TextDue)] == []
