"""The life of an alarm: its delays and what holds it back, one by one."""

from dataclasses import dataclass

import orjson
import pytest

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.book.life import Life
from brineward.book.life_table import Letter
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmState, Priority

ON, OFF = 5, 20
ACTIVE, UNKNOWN = Verdict(True, Finding(value=1.0)), Verdict.unknown("nothing heard")
A, B = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
C, D = AlarmState.ACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED
H = AlarmState.SUPPRESSED


class Clocked:
    """A life with a clock in seconds, and somebody who numbers what is announced."""

    def __init__(self, on: float = ON, off: float = OFF) -> None:
        self.life = Life(on_delay_seconds=on, off_delay_seconds=off)
        self.now = 0
        self.announced: list[int] = []
        """When it became unacknowledged."""

    def judge(self, verdict: Verdict) -> AlarmState:
        """Give it a verdict now."""
        self.life.judge(verdict, self.now * SECOND)
        return self._settled()

    def wait(self, seconds: int) -> AlarmState:
        """Let time pass, a second at a time."""
        for _ in range(seconds):
            self.now += 1
            self._settled()
        return self.life.state

    def _settled(self) -> AlarmState:
        if self.life.due(self.now * SECOND) and self.life.state is B:
            self.announced.append(self.now)
            self.life.number = self.life.number or len(self.announced)
        return self.life.state

    def to(self, state: AlarmState) -> "Clocked":
        """Bring it from normal to a state."""
        if state in (B, C, D):
            self.judge(ACTIVE)
            self.wait(ON)
        if state is C:
            self.life.take()
        if state is D:
            self.judge(CLEAR)
            self.wait(OFF)
        assert self.life.state is state
        return self


@pytest.mark.parametrize(
    ("before", "event", "after"),
    [
        (A, "abnormal", B),
        (B, "taken", C),
        (C, "normal", A),
        (B, "normal", D),
        (D, "abnormal", B),
        (D, "taken", A),
        (A, "normal", A),
        (A, "taken", A),
        (B, "abnormal", B),
        (C, "abnormal", C),
        (C, "taken", C),
        (D, "normal", D),
        (A, "unknown", A),
        (B, "unknown", B),
        (C, "unknown", C),
        (D, "unknown", D),
    ],
)
def test_each_state_and_event_has_its_next_state(
    before: AlarmState, event: str, after: AlarmState
) -> None:
    """Every state answers every event as the standard's table says; no data changes nothing."""
    one = Clocked().to(before)
    if event == "taken":
        one.life.take()
    else:
        one.judge({"abnormal": ACTIVE, "normal": CLEAR, "unknown": UNKNOWN}[event])
        one.wait(ON + OFF)
    assert one.life.state is after


def test_returned_and_abnormal_again_is_announced_again() -> None:
    """D to B is news: whoever did not take it the first time is told again."""
    one = Clocked().to(D)
    one.judge(ACTIVE)
    one.wait(ON)
    assert one.life.state is B
    assert len(one.announced) == 2


def test_raised_exactly_when_the_on_delay_is_over() -> None:
    """Not a millisecond before its on-delay, and on the millisecond."""
    life = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
    life.judge(ACTIVE, 0)
    assert not life.due(ON * SECOND - 1)
    assert life.due(ON * SECOND)
    assert life.state is B


def test_what_lasts_less_than_the_on_delay_is_never_raised() -> None:
    """A fleeting condition says nothing, however often it comes: its times do not add up."""
    one = Clocked()
    for _ in range(50):
        one.judge(ACTIVE)
        one.wait(ON - 1)
        one.judge(CLEAR)
        one.wait(1)
    assert one.announced == []


