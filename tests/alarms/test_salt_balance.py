"""Salt by deliveries and use, where no sensor sees the bed: early, and only with records."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from brineward.engine.engine import Engine
from brineward.plant.deliveries import PURE
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.plant.salt_balance import SaltBalance
from brineward.readings.by_hand import ByHand, Remark, SaltDelivered, Struck, WaterMeterRead
from brineward.readings.entries import HandRecord
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from brineward.readings.values import Reading
from brineward.wording.segment import segment
from depots import DEPOT, START, brine, reading
from plant.test_hopper_salt import with_hopper

CYCLE = 6 * 3600
DRAWN_M = 0.6
"""2.7 m3 of brine, 745 kg of salt, each six hours."""
KG_A_CYCLE = 745.0
EVERY = 30


def unseen(**changes: object) -> DepotPlan:
    """A depot with a hopper and no sensor in it; only what happens to salt is fed in."""
    off = {"not-filling": AlarmSettings(enabled=False)}
    whole = with_hopper(alarms=off, **changes)
    kept = ("level", "temp", "cond", "running", "valve")
    return replace(whole, sensors={name: whole.sensors[name] for name in kept})


def readings(begin: int, end: int) -> Iterator[Reading]:
    """A load, and a fill that begins with it and brings it back, each six hours; good brine."""
    drawn, filled = round(DRAWN_M * 4.524 / 0.0036), round(DRAWN_M * 4.524 / 0.0009)
    for second in range(begin, end, EVERY):
        at = second % CYCLE - 3600
        level = 2.0 - DRAWN_M * min(1.0, max(0.0, at / drawn))
        level += DRAWN_M * min(1.0, max(0.0, (at - 90) / filled))
        running = float(0 <= at < drawn)
        yield reading("running", second, running)
        yield reading("valve", second, float(-60 <= at < drawn + 60))
        yield reading("level", second, round(level, 4))
        yield reading("temp", second, 5.0)
        yield reading("cond", second, brine(0.233, 5.0))


class Played:
    """A depot that is played on, hour by hour."""

    def __init__(self, its: DepotPlan | None = None) -> None:
        self.plan = its or unseen()
        self.engine = Engine({self.plan.id: self.plan})
        self.outputs: list[Output] = []
        self.second = 0

    def until(self, hours: float) -> "Played":
        """Play on to so many hours after the beginning."""
        end = round(hours * 3600)
        for one in readings(self.second, end):
            self.outputs += self.engine.step(one)
        self.second = end
        return self

    def record(self, record: ByHand, corrects: int = 0, at: Instant = 0) -> None:
        """Somebody records something now, done `at` or now."""
        now = START + self.second * SECOND
        why = "slip" if corrects else ""
        entry = HandRecord(
            depot=DEPOT, time=now, received=now, at=at or now, record=record,
            corrects=corrects, why=why,
        )  # fmt: skip
        self.outputs += self.engine.step(entry)

    def when(self, alarm: str) -> list[float]:
        """The hours at which it was raised."""
        return [
            round((one.time - START) / SECOND / 3600, 1)
            for one in self.outputs
            if isinstance(one, AlarmChanged)
            and one.alarm == alarm
            and one.state is AlarmState.UNACKNOWLEDGED
        ]

    @property
    def balance(self) -> SaltBalance:
        """What the depot's balance has."""
        (found,) = self.engine.plant(DEPOT).salt_balances
        return found


@pytest.fixture(scope="module")
def two_days() -> Played:
    """3 t delivered after two hours, and used for two days."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    return played.until(30)


def test_what_batches_took_is_counted(two_days: Played) -> None:
    """Five cycles of 745 kg, by the salt in the tank and in what left: to 5 %."""
    assert two_days.balance.used_kg == pytest.approx(5 * KG_A_CYCLE, rel=0.05)


def test_it_is_told_while_there_is_enough_for_a_day(two_days: Played) -> None:
    """2,880 kg of salt less what is used is under 0.42 m of bed within two cycles; told once."""
    (told,) = two_days.when("salt-low")
    left = 3000.0 * PURE - KG_A_CYCLE * told / 6
    assert left > 800.0, "the bed of 0.42 m holds 1,520 kg; the balance's doubt makes it sooner"
    assert told >= 6.0, "not at once: the delivery is enough for more than a cycle"


def test_its_text_says_that_it_is_counted(two_days: Played) -> None:
    """No height is named that nobody has seen, and what to do is said."""
    number = next(
        one.number
        for one in two_days.outputs
        if isinstance(one, AlarmChanged) and one.alarm == "salt-low"
    )
    due = next(o for o in two_days.outputs if isinstance(o, TextDue) and o.number == number)
    text = segment(due.notice)
    assert "left by records" in text
    assert "Add salt from outside" in text


def test_without_a_delivery_nothing_is_told() -> None:
    """Nobody knows what was in the hopper; remarks and strikes are none."""
    played = Played().until(2)
    played.record(Remark(note="hose replaced"))
    played.record(Struck(), corrects=1)
    played.until(26)
    assert played.when("salt-low") == played.when("salt-half") == []
    assert played.balance.left_kg() is None


def test_a_delivery_clears_it() -> None:
    """Recorded when it was tipped in: the alarm clears, and the next is another occurrence."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=1500.0))
    played.until(3)
    assert len(played.when("salt-low")) == 1
    played.record(SaltDelivered(mass_kg=3000.0))
    played.until(4)
    states = [
        one.state
        for one in played.outputs
        if isinstance(one, AlarmChanged) and one.alarm == "salt-low"
    ]
    assert states[-1] in (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)


