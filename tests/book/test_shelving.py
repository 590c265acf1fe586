"""When a take comes back, and for how long an alarm may be shelved."""

from dataclasses import replace

import pytest

from brineward.alarms.condition import Finding
from brineward.alarms.registry import CATALOGUE
from brineward.book.shelving import comes_back_after, comes_back_at, longest_shelving
from brineward.plant.plan import AlarmSettings
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import Priority
from depots import START

NO_TIME = CATALOGUE["shelter-freezing"]
FIVE_MINUTES = CATALOGUE["closed-valve"]


@pytest.mark.parametrize(
    ("priority", "after"),
    [(Priority.HIGH, 2 * HOUR), (Priority.MEDIUM, 24 * HOUR), (Priority.LOW, 72 * HOUR)],
)
def test_without_a_time_to_respond_it_goes_by_priority(priority: Priority, after: int) -> None:
    """As `life.md` says."""
    assert comes_back_after(NO_TIME, priority) == after


def test_with_one_it_is_four_times_that_and_an_hour_only_where_it_is_not_high() -> None:
    """A pump against a closed valve heats for twenty minutes at most before somebody is asked."""
    assert FIVE_MINUTES.respond_seconds == 300.0
    assert comes_back_after(FIVE_MINUTES, Priority.HIGH) == 20 * MINUTE
    assert comes_back_after(FIVE_MINUTES, Priority.MEDIUM) == HOUR
    slow = replace(FIVE_MINUTES, respond_seconds=3600.0)
    assert comes_back_after(slow, Priority.HIGH) == 4 * HOUR


@pytest.mark.parametrize(
    ("harm", "back"),
    [
        (None, 2 * HOUR),
        (48 * MINUTE, 32 * MINUTE),
        (12 * MINUTE, 10 * MINUTE),  # nobody is there sooner
        (5 * HOUR, 2 * HOUR),
        (0, 2 * HOUR),  # it has come
        (-MINUTE, 2 * HOUR),
    ],
)
def test_it_comes_back_before_its_harm(harm: int | None, back: int) -> None:
    """Taken with 48 minutes left, and not cured: asked again with 16 minutes left."""
    at = None if harm is None else START + harm
    finding = Finding(harm_soon_at=at)
    assert comes_back_at(NO_TIME, Priority.HIGH, finding, START) == START + back
    assert comes_back_at(NO_TIME, Priority.HIGH, None, START) == START + 2 * HOUR
    known = comes_back_at(NO_TIME, Priority.HIGH, finding, START, taken_before=True)
    assert known == START + 2 * HOUR, "who has taken it twice knows"


def test_a_high_alarm_is_shelved_for_no_longer_than_a_take_of_it_lasts() -> None:
    """An hour for a cold shelter, twenty minutes for a pump that heats; the config can only
    shorten it.
    """
    assert longest_shelving(NO_TIME, None, Priority.HIGH) == HOUR
    assert longest_shelving(FIVE_MINUTES, None, Priority.HIGH) == 20 * MINUTE
    assert longest_shelving(FIVE_MINUTES, None, Priority.MEDIUM) == 24 * HOUR
    short, long = (AlarmSettings(shelve_at_most_seconds=x) for x in (300.0, 86_400.0))
    assert longest_shelving(FIVE_MINUTES, short, Priority.HIGH) == 5 * MINUTE
    assert longest_shelving(FIVE_MINUTES, long, Priority.HIGH) == 20 * MINUTE