def test_what_clears_for_less_than_the_off_delay_stays() -> None:
    """A flapping condition is one alarm, raised once and cleared once."""
    one = Clocked()
    states = set()
    one.judge(ACTIVE)
    one.wait(ON)
    for _ in range(50):
        one.judge(CLEAR)
        states.add(one.wait(OFF - 1))
        one.judge(ACTIVE)
        states.add(one.wait(1))
    assert states == {B}
    assert len(one.announced) == 1


def test_no_data_holds_an_off_delay_up() -> None:
    """No data never clears: silence in the middle of an off-delay stops it."""
    one = Clocked().to(B)
    one.judge(CLEAR)
    one.wait(OFF - 1)
    one.judge(UNKNOWN)
    one.wait(10 * OFF)
    assert one.life.state is B
    one.judge(CLEAR)
    assert one.wait(OFF - 1) is B
    assert one.wait(1) is D


def test_no_data_holds_an_on_delay_up() -> None:
    """No data never raises: silence in the middle of an on-delay stops it."""
    one = Clocked()
    one.judge(ACTIVE)
    one.wait(ON - 1)
    one.judge(UNKNOWN)
    assert one.wait(10 * ON) is A
    one.judge(ACTIVE)
    assert one.wait(ON - 1) is A
    assert one.wait(1) is B


def test_zero_is_no_data_for_nobody() -> None:
    """A finding with the value 0.0 is a finding."""
    one = Clocked(on=0, off=0)
    assert one.judge(Verdict(True, Finding(value=0.0))) is B
    assert one.life.finding == Finding(value=0.0)
    assert one.judge(CLEAR) is D


@pytest.mark.parametrize("before", [A, B, C, D])
def test_suppressed_from_anywhere(before: AlarmState) -> None:
    """Suppressed by design can be entered from every state, and says so."""
    one = Clocked().to(before)
    one.life.suppress()
    assert one.life.state is H
    one.life.release(one.now * SECOND)
    assert one.life.state is before


def test_raised_under_suppression_is_announced_after_it_and_only_if_it_still_holds() -> None:
    """Suppression holds back raising only; what still holds after it is judged again."""
    holds, gone = Clocked(), Clocked()
    for one in (holds, gone):
        one.life.suppress()
        one.judge(ACTIVE)
        one.wait(10 * ON)
        assert one.life.state is H
        assert one.announced == []
    gone.judge(CLEAR)
    for one in (holds, gone):
        one.life.release(one.now * SECOND)
        assert one.life.state is A
        one.wait(ON - 1)
        assert one.announced == []
        one.wait(1)
    assert holds.life.state is B
    assert gone.life.state is A


def test_released_while_blind_is_not_raised() -> None:
    """Leaving suppression without data raises nothing from memory."""
    one = Clocked()
    one.life.suppress()
    one.judge(ACTIVE)
    one.wait(ON)
    one.judge(UNKNOWN)
    one.life.release(one.now * SECOND)
    assert one.wait(10 * ON) is A


def test_a_return_to_normal_under_suppression_is_kept() -> None:
    """The condition goes on being judged: told before, cleared meanwhile, it is cleared after."""
    one = Clocked().to(B)
    one.life.suppress()
    one.judge(CLEAR)
    one.wait(OFF)
    one.life.release(one.now * SECOND)
    assert one.life.state is D


def test_since_is_when_the_condition_came_not_when_it_was_raised() -> None:
    """The text's "since" is when the trouble began, before the on-delay, and a flap keeps it."""
    one = Clocked()
    one.wait(7)
    one.judge(ACTIVE)
    one.wait(ON)
    one.judge(CLEAR)
    one.wait(OFF - 1)
    one.judge(ACTIVE)
    one.wait(1)
    assert one.life.since == 7 * SECOND


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Finding):
    """A finding with a piece of its own."""

    told: str


