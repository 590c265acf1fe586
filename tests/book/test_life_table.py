"""The life of an alarm against the table in its own docstring, in any order of what happens."""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.book import life
from brineward.book.life import Life
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmState

ON, OFF = 5, 20
ACTIVE, UNKNOWN = Verdict(True, Finding(value=1.0)), Verdict(None, None, "nothing heard")
A, D, H = AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED, AlarmState.SUPPRESSED


def table() -> dict[tuple[str, str], str]:
    """The table in `life.py`'s own docstring: event and state before, to the state after."""
    short = {"returned unack.": D.value, "any": "any"}
    found = {}
    for line in (life.__doc__ or "").splitlines():
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) == 3 and cells[0] and cells[0] != "event" and not cells[0].startswith("-"):
            event, before, after = cells
            after = after.split(" (")[0].split(";")[0]
            found[event, short.get(before, before)] = short.get(after, after)
    return found


TABLE = table()


def test_the_table_is_whole() -> None:
    """What the next test holds a life against is what people read, with all its lines."""
    assert len(TABLE) == 8
    states = {state.value for state in AlarmState}
    assert {before for _, before in TABLE} <= {*states, "any", "suppressed", H.value}


class LifeAgainstItsTable(RuleBasedStateMachine):
    """Any order of verdicts, waits, takes and suppressions: each change is a line of the table.

    A change that the table has must happen, and none that it hasn't.
    """

    def __init__(self) -> None:
        super().__init__()
        self.life = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
        self.now = 0
        self.verdict: Verdict = UNKNOWN

    def _expect(self, event: str, before: AlarmState) -> None:
        after = TABLE.get((event, before.value), before.value)
        assert self.life.state.value == after, (event, before)

    @rule(verdict=st.sampled_from([ACTIVE, CLEAR, UNKNOWN]))
    def judged(self, verdict: Verdict) -> None:
        """A verdict alone changes nothing: its delay is over at another time."""
        before = self.life.state
        self.life.judge(verdict, self.now)
        self.verdict = verdict
        assert self.life.state is before

    @rule(seconds=st.sampled_from([1, ON - 1, ON, OFF - 1, OFF]))
    def waited(self, seconds: int) -> None:
        """A delay is over, or none is."""
        self.now += seconds * SECOND
        before, was = self.life.state, self.life.active
        if not self.life.due(self.now):
            assert self.life.state is before
            return
        assert self.life.active is not was
        assert self.life.active is self.verdict.active
        event = "on-delay over" if self.life.active else "off-delay over"
        if before is H:
            assert self.life.state is H
        else:
            self._expect(event, before)
        if self.life.active and not self.life.suppressed and self.life.number == 0:
            self.life.number = 1

    @rule()
    def taken(self) -> None:
        """Somebody has it."""
        before = self.life.state
        took = self.life.take()
        if before is not H:
            assert took is (("taken", before.value) in TABLE)
            self._expect("taken", before)

    @precondition(lambda self: not self.life.suppressed)
    @rule()
    def suppressed(self) -> None:
        """A cause comes."""
        self.life.suppress()
        assert self.life.state.value == TABLE["suppressed", "any"]

    @precondition(lambda self: self.life.suppressed)
    @rule()
    def released(self) -> None:
        """The cause goes: nothing is unacknowledged that nobody was told of."""
        known = self.life.number > 0
        self.life.release(self.now)
        assert ("released", "suppressed") in TABLE
        if not known:
            assert self.life.state is A

    @rule()
    def restarted(self) -> None:
        """Written down and restored it goes on."""
        other = Life(on_delay_seconds=ON, off_delay_seconds=OFF)
        other.restore(self.life.snapshot(), Finding)
        assert other.snapshot() == self.life.snapshot()
        self.life = other

    @invariant()
    def done_is_forgotten(self) -> None:
        """As the book does it: cleared and taken, its number is free."""
        if not self.life.active and self.life.acknowledged:
            self.life.number = 0


TestLifeAgainstItsTable = LifeAgainstItsTable.TestCase
TestLifeAgainstItsTable.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