def states_of(played: Played, alarm: str) -> list[AlarmState]:
    """The states of an alarm that followed one another."""
    return [o.state for o in played.outputs if isinstance(o, AlarmChanged) and o.alarm == alarm]


def test_a_struck_delivery_is_taken_out_again() -> None:
    """Entered twice: what is left is that of the first, to the gram, whatever was used since."""
    once = Played().until(2)
    once.record(SaltDelivered(mass_kg=4000.0))
    once.until(8)
    twice = Played().until(2)
    twice.record(SaltDelivered(mass_kg=4000.0))
    twice.until(3)
    twice.record(SaltDelivered(mass_kg=4000.0))
    twice.until(8)
    assert (twice.balance.left_kg() or 0.0) > (once.balance.left_kg() or 0.0) + 2000.0
    twice.record(Struck(), corrects=2)
    assert twice.balance.left_kg() == once.balance.left_kg()
    assert twice.balance.full_m == once.balance.full_m


def test_low_salt_is_found_once_the_delivery_that_hid_it_is_struck() -> None:
    """3 t are low after a day; 20 t that never came hide it until somebody strikes them."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    played.record(SaltDelivered(mass_kg=20000.0))
    played.until(22)
    assert played.when("salt-low") == []
    played.record(Struck(), corrects=2)
    played.until(23)
    (raised,) = played.when("salt-low")
    assert 22.0 <= raised <= 22.5


def test_where_the_only_delivery_is_struck_nothing_is_counted_and_the_alarm_clears() -> None:
    """There is no record to count from any more, as if none had ever been made."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=1500.0))
    played.until(3)
    assert len(played.when("salt-low")) == 1
    played.record(Struck(), corrects=1)
    assert played.balance.left_kg() is None
    played.until(4)
    assert states_of(played, "salt-low")[-1] in (
        AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED,
    )  # fmt: skip


def test_a_correction_replaces_the_delivery_that_it_names() -> None:
    """Not the last one: the slip was in the first, and two remarks and a load lie between."""
    played = Played().until(2)
    played.record(Remark(note="gate was open"))
    played.record(SaltDelivered(mass_kg=2000.0))
    played.record(Remark(note="hose replaced"))
    played.record(SaltDelivered(mass_kg=1000.0))
    played.record(SaltDelivered(mass_kg=2500.0), corrects=2)
    assert played.balance.left_kg() == pytest.approx(3500.0 * PURE)
    played.record(SaltDelivered(mass_kg=2600.0), corrects=5)
    assert played.balance.left_kg() == pytest.approx(3600.0 * PURE)


def test_a_correction_into_something_else_takes_the_delivery_out() -> None:
    """It was water's meter that was read; and a remark that was a delivery becomes one."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=2000.0))
    played.record(SaltDelivered(mass_kg=1000.0))
    played.record(WaterMeterRead(volume_m3=2000.0), corrects=1)
    assert played.balance.left_kg() == pytest.approx(1000.0 * PURE)
    played.record(Remark(note="700 kg tipped in"))
    played.record(SaltDelivered(mass_kg=700.0), corrects=4)
    assert played.balance.left_kg() == pytest.approx(1700.0 * PURE)


def test_a_delivery_recorded_late_is_counted_from_when_it_came() -> None:
    """What was used between its coming and its being written down came out of it."""
    at_once = Played().until(2)
    at_once.record(SaltDelivered(mass_kg=4000.0))
    late = Played().until(14)
    late.record(SaltDelivered(mass_kg=4000.0), at=START + 2 * 3600 * SECOND)
    assert late.balance.left_kg() == pytest.approx(at_once.until(14).balance.left_kg(), abs=40.0)


def test_another_depot_s_delivery_is_not_counted() -> None:
    """Each depot's records are its own, and so are their numbers."""
    other = replace(unseen(), id="kettle-ridge", name="Kettle Ridge", short="KR")
    played = Played()
    played.engine = Engine({DEPOT: played.plan, other.id: other})
    played.until(1)
    played.record(SaltDelivered(mass_kg=2000.0))
    (others,) = played.engine.plant(other.id).salt_balances
    assert others.left_kg() is None
    assert played.engine.plant(other.id).records.last == 0
    assert played.balance.left_kg() == pytest.approx(2000.0 * PURE)


def test_records_that_explain_nothing_say_nothing() -> None:
    """Far more was used than was delivered: salt was tipped in that nobody recorded."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=1800.0))
    played.until(26)
    assert not played.balance.known(START + 26 * 3600 * SECOND)


def test_a_depot_whose_bed_is_seen_has_no_balance() -> None:
    """The sensor is better."""
    its = with_hopper()
    assert Engine({its.id: its}).plant(DEPOT).salt_balances == []


def test_a_restart_changes_nothing(two_days: Played) -> None:
    """In the middle of a batch: the same is told, and the same is left, also once an earlier
    delivery is struck."""
    played = Played().until(2)
    played.record(SaltDelivered(mass_kg=3000.0))
    played.record(SaltDelivered(mass_kg=9000.0))
    played.until(7.5)
    kept = played.engine.snapshots()
    played.engine = Engine({played.plan.id: played.plan})
    assert played.engine.restore(kept) == []
    played.record(Struck(), corrects=2)
    played.until(30)
    assert played.when("salt-low") == two_days.when("salt-low")
    assert played.balance.left_kg() == two_days.balance.left_kg()
