"""A film that comes while a tank is filled or blends: announced as what it may be."""

import pytest

from alarms.test_probe_at_rest import DRIFTED, STRONG, WEAK, Tank, topped_up
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority

IN_FILL, AFTER_FILL = 8.35, 11.0
"""Hours: the tank of these tests is topped up from 8.25 to 8.5."""


def drifted(tank: Tank) -> list[AlarmChanged]:
    """What became of the alarm of the probe."""
    return [o for o in tank.outputs if isinstance(o, AlarmChanged) and o.alarm == DRIFTED]


@pytest.mark.parametrize("at", [IN_FILL, AFTER_FILL])
@pytest.mark.parametrize("lost", [0.03, 0.05])
def test_a_film_that_weak_brine_could_explain_is_told_as_either(at: float, lost: float) -> None:
    """A tenth of weak brine could have done it, but not at once. Within five minutes somebody is
    told that it is a film or weak brine, as urgently as of weak brine, which is not told alone."""
    tank = Tank(level=topped_up, factor=lambda hour: 1.0 if hour < at else 1.0 - lost)
    tank.until(at + 5 / 60)
    first = drifted(tank)[0]
    assert first.state is AlarmState.UNACKNOWLEDGED
    assert first.priority is Priority.MEDIUM
    assert first.sentence.endswith(", film or weak brine")
    assert tank.until(30).raised(WEAK) == []


@pytest.mark.parametrize("restarted", [False, True])
def test_once_the_brine_has_stood_the_film_is_known(restarted: bool) -> None:
    """Six hours after the fill the probe is taken as changed, by as much as it stepped, and the
    strength is right again within its interval; a restart meanwhile changes nothing."""
    tank = Tank(level=topped_up, factor=lambda hour: 1.0 if hour < IN_FILL else 0.96)
    tank.until(10)
    if restarted:
        tank.restart()
    plant = tank.until(16).engine.plant(tank.plan.id)
    assert plant.probes["main"].shifted == pytest.approx(-0.04, abs=0.01)
    found = plant.strengths["main"].lately.middle(600.0)
    assert found is not None
    assert found.low < 0.2325 < found.high
    assert [one.state for one in drifted(tank)] == [AlarmState.UNACKNOWLEDGED]


def test_a_probe_that_reads_more_at_once_is_told_as_either() -> None:
    """Too strong by a step: the same the other way."""
    tank = Tank(
        level=topped_up,
        strength=lambda hour: 0.242,
        factor=lambda hour: 1.0 if hour < AFTER_FILL else 1.02,
    ).until(30)
    assert drifted(tank)[0].sentence.endswith(", film or strong brine")
    assert tank.raised(STRONG) == []


def layer(hour: float) -> float:
    """A layer of weak brine reaches the probe in a step, and blends with the rest."""
    if hour < IN_FILL:
        return 0.2325
    return 0.216 - 0.014 * max(0.0, 1.0 - (hour - IN_FILL))


def test_a_layer_of_weak_brine_is_told_at_once_and_then_as_weak() -> None:
    """It looks like a film for as long as it does not blend: until then it is told as either, and
    from then on as weak brine."""
    tank = Tank(level=topped_up, strength=layer).until(12)
    assert drifted(tank)[0].priority is Priority.MEDIUM
    assert tank.raised(DRIFTED)[0] < IN_FILL + 5 / 60
    assert IN_FILL < tank.raised(WEAK)[0] < IN_FILL + 1.0
    assert drifted(tank)[-1].state is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_bubble_that_leaves_leaves_nothing() -> None:
    """It reads what it did: the alarm is cleared, and the next look teaches the probe nothing."""

    def factor(hour: float) -> float:
        return 0.96 if AFTER_FILL < hour < AFTER_FILL + 0.5 else 1.0

    tank = Tank(level=topped_up, factor=factor).until(30)
    assert drifted(tank)[-1].state is AlarmState.RETURNED_UNACKNOWLEDGED
    probe = tank.engine.plant(tank.plan.id).probes["main"]
    assert probe.shifted == probe.stepped == 0.0
    assert probe.calibration.stands.changes == []


def test_brine_that_is_weak_with_the_step_taken_off_is_told_as_weak() -> None:
    """The fill brought weak brine, and then a film came as well."""

    def strength(hour: float) -> float:
        return 0.2325 - 0.08 * min(max(hour - 8.25, 0.0), 0.25)

    def factor(hour: float) -> float:
        return 1.0 if hour < 8.6 else 0.97

    tank = Tank(level=topped_up, strength=strength, factor=factor).until(12)
    assert tank.raised(WEAK)[0] < 8.75


def test_a_test_by_hydrometer_settles_it() -> None:
    """It is weak after all: the test says so, and it is reported as weak within minutes."""
    tank = Tank(level=topped_up, strength=lambda hour: 0.2325 if hour < IN_FILL else 0.212)
    tank.until(9.5)
    assert tank.raised(WEAK) == []
    tank.test()
    assert len(tank.until(9.75).raised(WEAK)) == 1
    assert drifted(tank)[-1].state is AlarmState.RETURNED_UNACKNOWLEDGED
