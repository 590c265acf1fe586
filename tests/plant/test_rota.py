"""Who is on duty follows from the rota and the time alone, through every change of the clocks."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.rota import OwnDay, Rota, Swap, turn_at
from brineward.readings.entries import Shift
from brineward.readings.instants import HOUR, SECOND, Instant, instant_from_rfc3339

CHICAGO = ZoneInfo("America/Chicago")
ZONES = ["America/Chicago", "America/St_Johns", "Europe/Berlin", "Australia/Lord_Howe", "UTC"]
WEEKS = Rota(people=("ann", "bo", "cy"), begins=date(2026, 11, 2), handover_minutes=7 * 60)


def at(written: str) -> Instant:
    """An instant by its RFC 3339 form."""
    return instant_from_rfc3339(written)


def test_turns_of_a_week_from_handover_to_handover() -> None:
    """Ann has the first week, to the minute of its handover; before the first the turns go back."""
    assert WEEKS.on_duty(at("2026-11-02T12:59:59Z"), CHICAGO) == "cy"
    assert WEEKS.on_duty(at("2026-11-02T13:00:00Z"), CHICAGO) == "ann"
    assert WEEKS.on_duty(at("2026-11-09T12:59:59Z"), CHICAGO) == "ann"
    assert WEEKS.on_duty(at("2026-11-09T13:00:00Z"), CHICAGO) == "bo"
    assert WEEKS.next_handover(at("2026-11-05T00:00:00Z"), CHICAGO) == at("2026-11-09T13:00:00Z")


def test_a_swap_holds_over_a_holiday_that_over_a_calendar_and_that_over_the_turns() -> None:
    """Each in its order, and after it all is as it was."""
    noon = at("2026-12-25T18:00:00Z")
    shift = [Shift(begins=noon - 30 * HOUR, ends=noon + 30 * HOUR, person="bo")]
    swap = Swap(begins=date(2026, 12, 24), ends=date(2026, 12, 26), person="cy")
    day = OwnDay(month=12, day=25, person="ann")
    turns = Rota(people=("dee",), begins=date(2026, 1, 1))
    assert turns.on_duty(noon, CHICAGO) == "dee"
    assert turns.on_duty(noon, CHICAGO, shift) == "bo"
    own = Rota(people=("dee",), begins=date(2026, 1, 1), own_days=(day,))
    assert own.on_duty(noon, CHICAGO, shift) == "ann"
    both = Rota(people=("dee",), begins=date(2026, 1, 1), own_days=(day,), swaps=(swap,))
    assert both.on_duty(noon, CHICAGO, shift) == "cy"
    assert own.on_duty(noon + 48 * HOUR, CHICAGO, shift) == "dee"
    assert own.on_duty(at("2027-12-25T18:00:00Z"), CHICAGO) == "ann"


def test_where_nobody_is_on_duty_the_list_is_called_from_its_beginning() -> None:
    """A hole in a calendar is no hole in the calling."""
    rota = Rota(calendar=True, backups=("bo",))
    turn = turn_at(rota, ("ann", "bo"), at("2026-12-25T18:00:00Z"), CHICAGO)
    assert (turn.on_duty, turn.order) == ("", ("bo", "ann"))


def test_whom_the_calendar_names_and_nobody_knows_is_passed_over() -> None:
    """Who has left is not called, and the turns hold instead."""
    noon = at("2026-12-25T18:00:00Z")
    shift = [Shift(begins=noon, ends=noon + HOUR, person="gone")]
    assert turn_at(WEEKS, ("ann", "bo", "cy"), noon, CHICAGO, shift).on_duty in WEEKS.people


def changes_of(zone: ZoneInfo) -> list[datetime]:
    """Every hour from 2020 to 2040 in which the offset of a zone changes, found by zoneinfo."""
    found, hour = [], datetime(2020, 1, 1, tzinfo=UTC)
    step = timedelta(days=1)
    while hour.year < 2040:
        if hour.astimezone(zone).utcoffset() != (hour + step).astimezone(zone).utcoffset():
            found.append(hour)
        hour += step
    return found


@pytest.mark.parametrize("name", ZONES)
@pytest.mark.parametrize("minutes", [0, 90, 120, 150, 180, 7 * 60])
def test_handovers_rise_and_are_one_a_day_through_every_change(name: str, minutes: int) -> None:
    """On the days about each change there is one handover a day, at the time on the wall where
    that exists, and a turn has no gap and no overlap there."""
    zone = ZoneInfo(name)
    rota = Rota(people=("ann", "bo"), every="day", handover_minutes=minutes)
    for change in changes_of(zone):
        days = [change.astimezone(zone).date() + timedelta(days=n) for n in range(-2, 4)]
        handovers = [rota.handover(day, zone) for day in days]
        for day, one, other in zip(days, handovers, handovers[1:], strict=False):
            assert 22 * HOUR <= other - one <= 26 * HOUR
            assert rota.day_of(one, zone) == day
            assert rota.day_of(other - 1, zone) == day
            assert rota.on_duty(one, zone) != rota.on_duty(one - 1, zone)
            assert rota.next_handover(one, zone) == other
            local = datetime.fromtimestamp(one / SECOND, UTC).astimezone(zone)
            shown = local.hour * 60 + local.minute
            assert shown == minutes or minutes < shown <= minutes + 60


def test_there_are_changes_to_be_right_at() -> None:
    """Two a year where clocks change, none where they don't: the test above is not idle."""
    assert len(changes_of(CHICAGO)) == 40
    assert changes_of(ZoneInfo("UTC")) == []


@given(
    st.integers(at("2020-01-01T00:00:00Z") // SECOND, at("2040-01-01T00:00:00Z") // SECOND),
    st.sampled_from(ZONES),
    st.sampled_from(["week", "day"]),
    st.lists(st.tuples(st.integers(-300, 300), st.integers(1, 200)), max_size=4),
)
def test_the_next_handover_is_the_first_moment_when_it_is_another(
    seconds: int, name: str, every: str, shifts: list[tuple[int, int]]
) -> None:
    """Whatever the calendar: up to the millisecond before it is the same person, then another."""
    zone, now = ZoneInfo(name), seconds * SECOND
    rota = Rota(people=("ann", "bo", "cy"), every="day" if every == "day" else "week")
    calendar = [
        Shift(begins=now + b * HOUR, ends=now + (b + n) * HOUR, person=f"p{i}")
        for i, (b, n) in enumerate(shifts)
    ]
    due = rota.next_handover(now, zone, calendar)
    assert due is not None
    who = rota.on_duty(now, zone, calendar)
    assert now < due
    assert rota.on_duty(due, zone, calendar) != who
    for between in range(now, due, max(1, (due - now) // 50)):
        assert rota.on_duty(between, zone, calendar) == who
    assert rota.on_duty(due - 1, zone, calendar) == who
