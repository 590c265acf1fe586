"""Rounds of upkeep: by a clock that never steps, whatever fails and however the clock is set."""

import logging

import pytest

from brineward.clock import MachineClock
from brineward.journal import DiskTrouble
from brineward.readings.instants import DAY, HOUR
from brineward.service.rounds import Rounds


class StandingClock(MachineClock):
    """Two clocks that a test moves, one apart from the other."""

    def __init__(self) -> None:
        self.shown = 1_768_435_200_000
        self.steady = 100.0

    def now(self) -> int:
        return self.shown

    def monotonic_seconds(self) -> float:
        return self.steady


@pytest.mark.parametrize("step", [-HOUR, -400 * DAY, 400 * DAY])
def test_a_set_clock_changes_nothing(step: int) -> None:
    """Set back, a job still comes round when it should; set ahead, it comes no sooner."""
    clock = StandingClock()
    done: list[float] = []
    rounds = Rounds(clock, {lambda: done.append(clock.steady): 60.0})
    clock.steady += 30
    clock.shown += step
    assert rounds.do_due() == pytest.approx(30.0)
    assert done == []
    clock.steady += 30
    assert rounds.do_due() == pytest.approx(60.0)
    assert done == [160.0]
    rounds.stop()


def test_a_job_that_fails_comes_round_again(caplog: pytest.LogCaptureFixture) -> None:
    """A disk in trouble is said in a sentence, a mistake of ours with its place; both go on."""
    clock = StandingClock()
    done: list[str] = []

    def refused() -> None:
        done.append("refused")
        raise DiskTrouble("the disk is full", full=True)

    def mistaken() -> None:
        done.append("mistaken")
        raise ZeroDivisionError

    rounds = Rounds(clock, {refused: 60.0, mistaken: 60.0})
    with caplog.at_level(logging.ERROR):
        for _ in range(2):
            clock.steady += 60
            rounds.do_due()
    rounds.stop()
    assert done == ["refused", "mistaken"] * 2
    assert caplog.messages == ["upkeep: the disk is full", "upkeep failed"] * 2
