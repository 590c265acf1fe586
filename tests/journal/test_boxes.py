"""The inbox and the outbox: handed over once, sent at least once, never forgotten."""

from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from brineward.journal import Journal
from brineward.readings.entries import Delivery
from brineward.readings.outputs import Priority, Step
from brineward.readings.values import Refusal
from journal.samples import T0, asked, plain, reading, take, text


@pytest.fixture
def journal(tmp_path: Path):
    """A new journal on the real disk."""
    with Journal.open(tmp_path / "a.journal") as opened:
        yield opened


def due(journal: Journal, *texts) -> None:
    """Commit texts as having become due."""
    journal.commit([Step(reading(journal.ordering.last_seq()), texts)])


def test_the_inbox_hands_over_in_order_and_once(journal):
    """Entries wait until a batch has dealt with them, and go in that batch's transaction."""
    act = take()
    odd = Refusal("tern-hollow", "reply", T0, "unknown", "Who?", "", b"\x00\xfe")
    numbers = [journal.inbox.post(act), journal.inbox.post(odd), journal.inbox.post(reading(5))]
    waiting = journal.inbox.waiting()
    assert waiting == list(zip(numbers, [act, odd, reading(5)], strict=True))
    assert journal.inbox.waiting(limit=1) == waiting[:1]
    journal.commit(plain(act), inbox_done=numbers[:1])
    assert journal.inbox.waiting() == waiting[1:]
    assert asked(journal).acts.between("tern-hollow") == [act]
    # A number is never given twice: a late "done" must not take out somebody else's entry.
    journal.commit((), inbox_done=numbers)
    assert journal.inbox.post(act) > max(numbers)


def test_the_most_pressing_text_comes_first(journal):
    """High before low, older before newer, and none before it is due."""
    due(
        journal,
        text(1, 1, priority=Priority.LOW),
        text(2, 2),
        text(3, 1),
        text(4, 99),
    )
    bodies = [one.id.split("-")[4] for one in journal.outbox.texts_open(T0 + 5)]
    assert bodies == ["3", "2", "1"]
    assert journal.outbox.next_text_at() == T0 + 1


def test_an_attempt_of_unknown_outcome_is_open_still(tmp_path):
    """Recorded, then the power went: after reopening the same text is due, its count kept."""
    with Journal.open(tmp_path / "a.journal") as journal:
        due(journal, text(1, 1))
        name = journal.outbox.texts_open(T0 + 1)[0].id
        assert journal.outbox.record_attempt(name, T0 + 2) == 1
    with Journal.open(tmp_path / "a.journal") as journal:
        (again,) = journal.outbox.texts_open(T0 + 2)
        assert (again.id, again.attempts, again.attempted) == (name, 1, T0 + 2)
        assert journal.outbox.record_attempt(name, T0 + 3) == 2


def test_a_settled_text_tells_the_service_once(journal):
    """Accepted or dead is posted with its reason; a second verdict changes nothing."""
    due(journal, text(1, 1), text(2, 1))
    first, second = (one.id for one in journal.outbox.texts_open(T0 + 1))
    journal.outbox.record_attempt(first, T0 + 2)
    journal.outbox.record_retry(first, T0 + 2, T0 + 60, "503")
    assert [one.id for one in journal.outbox.texts_open(T0 + 59)] == [second]
    journal.outbox.record_accepted(first, T0 + 3, "r-1")
    journal.outbox.record_dead(first, T0 + 4, "no")
    journal.outbox.record_dead(second, T0 + 5, "refused: unknown number")
    why = "refused: unknown number"
    about = {"depot": "tern-hollow", "number": 12, "person": "yard"}
    assert [entry for _, entry in journal.inbox.waiting()] == [
        Delivery(time=T0 + 3, text=first, outcome="accepted", **about),
        Delivery(time=T0 + 5, text=second, outcome="dead", why=why, **about),
    ]
    assert journal.outbox.next_text_at() is None
    assert {(one.id, one.state, one.receipt) for one in asked(journal).texts.newest()} == {
        (first, "accepted", "r-1"),
        (second, "dead", ""),
    }
    with pytest.raises(KeyError):
        journal.outbox.record_attempt(first, T0 + 6)


def test_a_cursor_never_goes_back(journal):
    """A follower that repeats an old position doesn't send everything again."""
    assert journal.cursors.at("export") == 0
    journal.cursors.advance("export", 7)
    journal.cursors.advance("export", 3)
    assert (journal.cursors.at("export"), journal.cursors.at("page")) == (7, 0)


class Telling(RuleBasedStateMachine):
    """The journal beside a plain model of it, through stops and repeats."""

    def __init__(self):
        super().__init__()
        self.journal = Journal.open(Path(":memory:"))
        self.first = {}
        self.second = set()
        self.texts = {}
        self.deliveries = 0

    @rule(
        told=st.lists(
            st.tuples(st.integers(0, 5), st.sampled_from([None, 0.0, 1.0, 2.0])), max_size=8
        )
    )
    def commit(self, told):
        """Readings of few instants and values, so that they repeat and contradict."""
        self.journal.commit(plain(*(reading(time, value) for time, value in told)))
        for time, value in told:
            if self.first.setdefault(time, value) != value:
                self.second.add((time, value))

    @rule(count=st.integers(1, 6), time=st.integers(100, 10_000))
    def text_due(self, count, time):
        """A text becomes due, perhaps one that was due before."""
        self.journal.commit(
            [Step(reading(time, sensor=f"s{len(self.texts)}"), (text(count, time),))]
        )
        self.texts.setdefault(text(count).id, ["open", 0])

    @precondition(lambda self: self.texts)
    @rule(
        pick=st.randoms(use_true_random=False), verdict=st.sampled_from(["accept", "kill", "retry"])
    )
    def attempt(self, pick, verdict):
        """The follower tries some text, open or not."""
        name = pick.choice(sorted(self.texts))
        state = self.texts[name]
        if state[0] == "open":
            state[1] += 1
            assert self.journal.outbox.record_attempt(name, T0) == state[1]
        if verdict == "retry":
            self.journal.outbox.record_retry(name, T0, T0, "later")
            return
        if verdict == "accept":
            self.journal.outbox.record_accepted(name, T0, "r")
        else:
            self.journal.outbox.record_dead(name, T0, "no")
        if state[0] == "open":
            self.deliveries += 1
            state[0] = "accepted" if verdict == "accept" else "dead"

    @invariant()
    def readings_are_the_model(self):
        """The first value stands, every other is a conflict once."""
        kept = asked(self.journal).readings.between("tern-hollow", "main-level", T0, T0 + 100)
        assert {one.time - T0: one.value for one in kept} == self.first
        seconds = asked(self.journal).readings.conflicts("tern-hollow", "main-level", T0, T0 + 100)
        assert len(seconds) == len(self.second)
        assert {(one.time - T0, one.value) for one in seconds} == self.second
        assert sum(one.count for one in asked(self.journal).refusals.conflict_counts()) == len(
            self.second
        )

    @invariant()
    def texts_are_the_model(self):
        """Each text once, in its state, with its attempts; one delivery for each settled one."""
        assert {
            one.id: [one.state, one.attempts] for one in asked(self.journal).texts.newest()
        } == self.texts
        assert len(self.journal.inbox.waiting(1000)) == self.deliveries

    def teardown(self):
        """Close the file."""
        self.journal.close()


TestTelling = Telling.TestCase
TestTelling.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
