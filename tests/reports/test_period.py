"""Which stretch a report is about, held against the standard library's calendar and time zones."""

import calendar
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from brineward.reports.period import PeriodKind, between, period_of

ZONES = ("America/Chicago", "Europe/Berlin", "America/St_Johns", "UTC", "Australia/Lord_Howe")


def at_utc(*parts: int) -> int:
    """The instant that these name: year, month, day, hour."""
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)


nows = st.integers(at_utc(2020, 1, 1), at_utc(2040, 1, 1))
zones = st.sampled_from(ZONES).map(ZoneInfo)


def local(instant: int, zone: ZoneInfo) -> datetime:
    """What a clock on the wall shows."""
    return datetime.fromtimestamp(instant / 1000, zone)


@given(nows, zones, st.sampled_from(list(PeriodKind)))
def test_a_period_is_past_and_ends_when_it_should(now, zone, kind):
    """Nothing is reported that has not happened, and all but a season are whole."""
    found = period_of(kind, now, zone)
    assert found.start < found.end <= now
    begins, ends = local(found.start, zone), local(found.end, zone)
    if kind is PeriodKind.NIGHT:
        assert (begins.hour, ends.hour) == (16, 8)
        assert ends.date() - begins.date() == timedelta(days=1)
        assert now - found.end < 26 * 3600 * 1000
    elif kind is PeriodKind.WEEK:
        assert begins.weekday() == ends.weekday() == calendar.MONDAY
        assert ends.date() - begins.date() == timedelta(days=7)
        assert local(now, zone).date() - ends.date() < timedelta(days=7)
    elif kind is PeriodKind.MONTH:
        days = calendar.monthrange(begins.year, begins.month)[1]
        assert begins.day == ends.day == 1
        assert (ends.date() - begins.date()).days == days
    else:
        assert (begins.month, begins.day) == (7, 1)
        assert found.end == now
    if kind is not PeriodKind.NIGHT:
        assert (begins.hour, begins.minute) == (0, 0)


def test_a_night_in_which_clocks_change_has_its_own_length():
    """The night to 8 March 2026 has 15 hours in Chicago, that to 1 November 17 (tz database)."""
    zone = ZoneInfo("America/Chicago")
    for day, hours in (((2026, 3, 8, 18), 15), ((2026, 11, 1, 18), 17)):
        found = period_of(PeriodKind.NIGHT, at_utc(*day), zone)
        assert found.end - found.start == hours * 3600 * 1000


def test_titles_are_what_people_call_it():
    """By the day that it begins on the depot's clock."""
    zone = ZoneInfo("America/Chicago")
    start = at_utc(2026, 1, 15, 4)  # 22:00 on the 14th there
    titles = {kind: between(kind, start, start + 1000, zone).title for kind in PeriodKind}
    assert titles == {
        PeriodKind.NIGHT: "Night of Wed 14 January 2026",
        PeriodKind.WEEK: "Week from Wed 14 January 2026",
        PeriodKind.MONTH: "January 2026",
        PeriodKind.SEASON: "Season 2025-26",
    }
