"""Hydrometer tests as acts: the engine pairs them, learns, asks, and survives every nonsense."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.decode.hand_tests import RefusedTest, hand_test
from brineward.engine.engine import Engine
from brineward.physics.hydrometer import specific_gravity
from brineward.physics.probe_test import DENSITY_SALTS
from brineward.readings.instants import DAY, SECOND
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived, Output, TextDue
from depots import DEPOT, START, brine, plan, reading
from engine.scripted import text_of

STRENGTH, COLD_C = 0.228, 5.0
DAY_SECONDS = DAY // SECOND


class Tank:
    """A standing tank with a probe that reads `factor` of the truth."""

    def __init__(self, factor: float = 0.98, level: float | None = 1.5) -> None:
        self.engine = Engine({DEPOT: plan()})
        self.factor, self.level = factor, level
        self.strengths: list[Derived] = []

    def stand(self, begin: float, seconds: float) -> list[Output]:
        """Readings every ten seconds."""
        found: list[Output] = []
        for at in range(round(begin), round(begin + seconds), 10):
            if self.level is not None:
                found += self.engine.step(reading("level", at, self.level))
            found += self.engine.step(reading("temp", at, COLD_C))
            found += self.engine.step(reading("cond", at, brine(STRENGTH, COLD_C) * self.factor))
        self.strengths += [o for o in found if isinstance(o, Derived) and "strength" in o.name]
        return found

    def test(self, seconds: float, strength: float = STRENGTH, **more: Any) -> list[Output]:
        """A hydrometer test by hand, entered a second after it was made."""
        mark = round(specific_gravity(strength, COLD_C), 4)
        fields = {"vessel": "main", "specific_gravity": mark, "temperature_c": COLD_C, **more}
        return self.act(seconds + 1.0, fields)

    def act(self, at: float, fields: dict[str, Any]) -> list[Output]:
        """Anything that is entered for a test; what the edge refuses never comes in."""
        try:
            test = hand_test(fields, depot=DEPOT, now=START + round(at * SECOND))
        except RefusedTest:
            return []
        return list(self.engine.step(test))


def alarms(outputs: list[Output]) -> list[tuple[str, AlarmState]]:
    """Which alarms changed to what."""
    return [(o.alarm, o.state) for o in outputs if isinstance(o, AlarmChanged)]


def test_a_test_makes_the_strength_right_and_surer() -> None:
    """A probe 2 % low reads 1.2 % by mass weak; after a test it is right, and says calibrated."""
    tank = Tank()
    tank.stand(0, 900)
    before = tank.strengths[-1]
    outputs = tank.test(900)
    tank.stand(910, 120)
    after = tank.strengths[-1]
    assert not before.calibrated
    assert before.value == pytest.approx(STRENGTH - 0.012, abs=0.001)
    assert after.calibrated
    # The hydrometer takes other salts for salt, which are as a mean left out.
    assert after.value == pytest.approx(STRENGTH - DENSITY_SALTS, abs=0.001)
    assert after.standard_uncertainty < before.standard_uncertainty / 2.0
    assert [o.name for o in outputs if isinstance(o, Derived)] == ["main-probe-factor"]
    assert not alarms(outputs)


@pytest.mark.parametrize(
    ("level", "why"), [(0.32, "bare"), (None, "no word of the level")], ids=["bare", "unknown"]
)
def test_a_dry_or_doubtful_probe_does_not_calibrate(level: float | None, why: str) -> None:
    """A probe that is not known to be covered teaches nothing; the test is on record."""
    tank = Tank(level=level)
    tank.stand(0, 900)
    assert tank.test(900) == [], why
    assert [r.finding for r in tank.engine.plant(DEPOT).probes["main"].records] == ["unpaired"]
    tank.stand(910, 120)
    assert not any(strength.calibrated for strength in tank.strengths)


def test_a_tank_that_moves_does_not_calibrate() -> None:
    """While it fills, the sample need not be the brine at the probe."""
    tank = Tank()
    for begin in range(0, 900, 10):
        tank.level = 1.0 + begin * 2e-4
        tank.stand(begin, 10)
    assert tank.test(900) == []


def test_a_test_long_after_the_probe_fell_silent_does_not_calibrate() -> None:
    """What it said an hour ago is no word of now; a test of that hour is compared with it."""
    tank = Tank()
    tank.stand(0, 900)
    assert [o for o in tank.test(4500) if isinstance(o, Derived)] == []
    late = [o for o in tank.test(4510, at=START + 880 * SECOND) if isinstance(o, Derived)]
    assert [o.name for o in late] == ["main-probe-factor"]


def test_a_fouled_probe_is_asked_about_once_and_followed() -> None:
    """An odd test raises a low alarm; one of the next day confirms a step; a cleaning ends it."""
    tank = Tank(factor=1.0)
    for day in range(3):
        tank.stand(day * DAY_SECONDS, 900)
        assert not alarms(tank.test(day * DAY_SECONDS + 900))
    tank.factor = 0.95
    tank.stand(3 * DAY_SECONDS, 900)
    odd = tank.test(3 * DAY_SECONDS + 900)
    assert ("probe-drifted", AlarmState.UNACKNOWLEDGED) in alarms(odd)
    texts = [text_of(o) for o in odd if isinstance(o, TextDue)]
    assert len(texts) == 1
    assert "main tank: probe and test disagree by 3.3 % salt" in texts[0]
    tank.stand(4 * DAY_SECONDS, 900)
    tank.test(4 * DAY_SECONDS + 900)
    tank.stand(4 * DAY_SECONDS + 1000, 900)
    assert tank.strengths[-1].value == pytest.approx(STRENGTH, abs=0.002)
    probe = tank.engine.plant(DEPOT).probes["main"]
    assert [r.finding for r in probe.records] == ["kept", "kept", "kept", "step", "step"]
    tank.factor = 1.0
    tank.stand(5 * DAY_SECONDS, 900)
    cleaned = tank.test(5 * DAY_SECONDS + 900, cleaned=True)
    assert ("probe-drifted", AlarmState.RETURNED_UNACKNOWLEDGED) in alarms(cleaned)


@pytest.mark.parametrize(("off", "told"), [(3.5, False), (4.5, True)])
def test_a_test_that_chance_may_explain_wakes_nobody(off: float, told: bool) -> None:
    """Odd from three standard deviations on, and asked at once; texted from four on."""
    tank = Tank(factor=1.0)
    for day in range(3):
        tank.stand(day * DAY_SECONDS, 900)
        tank.test(day * DAY_SECONDS + 900)
    tank.stand(3 * DAY_SECONDS, 900)
    kept = tank.engine.snapshots()
    for part in range(300):
        tank.engine = Engine({DEPOT: plan()})
        tank.engine.restore(kept)
        found = tank.test(3 * DAY_SECONDS + 900, STRENGTH + part * 1e-4)
        probe = tank.engine.plant(DEPOT).probes["main"]
        if probe.records[-1].oddness >= off:
            break
    assert off <= probe.records[-1].oddness < off + 0.4
    assert probe.records[-1].finding == "odd"
    assert (("probe-drifted", AlarmState.UNACKNOWLEDGED) in alarms(found)) is told
    assert "disagree" in probe.question()


def test_a_small_step_is_learned_and_wakes_nobody() -> None:
    """Tests of two days that agree on a probe 1.2 % off are all that is needed: it is right by
    them."""
    tank = Tank(factor=1.0)
    for day in range(3):
        tank.stand(day * DAY_SECONDS, 900)
        tank.test(day * DAY_SECONDS + 900)
    tank.factor, found = 0.988, []
    for day in (3, 4):
        tank.stand(day * DAY_SECONDS, 900)
        found = tank.test(day * DAY_SECONDS + 900)
    probe = tank.engine.plant(DEPOT).probes["main"]
    assert probe.records[-1].finding == "step"
    assert not [state for alarm, state in alarms(found) if state is AlarmState.UNACKNOWLEDGED]
    assert "shifted" in probe.question()


def test_what_may_be_chance_stays_in_the_interval() -> None:
    """The hydrometer and 0.1 K between probe and thermometer explain a probe 0.8 % off: no step is
    reported, the truth stays in the interval, and each test draws the strength nearer to it."""
    by_hydrometer = STRENGTH + DENSITY_SALTS
    tank = Tank(factor=1.0)
    for day in range(3):
        tank.stand(day * DAY_SECONDS, 900)
        tank.test(day * DAY_SECONDS + 900, by_hydrometer)
    tank.factor, off = 0.992, [1.0]
    for day in (3, 4, 5):
        tank.stand(day * DAY_SECONDS, 900)
        tank.test(day * DAY_SECONDS + 900, by_hydrometer)
        tank.stand(day * DAY_SECONDS + 1000, 900)
        told = tank.strengths[-1]
        assert told.low_95 is not None
        assert told.high_95 is not None
        assert told.low_95 < STRENGTH < told.high_95
        off.append(abs(told.value - STRENGTH))
    assert off == sorted(off, reverse=True)
    assert off[-1] < 0.003
    assert tank.engine.plant(DEPOT).probes["main"].question() == ""


def test_a_restart_changes_nothing() -> None:
    """Restored between any two tests, the same strengths follow, and the same snapshot."""
    straight, stopped = Tank(), Tank()
    for day in range(4):
        for tank in (straight, stopped):
            tank.factor = 0.98 - 0.001 * day
            tank.stand(day * DAY_SECONDS, 600)
            tank.test(day * DAY_SECONDS + 600)
            tank.stand(day * DAY_SECONDS + 620, 120)
        kept = stopped.engine.snapshots()
        stopped.engine = Engine({DEPOT: plan()})
        stopped.engine.restore(kept)
        assert stopped.engine.snapshots() == kept == straight.engine.snapshots()
    assert stopped.strengths == straight.strengths


FIELDS = st.dictionaries(
    st.sampled_from(
        ["vessel", "specific_gravity", "salometer", "percent", "temperature_c", "scale", "at"]
    ),
    st.text(max_size=10)
    | st.floats()
    | st.integers()
    | st.booleans()
    | st.sampled_from(["main", 1.175, 23.0, 5.0, START]),
    max_size=7,
)


@settings(max_examples=300, deadline=None)
@given(st.lists(FIELDS, max_size=6))
def test_no_fields_stop_the_engine(acts: list[dict[str, Any]]) -> None:
    """Whatever is entered as a test, the watch goes on, and its snapshot can be read back."""
    tank = Tank()
    tank.stand(0, 240)
    for number, fields in enumerate(acts):
        tank.act(240 + number, fields)
    tank.stand(300, 20)
    again = Engine({DEPOT: plan()})
    again.restore(tank.engine.snapshots())
    assert again.snapshots() == tank.engine.snapshots()
