"""A look into each stretch of a time finds what reading all of it would."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.journal import Journal
from brineward.readings.instants import HOUR, MINUTE, SECOND
from brineward.readings.outputs import Step
from journal.samples import T0, asked, derived, plain, reading
from services import DEPOT

TEN = 600.0


@settings(max_examples=40)
@given(
    heard=st.sets(st.integers(0, 300), max_size=40),
    other=st.sets(st.integers(0, 300), max_size=5),
    start=st.integers(0, 100),
    length=st.integers(1, 200),
)
def test_heard_is_each_ten_minutes_in_which_any_sensor_spoke(
    tmp_path_factory: pytest.TempPathFactory,
    heard: set[int],
    other: set[int],
    start: int,
    length: int,
) -> None:
    """Counted here minute by minute, of two sensors, whatever the ends of the time."""
    path = tmp_path_factory.mktemp("heard") / "a.journal"
    readings = [reading(minute * MINUTE) for minute in heard]
    readings += [reading(minute * MINUTE, sensor="main-temperature") for minute in other]
    begins, ends = T0 + start * MINUTE, T0 + (start + length) * MINUTE
    with Journal.open(path) as journal:
        journal.commit(plain(*readings))
        found = asked(journal).readings.heard_seconds(
            DEPOT, ["main-level", "main-temperature"], begins, ends
        )
    stretches = {
        (T0 + minute * MINUTE) // (10 * MINUTE)
        for minute in heard | other
        if start <= minute < start + length
    }
    assert found == min(TEN * len(stretches), length * 60)


@pytest.mark.parametrize("thinned", [False, True])
def test_a_depot_that_was_heard_stays_heard_when_its_hours_are_thinned(
    tmp_path: Path, thinned: bool
) -> None:
    """Three hours, each ten seconds: whole before thinning and after it; so is its beginning."""
    readings = [reading(n * 10 * SECOND) for n in range(3 * 360)]
    strengths = [
        Step(one, (derived(one.time - T0, 0.20 + 0.01 * (n // 360)),))
        for n, one in enumerate(readings)
    ]
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(strengths, states={DEPOT: b"state"})
        if thinned:
            assert journal.thinning.thin(T0 + 9 * HOUR, 0.0).rows > 1000
        records = asked(journal)
        assert records.readings.first(DEPOT) == T0
        for start, end, any_there in [(-2, 0, False), (-2, 1, True), (1, 2, True), (3, 9, False)]:
            within = records.readings.any_within(DEPOT, T0 + start * HOUR, T0 + end * HOUR)
            assert within is any_there
        span = (T0, T0 + 3 * HOUR)
        assert records.readings.heard_seconds(DEPOT, ["main-level"], *span) == 3 * 3600
        each = records.derived.values_of_each(DEPOT, "strength", *span, TEN)
    assert each == pytest.approx([0.20] * 6 + [0.21] * 6 + [0.22] * 6)


def test_the_last_of_each_stretch_is_that_with_an_interval(tmp_path: Path) -> None:
    """Later ones without an interval, and stretches with none, are left out."""
    minutes = [
        (0, 0.230, True),
        (3, 0.231, True),
        (5, 0.999, False),
        (12, 0.5, False),
        (21, 0.24, True),
    ]
    steps = [
        Step(
            reading(minute * MINUTE),
            (
                derived(
                    minute * MINUTE, value, **({} if known else {"low_95": None, "high_95": None})
                ),
            ),
        )
        for minute, value, known in minutes
    ]
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(steps)
        found = asked(journal).derived.last_of_each(DEPOT, "strength", T0, T0 + HOUR, TEN)
    assert [(one.time - T0, one.value) for one in found] == [
        (3 * MINUTE, 0.231),
        (21 * MINUTE, 0.24),
    ]
