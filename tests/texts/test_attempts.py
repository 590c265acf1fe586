"""The decisions of the outbox follower, as properties of a pure function."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.readings.instants import HOUR, MINUTE, SECOND
from brineward.readings.outputs import Priority
from brineward.texts.attempts import (
    FEWEST_ATTEMPTS,
    LONGEST_ASKED_SECONDS,
    LONGEST_WAIT_SECONDS,
    Accepted,
    Again,
    Dead,
    Failed,
    NeverAccepted,
    backoff_seconds,
    decide,
    is_due,
    ready,
    seconds_until_next,
)
from outboxes import NOW, Text

TEXTS = st.builds(
    Text,
    id=st.text("ab1", min_size=1, max_size=4),
    number=st.integers(0, 2),
    person=st.sampled_from(["yard", "dispatch"]),
    priority=st.sampled_from(Priority),
    created=st.integers(NOW - HOUR, NOW),
    next_attempt=st.integers(NOW - HOUR, NOW + 2 * HOUR),
    attempts=st.integers(0, 3),
)
JITTERS = st.floats(0.5, 1.0).map(lambda part: lambda seconds: seconds * part)
ASKED = st.none() | st.floats(0, 1e12)
GIVE_UP = 1800.0


@given(TEXTS, st.integers(1, 10**6), st.integers(-HOUR, 3 * HOUR), JITTERS, ASKED)
def test_a_failed_text_is_tried_again_in_bounded_time_or_dead(
    text: Text, attempts: int, age: int, jitter: object, asked: float | None
) -> None:
    """Never lost, never at once, never later than the longest wait, dead only after its time."""
    now = text.created + age
    outcome = Failed(why="busy", asked_seconds=asked)
    decision = decide(
        outcome,
        text=text,
        attempts=attempts,
        now=now,
        give_up_after_seconds=GIVE_UP,
        jitter=jitter,
    )
    too_old = age >= GIVE_UP * SECOND
    assert isinstance(decision, Dead) == (too_old and attempts >= FEWEST_ATTEMPTS)
    if isinstance(decision, Again):
        longest = max(LONGEST_WAIT_SECONDS[text.priority], LONGEST_ASKED_SECONDS)
        assert now < decision.at <= now + longest * SECOND
        assert too_old or decision.at <= text.created + GIVE_UP * SECOND


@given(TEXTS, st.integers(1, 50), st.integers(0, 10 * HOUR))
def test_what_is_settled_stays_settled(text: Text, attempts: int, age: int) -> None:
    """Accepted is accepted however late; refused is dead at the first attempt."""
    for outcome, expected in (
        (Accepted(receipt="r"), Accepted(receipt="r")),
        (NeverAccepted(why="no such number"), Dead(why="no such number")),
    ):
        assert expected == decide(
            outcome,
            text=text,
            attempts=attempts,
            now=text.created + age,
            give_up_after_seconds=GIVE_UP,
            jitter=float,
        )


def test_waits_double_up_to_the_longest() -> None:
    """5, 10, 20, 40 s, then a minute for a high priority and five for a low one."""
    high = [backoff_seconds(attempts, Priority.HIGH) for attempts in range(1, 7)]
    assert high == [5, 10, 20, 40, 60, 60]
    low = [backoff_seconds(attempts, Priority.LOW) for attempts in range(1, 9)]
    assert low == [5, 10, 20, 40, 80, 160, 300, 300]
    assert backoff_seconds(10**9, Priority.LOW) == 300


@pytest.mark.parametrize(("asked", "waits"), [(2.0, 5.0), (30.0, 30.0), (86_400.0, 600.0)])
def test_a_gateway_that_asks_for_patience_gets_it_within_reason(asked: float, waits: float) -> None:
    """A Retry-After longer than the back-off counts, up to ten minutes."""
    decision = decide(
        Failed(why="429", asked_seconds=asked),
        text=Text(),
        attempts=1,
        now=NOW,
        give_up_after_seconds=GIVE_UP,
        jitter=float,
    )
    assert decision == Again(at=NOW + round(waits * SECOND), why="429")


def test_a_text_of_a_long_outage_gets_its_fewest_attempts() -> None:
    """The service was down for hours: one hiccup of the gateway must not kill what waited."""
    old = Text(created=NOW - 5 * HOUR)
    decisions = [
        decide(
            Failed(why="busy"),
            text=old,
            attempts=attempts,
            now=NOW,
            give_up_after_seconds=GIVE_UP,
            jitter=float,
        )
        for attempts in (1, 2, 3)
    ]
    assert [type(decision) for decision in decisions] == [Again, Again, Dead]
    assert "after 3 attempts" in decisions[-1].why
    assert "busy" in decisions[-1].why


@given(st.lists(TEXTS, max_size=12, unique_by=lambda text: text.id))
def test_ready_texts_are_in_order_and_none_is_forgotten(texts: list[Text]) -> None:
    """High first; about one alarm to one person only the oldest; every due oldest is there."""
    found = ready(texts, NOW)
    order = [Priority.HIGH, Priority.MEDIUM, Priority.LOW]
    ranks = [order.index(text.priority) for text in found]
    assert ranks == sorted(ranks)
    for text in texts:
        rivals = [
            other
            for other in texts
            if (other.person, other.depot, other.number) == (text.person, text.depot, text.number)
        ]
        oldest = min(rivals, key=lambda other: (other.created, other.id))
        assert (text in found) == (text is oldest and is_due(text, NOW))


def test_cleared_waits_for_raised_but_another_alarm_does_not() -> None:
    """A phone never says "cleared" of something it has not heard of; other alarms go ahead."""
    raised = Text(id="r", attempts=1, next_attempt=NOW + MINUTE)
    cleared = Text(id="o", kind="cleared", created=NOW + 1)
    other = Text(id="x", number=13, created=NOW + 2)
    somebody = Text(id="s", person="dispatch", kind="cleared", created=NOW + 3)
    assert ready([cleared, other, raised, somebody], NOW + 5) == [other, somebody]
    assert ready([cleared, raised], NOW + MINUTE) == [raised]
    assert seconds_until_next([cleared, other, raised], NOW + 5) == pytest.approx(59.995)
    assert seconds_until_next([cleared], NOW + 5) is None


def test_a_clock_that_was_put_back_does_not_hold_texts_for_hours() -> None:
    """A next attempt further ahead than any wait is long is due now."""
    assert is_due(Text(attempts=1, next_attempt=NOW + 20 * 365 * 24 * HOUR), NOW)
    assert is_due(Text(attempts=1, next_attempt=NOW), NOW)
    assert not is_due(Text(attempts=1, next_attempt=NOW + 10 * MINUTE), NOW)


def test_a_text_that_was_never_tried_waits_for_no_clock() -> None:
    """Written a minute ago by a clock that has been set back by a minute and a half since: it is
    due, and does not wait until the clock has come to where it was."""
    assert is_due(Text(created=NOW + 30 * SECOND, next_attempt=NOW + 30 * SECOND), NOW)
