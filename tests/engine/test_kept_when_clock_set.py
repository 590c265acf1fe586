"""What people recorded, and what took many loads to learn, is kept when the box's clock is set."""

import pytest

from alarms.test_salt_balance import Played, readings
from brineward.engine.engine import Engine
from brineward.readings.by_hand import SaltDelivered, Struck
from brineward.readings.entries import ClockStepped
from brineward.readings.instants import DAY, HOUR, SECOND
from brineward.readings.outputs import AlarmState
from depots import DEPOT, START, by_hand
from engine.pump_world import PumpWorld, depot, loaded
from engine.scripted import Script, World
from engine.test_batch_untested import ALARM as UNTESTED
from engine.test_batch_untested import WITHIN, filled, refilled
from engine.test_batch_untested import depot as batch_depot
from engine.test_rota_old import begun, by_calendar, read, states, ticked

STEPS = [pytest.param(by, id=f"{by // HOUR} h") for by in (2 * HOUR, -3 * HOUR, 400 * DAY)]


def _set_clock(script: Script, seconds: float, by: int) -> None:
    """Somebody sets the box's clock; no sensor has a time of its own that contradicts it."""
    script.bare = script.plan.sensors
    script.at(seconds, lambda _: script.set_clock(by))


class SetClock(Played):
    """A depot with a hopper, at which the box's clock is set; readings bear its time."""

    by = 0

    def until(self, hours: float) -> "SetClock":
        """Play on to so many true hours after the beginning."""
        end = round(hours * 3600)
        for one in readings(self.second, end):
            moved = one._replace(time=one.time + self.by, received=one.received + self.by)
            self.outputs += self.engine.step(moved)
        self.second = end
        return self

    def set_clock(self, by: int) -> None:
        """Somebody sets it, now."""
        self.by += by
        time = START + self.second * SECOND + self.by
        self.outputs += self.engine.step(ClockStepped(time=time, by=by))


@pytest.mark.parametrize("at", [3, 7.5], ids=["in a batch", "between two"])
@pytest.mark.parametrize("by", STEPS)
def test_salt_by_records_is_low_at_the_same_hour(by: int, at: float) -> None:
    """3 t delivered, and the clock set hours later: told within the hour in which it would be."""
    plain, played = Played().until(2), SetClock().until(2)
    for one in (plain, played):
        one.record(SaltDelivered(mass_kg=3000.0))
        one.until(at)
    played.set_clock(by)
    plain.until(24)
    played.until(24)
    (right,) = plain.when("salt-low")
    (told,) = (when - by / HOUR for when in played.when("salt-low"))
    assert told == pytest.approx(right, abs=1.0)
    assert played.balance.used_kg == pytest.approx(plain.balance.used_kg, rel=0.05)


@pytest.mark.parametrize("by", STEPS)
def test_a_delivery_struck_after_the_clock_was_set_is_taken_out(by: int) -> None:
    """It is still known by its number, and so is the one that is left."""
    played = SetClock().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    played.record(SaltDelivered(mass_kg=1000.0))
    played.until(4)
    played.set_clock(by)
    played.until(5)
    left = played.balance.left_kg()
    played.record(Struck(), corrects=2, at=START + 2 * 3600 * SECOND)
    assert left is not None
    assert played.balance.left_kg() == pytest.approx(left - 960.0, abs=1.0)
    played.record(SaltDelivered(mass_kg=2000.0), corrects=1, at=START + 2 * 3600 * SECOND)
    assert played.balance.left_kg() == pytest.approx(left - 1920.0, abs=1.0)


def test_a_restart_between_changes_nothing() -> None:
    """What was shifted is written down and read back."""
    played = SetClock().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    played.until(4)
    played.set_clock(2 * HOUR)
    played.until(6)
    other = Engine({DEPOT: played.plan})
    assert other.restore(played.engine.snapshots()) == []
    assert other.snapshots() == played.engine.snapshots()


@pytest.mark.parametrize("by", STEPS)
def test_what_a_pump_usually_draws_is_still_known(by: int) -> None:
    """Learned in three loads; the clock is set, and the next load runs dry: told by its current."""
    its = depot("level", "running", "current")
    script = loaded(its, PumpWorld(), loads=3)
    _set_clock(script, 1700, by)
    script.at(2300, lambda w: setattr(w, "air", True)).at(2310, running=1.0).run(2400)
    assert script.engine.plant(DEPOT).signs["pump"].usual_current.value == pytest.approx(
        12.9, rel=0.01
    )
    (raised,) = script.heard_raised("pump-dry")
    assert 2310 < raised <= 2345


@pytest.mark.parametrize("by", STEPS)
def test_a_calendar_that_is_read_no_more_is_told_two_days_later(by: int) -> None:
    """By the clock as it is then."""
    engine = begun(by_calendar())
    read(engine, START + HOUR)
    ticked(engine, START + 2 * HOUR)
    engine.step(ClockStepped(time=START + 2 * HOUR + by, by=by))
    found = ticked(engine, START + 4 * DAY + by)
    assert states(found) == [(START + HOUR + by + 2 * DAY, AlarmState.UNACKNOWLEDGED)]


@pytest.mark.parametrize("by", STEPS)
def test_a_batch_that_nobody_tested_is_still_asked_about(by: int) -> None:
    """After its time, whatever the clock has shown meanwhile."""
    script = Script(batch_depot(), world=World(level=0.9))
    ends = filled(script, 1000, 1.2)
    _set_clock(script, ends + 1800, by)
    script.run(ends + WITHIN + 900)
    (raised,) = script.heard_raised(UNTESTED)
    assert ends + WITHIN <= raised <= ends + WITHIN + 420


@pytest.mark.parametrize("by", STEPS)
def test_a_batch_that_was_tested_before_is_not_asked_about_and_the_next_one_is(by: int) -> None:
    """A test's time by the old clock says nothing of what was made by the new one."""
    script = Script(batch_depot(), world=World(level=0.9))
    ends = filled(script, 1000, 1.2)
    script.at(ends + 1200, lambda _: script.step(by_hand(script.time)))
    _set_clock(script, ends + 1800, by)
    script.run(ends + WITHIN + 900)
    assert script.heard_raised(UNTESTED) == []
    script.at(script.now + 10, level=0.9)  # drained by hand
    second = filled(script, script.now + 1500, 1.2)
    script.run(second + WITHIN + 900)
    (raised,) = script.heard_raised(UNTESTED)
    assert second + WITHIN <= raised <= second + WITHIN + 420


@pytest.mark.parametrize("by", STEPS)
def test_a_hopper_that_fell_under_half_before_is_still_known_to_have(by: int) -> None:
    """Setting the clock fills no hopper: its first batch is asked about when it is filled."""
    script, ends = refilled(1.0)
    _set_clock(script, 8000, by)
    script.run(ends + 1800)
    (raised,) = script.heard_raised(UNTESTED)
    assert ends <= raised <= ends + 1200


def test_what_an_older_version_wrote_is_still_read() -> None:
    """It knew one time of a delivery, and nothing of a clock that was set."""
    played = SetClock().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    balance, written = played.balance, played.balance.snapshot()
    left = balance.left_kg()
    written[2][1] = [place[:4] for place in written[2][1]]
    balance.restore(written)
    assert balance.left_kg() == left
    played.record(SaltDelivered(mass_kg=2000.0), corrects=1)
    assert balance.left_kg() == pytest.approx((left or 0.0) - 960.0)
    (tests,) = played.engine.plant(DEPOT).batch_tests
    whole = tests.snapshot()
    tests.restore(whole[:5])
    assert tests.snapshot() == whole
