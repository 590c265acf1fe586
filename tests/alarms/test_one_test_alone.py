"""One test that disagrees with all before it calls nobody for weak brine: another one is asked for.

Brine of 22.12 % is inside its band; a mark that shows 0.6 % of salt less would put it outside.
"""

import math

import pytest

from alarms.test_probe_at_rest import DRIFTED, STRONG, WEAK, Tank
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from depots import START, by_hand

BRINE, SLIPPED = 0.2212, 0.2155


def tank() -> Tank:
    """Tested on three days, and found as it is."""
    found = Tank(strength=lambda hour: BRINE, level=lambda hour: 2.1)
    for hours in (26.0, 50.0):
        found.until(hours).test()
    return found.until(70.0)


def mark(one: Tank, strength: float) -> None:
    """Somebody reads the hydrometer so."""
    one.outputs += one.engine.step(by_hand(START + one.minute * MINUTE, strength))


def test_a_slip_asks_for_another_test_and_announces_no_weak_brine() -> None:
    """As urgently as weak brine is announced, and until somebody has tested again."""
    one = tank()
    assert one.raised(WEAK) == []
    assert one.raised(DRIFTED) == []
    mark(one, SLIPPED)
    one.until(72.0)
    assert one.raised(WEAK) == []
    (changed,) = [o for o in one.outputs if isinstance(o, AlarmChanged) and o.alarm == DRIFTED]
    assert changed.priority is Priority.MEDIUM
    assert "probe and test disagree by" in changed.sentence
    one.until(94.0).test()
    one.until(96.0)
    assert one.raised(WEAK) == []
    assert one.last(DRIFTED) is AlarmState.NORMAL or "RETURNED" in one.last(DRIFTED).name


def test_it_is_asked_for_once_though_the_brine_without_it_is_near_its_limit() -> None:
    """What is shown wanders by 0.15 % within minutes, as by a noisy probe: the question stays."""
    one = Tank(
        strength=lambda hour: 0.2200 + 0.0015 * math.sin(20.0 * hour), level=lambda hour: 2.1
    )
    for hours in (26.0, 50.0):
        one.until(hours).test()
    one.until(70.0)
    mark(one, 0.2155)
    one.until(94.0)
    assert len(one.raised(DRIFTED)) == 1


def test_a_second_one_on_another_day_bears_it_out() -> None:
    """Then the brine is weak, and said to be; the same sample again bears nothing out."""
    one = tank()
    mark(one, SLIPPED)
    one.until(70.5)
    mark(one, SLIPPED)
    assert one.until(72.0).raised(WEAK) == []
    one.until(94.0)
    mark(one, SLIPPED)
    one.until(96.0)
    assert len(one.raised(WEAK)) == 1
    assert one.raised(WEAK)[0] >= 94.0


def test_it_outlives_a_restart() -> None:
    """What was doubted before is doubted after."""
    one = tank()
    mark(one, SLIPPED)
    one.until(71.0).restart()
    one.until(72.0)
    assert one.raised(WEAK) == []
    assert len(one.raised(DRIFTED)) == 1


def weaker_after(hour: float) -> float:
    """A fill in the 72nd hour brings the tank to 21.35 %."""
    return BRINE - 0.0077 * min(max(hour - 71.0, 0.0), 1.0)


def filled(hour: float) -> float:
    """It is drawn on in the 71st hour, and filled in the 72nd."""
    return 2.1 - 1.2 * min(max(hour - 70.0, 0.0), 1.0) + 1.2 * min(max(hour - 71.0, 0.0), 1.0)


def test_what_a_test_that_was_set_aside_denies_waits_for_another_and_is_as_urgent() -> None:
    """A mark of 1.2 % too much is set aside, with low priority; then a fill makes the brine weak.

    By that mark it is not: the question is sent again as urgently, and the next test settles it.
    """
    one = Tank(strength=weaker_after, level=filled)
    for hours in (26.0, 50.0):
        one.until(hours).test()
    one.until(69.0)
    mark(one, BRINE + 0.012)
    one.until(70.0)
    (low,) = [o for o in one.outputs if isinstance(o, AlarmChanged) and o.alarm == DRIFTED]
    assert low.priority is Priority.LOW
    one.until(80.0)
    assert one.raised(WEAK) == []
    graver = [o for o in one.outputs if isinstance(o, AlarmChanged) and o.alarm == DRIFTED][-1]
    assert graver.priority is Priority.MEDIUM
    assert graver.state is AlarmState.UNACKNOWLEDGED
    one.test()
    assert len(one.until(82.0).raised(WEAK)) == 1


@pytest.mark.parametrize(
    ("brine", "off", "then", "alarm"),
    [(BRINE, 0.008, 0.2150, WEAK), (0.2440, -0.0095, 0.2565, STRONG)],
    ids=["weak", "strong"],
)
def test_a_test_that_is_set_aside_unasked_is_asked_about_where_brine_waits_for_it(
    brine: float, off: float, then: float, alarm: str
) -> None:
    """Three to four standard deviations off it raises no question by itself. Once a fill puts the
    brine outside its band, and that test denies it, the question is as urgent as the brine.
    """
    one = Tank(
        strength=lambda hour: brine + (then - brine) * min(max(hour - 71.0, 0.0), 1.0),
        level=filled,
    )
    for hours in (26.0, 50.0):
        one.until(hours).test()
    one.until(69.0)
    mark(one, brine + off)
    one.until(70.0)
    assert one.raised(DRIFTED) == []
    one.until(80.0)
    assert one.raised(alarm) == []
    (asked,) = [
        o
        for o in one.outputs
        if isinstance(o, AlarmChanged)
        and o.alarm == DRIFTED
        and o.state is AlarmState.UNACKNOWLEDGED
    ]
    assert asked.priority is Priority.MEDIUM
    for hours in (80.0, 104.0):
        one.until(hours).test()
    assert len(one.until(106.0).raised(alarm)) == 1
