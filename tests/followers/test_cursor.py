"""A follower with a cursor: in order, at least once, and never past what was not handed on."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.followers import cursor
from brineward.followers.cursor import LONGEST_SLEEP_SECONDS, CursorWork, NotNow
from driven_clock import DrivenClock


@dataclass
class Entries:
    """A source in memory: entry n has seq 10 n, since seqs have gaps."""

    count: int
    place: int = 0
    closed: bool = False

    def at(self, name: str) -> int:
        """Where the one follower is."""
        return self.place

    def advance(self, name: str, seq: int) -> None:
        """It moves on."""
        assert seq > self.place
        self.place = seq

    def after(self, seq: int, limit: int) -> Sequence[tuple[int, int]]:
        """The next ones."""
        first = seq // 10 + 1
        return [(10 * n, n) for n in range(first, min(first + limit, self.count + 1))]

    def close(self) -> None:
        """Note it."""
        self.closed = True


@dataclass
class Follower:
    """A cursor follower, what it delivered, and when the other side is busy."""

    source: Entries
    clock: DrivenClock = field(default_factory=DrivenClock)
    delivered: list[list[int]] = field(default_factory=list)
    busy: list[str] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.work = CursorWork(
            "export", self.source, self.source.after, self._deliver, self.clock,
            on_delay=self.heard.append, on_close=self.source.close, jitter=float,
        )  # fmt: skip

    def _deliver(self, batch: Sequence[int]) -> None:
        why = self.busy.pop(0) if self.busy else ""
        if why:
            raise NotNow(why)
        self.delivered.append(list(batch))


@pytest.fixture(autouse=True)
def _small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cursor, "BATCH", 3)


def test_all_is_handed_on_in_order_without_a_pause() -> None:
    """A backlog goes out batch by batch at once; then the follower sleeps until it is woken."""
    follower = Follower(Entries(7))
    waits = [follower.work.turn() for _ in range(4)]
    assert follower.delivered == [[1, 2, 3], [4, 5, 6], [7]]
    assert waits == [0.0, 0.0, LONGEST_SLEEP_SECONDS, LONGEST_SLEEP_SECONDS]
    assert follower.source.place == 70
    follower.work.close()
    assert follower.source.closed


def test_the_cursor_stays_where_the_other_side_fails() -> None:
    """The same batch is handed on again after a wait that doubles; the reason is said once."""
    follower = Follower(Entries(2), busy=["no answer"] * 3)
    waits = []
    for _ in range(3):
        waits.append(follower.work.turn())
        assert follower.source.place == 0
        follower.clock.seconds += waits[-1]
    follower.work.turn()
    assert waits == [5.0, 10.0, 20.0]
    assert follower.delivered == [[1, 2]]
    assert follower.heard == ["export: no answer; trying again"]


def test_being_woken_does_not_cut_a_wait_short() -> None:
    """A commit every second must not become a try every second against a server that is down."""
    follower = Follower(Entries(1), busy=["no answer"])
    follower.work.turn()
    follower.clock.seconds += 1.0
    assert follower.work.turn() == pytest.approx(4.0)
    assert follower.delivered == []
    assert not follower.work.land()


@given(st.integers(0, 20), st.lists(st.booleans(), max_size=20))
def test_nothing_is_lost_or_out_of_order_whatever_fails(count: int, fails: list[bool]) -> None:
    """Every entry goes out, in order, once for each time that the other side took it."""
    follower = Follower(Entries(count), busy=["busy" if fail else "" for fail in fails])
    for _ in range(100):
        follower.clock.seconds += follower.work.turn()
    assert [n for batch in follower.delivered for n in batch] == list(range(1, count + 1))