def test_written_down_and_restored_it_goes_on() -> None:
    """A life that was written down in the middle of a delay ends that delay at the same time."""
    one = Clocked()
    one.judge(Verdict(True, Told(value=1.5, limit=2.0, unit="m", told="x")))
    one.wait(ON - 1)
    other = Clocked()
    other.life.restore(one.life.snapshot(), Told)
    other.now = one.now
    assert other.life.finding == one.life.finding == Told(value=1.5, limit=2.0, unit="m", told="x")
    assert (one.wait(1), other.wait(1)) == (B, B)


def test_a_finding_of_another_make_is_left_and_the_alarm_kept() -> None:
    """A new version whose findings have other pieces keeps what people know of the alarm."""
    one = Clocked().to(C)
    other = Clocked()
    other.life.restore(one.life.snapshot(), Told)
    assert other.life.finding is None
    assert (other.life.state, other.life.number) == (C, 1)


@pytest.mark.parametrize("by", [-3_600_000, 7_200_000])
def test_a_clock_set_anew_neither_shortens_nor_lengthens_a_delay(by: int) -> None:
    """What waited four of five seconds waits one more, by whatever clock; since when moves too."""
    life = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
    begun = 10_000_000
    life.judge(ACTIVE, begun)
    life.shift(by)
    assert not life.due(begun + ON * SECOND + by - 1)
    assert life.due(begun + ON * SECOND + by)
    assert life.since == begun + by


@pytest.mark.parametrize(
    ("known", "number", "state", "beneath"),
    [
        ([False, False, True, False], 0, A, Letter.A),
        ([True, True, False, False], 4, B, Letter.B),
        ([True, True, True, False], 4, C, Letter.C),
        ([False, False, False, False], 4, D, Letter.D),
        ([True, True, True, True], 0, H, Letter.N),
        ([True, True, True, True], 4, H, Letter.C),
    ],
)
def test_what_an_older_version_wrote_is_still_read(
    known: list[bool], number: int, state: AlarmState, beneath: Letter
) -> None:
    """An upgrade in the middle of an alarm forgets neither that it is there nor who was told."""
    life = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
    finding = {"value": 1.0, "limit": None, "unit": "m", "priority": None}
    life.restore([known, number, 5, None, "was so", finding], Finding)
    assert (life.state, life.beneath, life.number) == (state, beneath, number)
    assert life.finding == Finding(value=1.0, unit="m")


def test_a_findings_priority_comes_back_as_one() -> None:
    """From a snapshot's text it is a priority again, and one that is none is left."""
    life = Life(on_delay_seconds=0, off_delay_seconds=0)
    life.judge(Verdict(True, Finding(priority=Priority.HIGH)), 0)
    life.due(0)
    kept = orjson.loads(orjson.dumps(life.snapshot()))
    other = Life(on_delay_seconds=0, off_delay_seconds=0)
    other.restore(kept, Finding)
    assert other.finding == Finding(priority=Priority.HIGH)
    assert type(other.finding.priority) is Priority
    assert other.priority is Priority.HIGH
    other.restore(kept | {"finding": {"priority": "dire"}}, Finding)
    assert other.finding is None


def test_another_grave_thing_is_told_once_an_occurrence() -> None:
    """A second name is announced and must be taken again; a third time it is known, until the
    occurrence is over; a restart between changes nothing.
    """

    def about(*names: str) -> Verdict:
        return Verdict(True, Finding(names=names))

    one = Clocked()
    one.judge(about("overflow"))
    one.wait(ON)
    one.life.take("yard")
    life = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
    life.restore(orjson.loads(orjson.dumps(one.life.snapshot())), Finding)
    turns = []
    for names in (("overflow",), ("freezing", "overflow"), ("overflow",), ("freezing",)):
        life.judge(about(*names), one.now * SECOND)
        turns.append(life.graver(one.now * SECOND) is not None)
    assert turns == [False, True, False, False]
    assert life.state is B
    life.take("yard")
    life.judge(CLEAR, one.now * SECOND)
    assert life.due((one.now + OFF) * SECOND) is not None
    life.forget_if_done()
    assert life.named == ()
