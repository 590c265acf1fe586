"""The figures of ISA-18.2 / IEC 62682 from a journal's alarm changes and texts."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from brineward.records.alarm_figures import Figures, alarm_figures, chattered, most_within

RAISED, TAKEN = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
RETURNED, NORMAL = AlarmState.RETURNED_UNACKNOWLEDGED, AlarmState.NORMAL
SHELVED, SUPPRESSED = AlarmState.SHELVED, AlarmState.SUPPRESSED
REMOVED = AlarmState.OUT_OF_SERVICE
START = 1_000 * DAY


def change(
    at: Instant,
    state: AlarmState,
    alarm: str = "overflow-ahead",
    priority: Priority = Priority.HIGH,
) -> AlarmChanged:
    return AlarmChanged(
        time=START + at,
        depot="d",
        alarm=alarm,
        source="main",
        number=1,
        before=NORMAL,
        state=state,
        priority=priority,
        value=None,
        limit=None,
        unit="",
        sentence="",
    )


def course(*turns: tuple[Instant, AlarmState], number: int = 1) -> list[AlarmChanged]:
    """One occurrence's changes, each from the state that the one before it left."""
    found, before = [], NORMAL
    for at, state in turns:
        found.append(replace(change(at, state), before=before, number=number))
        before = state
    return found


def figures(
    changes: Sequence[AlarmChanged],
    texts: Sequence[tuple[str, Instant, int]] = (),
    days: int = 30,
) -> Figures:
    placed = [(person, START + at, number) for person, at, number in texts]
    return alarm_figures(changes, placed, START, START + days * DAY)


def test_an_alarm_is_counted_when_it_is_raised_not_when_it_is_taken_or_told_again() -> None:
    """One occurrence is one, however often its state changes, and each priority has its share."""
    found = figures(
        [
            change(0, RAISED),
            change(MINUTE, TAKEN),
            change(2 * HOUR, RAISED),
            change(3 * HOUR, RETURNED),
            change(4 * HOUR, RAISED, "disk-low", Priority.LOW),
        ]
    )
    assert found.raised == 2
    assert found.by_priority == {Priority.HIGH: 1, Priority.MEDIUM: 0, Priority.LOW: 1}
    assert found.raised_a_day == pytest.approx(2 / 30)
    assert found.most_frequent == [("disk-low main", 1), ("overflow-ahead main", 1)]
    assert found.standing == 1


def test_what_people_do_and_a_cause_that_goes_raise_nothing_anew() -> None:
    """Shelved, unshelved, put out of service and back, held back by its cause and released, each
    within seconds: one occurrence, none of it fleeting or chattering."""
    one = course(
        (0, RAISED),
        (2 * SECOND, SHELVED),
        (5 * SECOND, RAISED),
        (8 * SECOND, SUPPRESSED),
        (11 * SECOND, RAISED),
        (14 * SECOND, REMOVED),
        (17 * SECOND, RAISED),
        (20 * SECOND, TAKEN),
        (HOUR, NORMAL),
    )
    found = figures([*one, *course((2 * HOUR, RAISED), (3 * HOUR, TAKEN), number=2)])
    assert found.raised == 2
    assert found.by_priority[Priority.HIGH] == 2
    assert (found.fleeting, found.chattering) == ({}, {})
    assert (found.standing, found.stale) == (1, ["overflow-ahead main"])


def test_shelving_makes_no_alarm_younger() -> None:
    """What was raised two days before the end and unshelved an hour before it is stale."""
    days = 28 * DAY
    shelved = course((days, RAISED), (29 * DAY, SHELVED), (30 * DAY - HOUR, RAISED))
    assert figures(shelved).stale == ["overflow-ahead main"]
    cleared = course((days, RAISED), (29 * DAY, RETURNED), (30 * DAY - HOUR, RAISED))
    assert figures(cleared).stale == []
    assert (figures(cleared).raised, figures(shelved).raised) == (1, 1)


