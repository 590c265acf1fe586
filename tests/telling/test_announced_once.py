"""What comes again and again of one cause that is known is announced once."""

import pytest

from brineward.alarms.condition import CLEAR
from brineward.readings.instants import HOUR
from brineward.readings.outputs import AlarmState
from playing import ACTIVE, DEPOT_SILENCE, SILENCE, Bench

CAUSE = 1
"""The number of the cause's occurrence: it is taken, and comes back when nobody cures it."""


def bench_with_a_cause() -> Bench:
    """One alarm is announced once under the other, which is active."""
    bench = Bench()
    one, cause = bench.alarm(SILENCE), bench.alarm(DEPOT_SILENCE)
    one.causes, one.once_under, cause.consequences = [], [cause], [one]
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE), HOUR)
    bench.told(bench.book.take(cause.life.number, "yard", bench.now))
    return bench


def comes(bench: Bench) -> int:
    """It is active for an hour and clear for one: how many texts say that it was raised."""
    texts = bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    texts += bench.told(bench.says(SILENCE, CLEAR), HOUR)
    return sum(text.kind in ("raised", "again") for text in texts if text.number != CAUSE)


def test_the_first_is_announced_and_the_others_are_not() -> None:
    """The first says what the cause has come to; the others are recorded as held back."""
    bench = bench_with_a_cause()
    assert comes(bench) > 0
    assert [comes(bench), comes(bench)] == [0, 0]
    bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    assert bench.alarm(SILENCE).life.state is AlarmState.SUPPRESSED


def test_what_was_good_meanwhile_is_announced_again() -> None:
    """Something else must be wrong now; and only once again."""
    bench = bench_with_a_cause()
    comes(bench)
    assert comes(bench) == 0
    bench.played[SILENCE].good_at = bench.now  # type: ignore[attr-defined]
    assert comes(bench) > 0
    assert comes(bench) == 0


def test_once_the_cause_has_cleared_it_is_announced() -> None:
    """What is still so then is something else; it is raised after its delay."""
    bench = bench_with_a_cause()
    comes(bench)
    texts = bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    assert {text.number for text in texts} <= {CAUSE}
    texts = bench.told(bench.says(DEPOT_SILENCE, CLEAR), HOUR)
    assert {text.kind for text in texts if text.number != CAUSE} & {"raised", "again"}


def test_a_cause_that_came_later_holds_nothing_back() -> None:
    """What was announced before it was not of this cause."""
    bench = bench_with_a_cause()
    comes(bench)
    bench.told(bench.says(DEPOT_SILENCE, CLEAR), 3 * HOUR)
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE), HOUR)
    assert comes(bench) > 0


@pytest.mark.parametrize("active", [True, False])
def test_a_cause_that_comes_or_goes_changes_nothing_of_what_goes_on(active: bool) -> None:
    """While it is active it is itself what was announced."""
    bench = bench_with_a_cause()
    bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    state = bench.alarm(SILENCE).life.state
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE if active else CLEAR), HOUR)
    assert bench.alarm(SILENCE).life.state is state
