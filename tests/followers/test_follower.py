"""The threads around any follower, with work that the test makes up."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from brineward.clock import Clock, CompressedClock, MachineClock
from brineward.followers.backoff import doubled_wait_seconds
from brineward.followers.follower import LANDING_SECONDS, Follower
from gateways import wait_until

NOW = 1_767_225_600_000


class Work:
    """Work that notes what is asked of it, and fails to order."""

    def __init__(self, *failures: Exception) -> None:
        self.failures = list(failures)
        self.story: list[str] = []
        self.threads: set[int] = set()
        self.under_way = False
        self.quiet_seconds = 3600.0

    def turn(self) -> float:
        """One look."""
        self._note("turn")
        if self.failures:
            raise self.failures.pop(0)
        return self.quiet_seconds

    def land(self) -> bool:
        """As the test says."""
        self._note("land")
        return self.under_way

    def close(self) -> None:
        """Note it."""
        self._note("close")

    def _note(self, what: str) -> None:
        self.story.append(what)
        self.threads.add(threading.get_ident())


@contextmanager
def following(
    open_work: Callable[[], Work], clock: Clock, on_trouble: Callable[[str], None]
) -> Iterator[Follower]:
    """A follower at work."""
    follower = Follower("test", open_work, clock, on_trouble, trouble="nothing goes out")
    follower.start()
    try:
        yield follower
    finally:
        follower.stop()
    assert not follower.is_alive()


def test_work_is_made_used_and_closed_in_one_thread() -> None:
    """A journal's handle belongs to one thread, and it is let go of at the end."""
    work, made = Work(), []

    def open_work() -> Work:
        made.append(threading.get_ident())
        return work

    with following(open_work, MachineClock(), pytest.fail) as follower:
        wait_until(follower.progress)
        follower.wake()
        wait_until(lambda: work.story.count("turn") == 2)
    assert work.story == ["turn", "turn", "land", "close"]
    assert work.threads == set(made)
    assert threading.get_ident() not in work.threads


def test_after_an_error_everything_is_opened_anew() -> None:
    """An error of the journal is said once, and the next turn begins with a fresh handle."""
    works = [Work(OSError(5, "Input/output error")), Work(OSError(5, "Input/output error")), Work()]
    left, heard = iter(works), []
    clock = CompressedClock(start=NOW, factor=1000)
    with following(lambda: next(left), clock, heard.append) as follower:
        wait_until(follower.progress)
    assert [work.story for work in works] == [
        ["turn", "close"],
        ["turn", "close"],
        ["turn", "land", "close"],
    ]
    assert len(heard) == 1
    assert heard[0].startswith("nothing goes out: [Errno 5] Input/output error (OSError at ")


def test_a_listener_that_fails_does_not_keep_a_broken_handle_open() -> None:
    """Whoever hears of a trouble may fail itself; the work is still closed and made again."""
    works = [Work(OSError(5, "Input/output error")), Work()]
    left = iter(works)

    def on_trouble(sentence: str) -> None:
        raise RuntimeError("nobody listens")

    clock = CompressedClock(start=NOW, factor=1000)
    with following(lambda: next(left), clock, on_trouble) as follower:
        wait_until(follower.progress)
    assert works[0].story == ["turn", "close"]


class NotedClock(MachineClock):
    """Notes how long each wait would be, and waits briefly."""

    def __init__(self) -> None:
        self.waits: list[float] = []

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """A short wait."""
        self.waits.append(seconds)
        return super().wait(wake, min(seconds, 0.001))


def test_pauses_after_errors_double_up_to_the_longest() -> None:
    """A journal that stays broken is looked at every half minute, not in a busy loop."""
    clock = NotedClock()
    left = iter([Work(OSError(5, "Input/output error")) for _ in range(7)] + [Work()])
    with following(lambda: next(left), clock, lambda sentence: None) as follower:
        wait_until(follower.progress)
    assert clock.waits[:7] == [1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]


def test_a_stop_waits_for_what_is_under_way_but_not_for_ever() -> None:
    """What never lands is left after its time; what lands at once is not waited for."""
    stuck = Work()
    stuck.under_way = True
    clock = CompressedClock(start=NOW, factor=100)
    with following(lambda: stuck, clock, pytest.fail) as follower:
        wait_until(follower.progress)
        began = clock.monotonic_seconds()
    assert clock.monotonic_seconds() - began >= LANDING_SECONDS
    assert stuck.story[-1] == "close"


def test_a_stop_may_come_twice_and_before_the_start() -> None:
    """A service that fails on its way up can still be taken down."""
    follower = Follower("test", Work, MachineClock(), pytest.fail, trouble="nothing goes out")
    follower.stop()
    follower.stop()
    assert follower.progress() is None


def test_waits_double_from_the_first_to_the_longest() -> None:
    """However many failures, the wait is never longer than the longest, and never overflows."""
    waits = [
        doubled_wait_seconds(failures, first_seconds=5, longest_seconds=60)
        for failures in (0, 1, 2, 3, 4, 5, 10**9)
    ]
    assert waits == [5, 5, 10, 20, 40, 60, 60]


def test_a_turn_that_fails_is_no_progress_but_goes_round() -> None:
    """A sender that a full disk refuses is not stuck: whoever guards it can tell the two apart."""
    clock = MachineClock()
    began = clock.monotonic_seconds()
    work = Work(*(OSError("no space") for _ in range(100)))
    with following(lambda: work, clock, lambda _: None) as follower:
        wait_until(lambda: follower.went_round() is not None)
        went_round = follower.went_round()
        assert went_round is not None
        assert went_round >= began
        assert follower.progress() is None