def test_what_clears_within_seconds_of_its_raising_is_fleeting_once_an_occurrence() -> None:
    """Also where a cause held it back in between; long after its raising it is not, however soon
    after its release."""
    held = course((0, RAISED), (2 * SECOND, SUPPRESSED), (4 * SECOND, RAISED), (8 * SECOND, NORMAL))
    assert figures(held).fleeting == {"overflow-ahead main": 1}
    late = course((0, RAISED), (HOUR, SUPPRESSED), (2 * HOUR, RAISED), (2 * HOUR + 5, NORMAL))
    assert figures(late).fleeting == {}
    again = course((0, RAISED), (5 * SECOND, RETURNED), (HOUR, RAISED), (HOUR + 5, RETURNED))
    assert figures(again).fleeting == {"overflow-ahead main": 1}


def test_what_is_active_for_more_than_a_day_is_stale() -> None:
    """Also what was raised before the stretch; what came back in time is not."""
    before = change(-3 * DAY, RAISED, "probe-drifted", Priority.LOW)
    young = change(29 * DAY + HOUR, RAISED)
    found = figures([before, change(DAY, RAISED, "x"), change(5 * DAY, NORMAL, "x"), young])
    assert found.stale == ["probe-drifted main"]
    assert found.standing == 2
    assert found.raised == 2  # the oldest was raised before the stretch


def test_chatter_and_what_is_fleeting_are_counted_by_alarm() -> None:
    """Three times within a minute, twice; gone within ten seconds, unless its cause hid it."""
    chatter = [
        change(at * SECOND + turn * SECOND * 12, state)
        for at in (0, 25, 50, 3600, 3625, 3650)
        for turn, state in enumerate((RAISED, RETURNED))
    ]
    brief = [change(2 * HOUR, RAISED, "y"), change(2 * HOUR + 9 * SECOND, NORMAL, "y")]
    hidden = [
        change(3 * HOUR, RAISED, "z"),
        change(3 * HOUR + 9 * SECOND, AlarmState.SUPPRESSED, "z"),
    ]
    found = figures([*chatter, *brief, *hidden])
    assert found.chattering == {"overflow-ahead main": 2}
    assert found.fleeting == {"y main": 1}


def test_texts_are_counted_for_each_person() -> None:
    """Eleven in ten minutes are a flood, ten are none; alarms in a shift are counted once each."""
    flood = [("yard", at * MINUTE // 2, 1 + at % 3) for at in range(11)]
    calm = [("dispatch", at * MINUTE // 2, 7) for at in range(10)]
    outside = [("yard", 31 * DAY, 9), ("yard", -MINUTE, 9)]
    dispatch, yard = figures([], [*flood, *calm, *outside]).told
    assert (yard.person, yard.texts, yard.floods, yard.most_in_ten_minutes) == ("yard", 11, 1, 11)
    assert (yard.slots_above, yard.slots, yard.most_in_a_shift) == (1, 30 * 144, 3)
    assert yard.in_ten_minutes == pytest.approx(11 / (30 * 144))
    assert (dispatch.floods, dispatch.most_in_ten_minutes, dispatch.most_in_a_shift) == (0, 10, 1)


def test_a_flood_ends_only_when_it_is_calm_again() -> None:
    """A short pause in it makes no second one; under five in ten minutes do (ISA-18.2)."""
    first = [("yard", at * 30 * SECOND, 1) for at in range(30)]
    soon = [("yard", 18 * MINUTE + at * 30 * SECOND, 1) for at in range(20)]
    later = [("yard", 3 * HOUR + at * 30 * SECOND, 1) for at in range(20)]
    assert figures([], [*first, *soon]).told[0].floods == 1
    assert figures([], [*first, *soon, *later]).told[0].floods == 2


_TIMES = st.lists(st.integers(0, 10 * MINUTE), max_size=60).map(sorted)


@given(_TIMES, st.integers(1, 3 * MINUTE))
def test_the_most_within_a_span_is_that_of_the_fullest_window(times: list[int], span: int) -> None:
    """Against every window looked at by itself."""
    fullest = max((sum(a <= t < a + span for t in times) for a in times), default=0)
    assert most_within(times, span) == fullest


@given(_TIMES)
def test_chatter_never_counts_one_occurrence_twice(times: list[int]) -> None:
    """No more stretches than thirds of what there is; and some where any three are close."""
    close = any(b - a <= MINUTE for a, b in zip(times, times[2:], strict=False))
    assert (chattered(times) > 0) is close
    assert 3 * chattered(times) <= len(times)
