"""A film that creeps and brine that weakens as slowly look alike: the text says so, as urgently as
weak brine would be announced. Brine that weakens within days is announced as weak.
"""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from alarms.test_probe_at_rest import DRIFTED, WEAK, Tank, fouling
from brineward.engine.engine import Engine
from brineward.physics.creeping import Film
from brineward.plant.plan import AlarmSettings
from brineward.plant.slow_fall import film_takes
from brineward.readings.instants import DAY
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from depots import START

Course = Callable[[float], float]
WAS = 0.2235


def loaded_daily(hour: float) -> float:
    """A fifth of the tank is loaded every day, and filled again."""
    of_day = hour % 24
    if of_day < 8:
        return 2.1
    if of_day < 8.25:
        return 2.1 - 1.6 * (of_day - 8)
    return min(2.1, 1.7 + 0.8 * (of_day - 8.25))


def weaker_by_fills(after_days: float, to: float, days: float, was: float = WAS) -> Course:
    """So many days after its test each day's fill brings weaker brine, until it is `to`."""

    def strength(hour: float) -> float:
        day, of_day = divmod(hour, 24)
        filled = min(max((of_day - 8.25) / 0.5, 0.0), 1.0)
        gone = min(max((day + filled - after_days) / days, 0.0), 1.0)
        return was + (to - was) * gone

    return strength


def test_a_film_that_creeps_is_not_called_weak_brine() -> None:
    """4 % a month over brine of 22.35 %: within two weeks it shows as too weak, by what it has lost
    since its test, which a restart does not forget.
    """
    tank = Tank(strength=lambda hour: WAS, factor=fouling(24, 0.04 / 30), level=loaded_daily)
    tank.until(5 * 24 + 9).restart()
    hours = 6 * 24
    while not tank.raised(DRIFTED):
        hours += 24
        tank.until(hours)
    assert tank.raised(WEAK) == []
    first = next(
        one
        for one in tank.outputs
        if isinstance(one, AlarmChanged)
        and one.alarm == DRIFTED
        and one.state is AlarmState.UNACKNOWLEDGED
    )
    found = re.search(r"probe slowly down (\d\.\d) %, film or weak brine", first.sentence)
    assert found is not None, first.sentence
    days = (first.time - START) / DAY - 1
    assert float(found[1]) == pytest.approx(
        100 * film_takes(0, round(days * DAY), WAS, 8) * 0.8, abs=0.2
    )
    assert first.priority is Priority.MEDIUM


def test_the_test_that_is_asked_for_settles_it_as_a_film() -> None:
    """The brine is as it was: the probe is corrected, and nothing is announced of the brine."""
    tank = Tank(strength=lambda hour: WAS, factor=fouling(24, 0.04 / 30), level=loaded_daily)
    hours = 0
    while not tank.raised(DRIFTED):
        hours += 24
        tank.until(hours + 7)
    tank.test()
    tank.until(hours + 7 + 48)
    assert tank.raised(WEAK) == []
    newest = tank.engine.plant(tank.plan.id).strengths["main"].newest
    assert newest is not None
    assert newest[0] == pytest.approx(WAS, abs=0.003)


def test_the_test_that_is_asked_for_settles_it_as_weak_brine() -> None:
    """Brine that did weaken so slowly: from the test on it is announced as weak."""
    tank = Tank(strength=weaker_by_fills(1, 0.214, 14), level=loaded_daily)
    hours = 0
    while not tank.raised(DRIFTED):
        hours += 24
        tank.until(hours + 7)
    assert tank.raised(WEAK) == []
    tested = hours + 7
    tank.test()
    tank.until(tested + 30)
    assert tank.raised(WEAK)
    assert tank.raised(WEAK)[0] < tested + 24
    assert tank.last(DRIFTED) in (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)


def test_a_hopper_that_runs_out_is_weak_brine_however_long_ago_the_test_was() -> None:
    """Ten days as tested, then three fills that bring it down to 21 %."""
    tank = Tank(strength=weaker_by_fills(10, 0.21, 3), level=loaded_daily).until(14 * 24)
    assert tank.raised(WEAK)
    assert tank.raised(WEAK)[0] < 13 * 24


def test_noise_does_not_end_what_was_announced() -> None:
    """A fall in one fill, about as much as still may be a film: that is said once."""
    tank = Tank(strength=weaker_by_fills(6, 0.2214 - 0.0043, 1, was=0.2214), level=loaded_daily)
    tank.until(8 * 24 + 7)
    assert (len(tank.raised(DRIFTED)), tank.raised(WEAK)) == (1, [])


def test_a_question_that_is_open_already_rises_where_weak_brine_waits_for_it() -> None:
    """A film that is known is of low priority. Once the brine has come to look weak as slowly, that
    is said as urgently as weak brine would be, which waits for the test.
    """
    tank = Tank(strength=lambda hour: WAS, factor=fouling(24, 0.04 / 30), level=loaded_daily)
    tank.until(5 * 24 + 7)
    probe = tank.engine.plant(tank.plan.id).probes["main"]
    probe.film = Film(began=0.0, grown=0.01, per_month=0.02)
    probe._look_for_shift = lambda: None  # type: ignore[method-assign]  # it stays known
    hours = 5 * 24 + 7
    while len(changes(tank)) < 2 and hours < 16 * 24:
        hours += 24
        tank.until(hours)
    assert [one.priority for one in changes(tank)] == [Priority.LOW, Priority.MEDIUM]
    assert tank.raised(WEAK) == []


def changes(tank: Tank) -> list[AlarmChanged]:
    """When people were told that the probe drifted."""
    return [
        one
        for one in tank.outputs
        if isinstance(one, AlarmChanged)
        and one.alarm == DRIFTED
        and one.state is AlarmState.UNACKNOWLEDGED
    ]


def test_where_nobody_would_ask_weak_brine_waits_for_nothing() -> None:
    """`probe-drifted` is switched off in the config: what may be a film is announced as weak."""
    tank = Tank(strength=lambda hour: WAS, factor=fouling(24, 0.04 / 30), level=loaded_daily)
    off = {**tank.plan.alarms, DRIFTED: AlarmSettings(enabled=False)}
    tank.plan = replace(tank.plan, alarms=off)
    tank.engine = Engine({tank.plan.id: tank.plan})
    tank.until(14 * 24)
    assert tank.raised(DRIFTED) == []
    assert len(tank.raised(WEAK)) >= 1
