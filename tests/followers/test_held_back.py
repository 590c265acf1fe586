"""A cursor that is held back: whatever the other side loses of its last seconds, it gets again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.followers.cursor import Again, CursorWork, NotNow
from brineward.followers.held_back import HELD_BACK_SECONDS, MOST_DOUBTS, HeldBack, answered_of
from driven_clock import DrivenClock

NAME = "export"


@dataclass
class Stored:
    """Cursors in memory."""

    positions: dict[str, int] = field(default_factory=dict)

    def at(self, name: str) -> int:
        """Where it is."""
        return self.positions.get(name, 0)

    def put(self, positions: Mapping[str, int]) -> None:
        """All of them."""
        self.positions |= positions


@dataclass
class Server:
    """Takes numbers, and has them on its disk only some seconds later."""

    clock: DrivenClock
    keeps_after: float = 10.0
    disk: set[int] = field(default_factory=set)
    memory: list[tuple[float, int]] = field(default_factory=list)
    down: bool = False
    lives: int = 1
    seen: int = 1

    def take(self, batch: Sequence[int]) -> bool:
        """Is it another life than at the last write? Raises: ConnectionRefusedError."""
        if self.down:
            raise ConnectionRefusedError
        self.flush()
        self.memory += [(self.clock.seconds, n) for n in batch]
        other, self.seen = self.seen != self.lives, self.lives
        return other

    def flush(self) -> None:
        """What is old goes to the disk."""
        old = self.clock.seconds - self.keeps_after
        self.disk |= {n for at, n in self.memory if at <= old}
        self.memory = [one for one in self.memory if one[0] > old]

    def die(self) -> None:
        """Killed: what is in memory is gone."""
        self.flush()
        self.memory, self.lives = [], self.lives + 1


class Follower:
    """Follows numbers into the server, with a cursor that is held back."""

    def __init__(self, server: Server, stored: Stored, clock: DrivenClock) -> None:
        self.server, self.clock, self.count = server, clock, 0
        self.held = HeldBack(NAME, stored, clock)
        self.work = CursorWork(
            NAME, self.held, self._after, self._deliver, clock,
            on_delay=lambda _: None, on_close=lambda: None, jitter=float, batch=7,
        )  # fmt: skip

    def turn(self) -> None:
        """All that is due now."""
        for _ in range(1000):
            if self.work.turn() > 0.0:
                break
        if self.held.may_be_confirmed():
            try:
                self._deliver([self.held.at(NAME)])
            except (NotNow, Again):
                return
            self.held.confirmed()

    def _after(self, seq: int, limit: int) -> list[tuple[int, int]]:
        return [(n, n) for n in range(seq + 1, min(seq + limit, self.count) + 1)]

    def _deliver(self, batch: Sequence[int]) -> None:
        try:
            other = self.server.take(batch)
        except ConnectionRefusedError as why:
            self.held.go_back(surely=True)
            raise NotNow("refused") from why
        if other and self.held.is_unsettled() and self.held.go_back(surely=False):
            raise Again
        self.held.answered()


happenings = st.lists(
    st.tuples(st.sampled_from(["grow", "kill", "down", "up", "restart"]), st.floats(0.1, 20.0)),
    max_size=40,
)


@given(happenings)
def test_nothing_that_was_answered_is_missing_in_the_end(happened: list[tuple[str, float]]) -> None:
    """Server and follower end at any moments; seen as refused, or only as another connection."""
    clock, stored = DrivenClock(), Stored()
    server = Server(clock)
    follower = Follower(server, stored, clock)
    count, unseen = 0, 0
    for what, seconds in happened:
        match what:
            case "grow":
                count += 5
            case "kill" if unseen < MOST_DOUBTS:
                server.die()
                unseen += 1
            case "down":
                server.die()
                server.down = True
            case "up":
                server.down = False
            case "restart":
                follower = Follower(server, stored, clock)
        follower.count = count
        follower.turn()
        clock.seconds += seconds
    server.down = False
    for _ in range(40):
        follower.turn()
        clock.seconds += 10.0
    server.flush()
    assert server.disk == set(range(1, count + 1))
    assert stored.positions.get(NAME, 0) == count
    assert stored.positions.get(answered_of(NAME), 0) == count


def test_what_is_stored_stays_half_a_minute_behind() -> None:
    """A service that is killed begins again where the server surely has what came before."""
    clock, stored = DrivenClock(), Stored()
    follower = Follower(Server(clock), stored, clock)
    for second in range(100):
        clock.seconds = float(second)
        follower.count += 1
        follower.turn()
    assert stored.positions[answered_of(NAME)] == 100
    assert stored.positions[NAME] == 100 - HELD_BACK_SECONDS


def test_a_server_that_changes_its_connection_each_time_gets_everything() -> None:
    """Signs alone can't keep a follower from getting on: five times, then it goes on."""
    clock, stored = DrivenClock(), Stored()
    server = Server(clock)
    follower = Follower(server, stored, clock)
    follower.count = 1000
    turns = 0
    while stored.positions.get(NAME, 0) < 1000:
        server.lives += 1
        follower.work.turn()
        if follower.held.may_be_confirmed():
            follower.turn()
        clock.seconds += 1.0
        turns += 1
        assert turns < 1000
    server.flush()
    assert len(server.disk) >= 993


@pytest.mark.parametrize("sent", [True, False])
def test_what_had_nothing_to_send_waits_with_what_had(sent: bool) -> None:
    """Entries of other depots settle at once where nothing is unsettled, else with it."""
    clock, stored = DrivenClock(), Stored()
    held = HeldBack(NAME, stored, clock)
    if sent:
        held.answered()
        held.advance(NAME, 5)
    held.advance(NAME, 9)
    assert stored.positions == {NAME: 0 if sent else 9, answered_of(NAME): 9}
    assert held.go_back(surely=True)
    assert held.at(NAME) == (0 if sent else 9)
