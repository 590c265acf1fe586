"""A rota kept in any calendar: RFC 5545's own forms, the depot's clock, and what names nobody."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.rota import Rota
from brineward.readings.instants import (
    DAY,
    HOUR,
    Instant,
    instant_from_rfc3339,
    rfc3339_from_instant,
)
from brineward.service.calendar_file import NoCalendar, calendar_of, shifts_in

NEW_YORK = ZoneInfo("America/New_York")
PEOPLE = {"yard": "Yard lead", "dispatch": "Dispatch desk"}


def ics(*events: str) -> bytes:
    """A calendar of events, each the lines inside it."""
    inside = "\r\n".join(
        f"BEGIN:VEVENT\r\nUID:u{n}\r\nDTSTAMP:20260101T000000Z\r\n{one}\r\nEND:VEVENT"
        for n, one in enumerate(events)
    )
    head = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//EN\r\n"
    return f"{head}{inside}\r\nEND:VCALENDAR\r\n".encode()


def read(raw: bytes, start: str, end: str) -> list[tuple[str, str, str]]:
    """The shifts between two days, in the zone of New York, as RFC 3339 in UTC."""
    from_to = (instant_from_rfc3339(f"{start}T00:00:00Z"), instant_from_rfc3339(f"{end}T00:00:00Z"))
    found, _ = shifts_in(raw, PEOPLE, NEW_YORK, from_to, handover_minutes=7 * 60)
    return [(written(s.begins), written(s.ends), s.person) for s in found]


def written(at: Instant) -> str:
    """Month, day and time in UTC, without its year."""
    return rfc3339_from_instant(at)[5:16]


def test_the_standards_weekly_rule_over_the_change_of_the_clocks() -> None:
    """RFC 5545 section 3.8.5.3: "Weekly for 10 occurrences", DTSTART 1997-09-02 09:00 New York: ten
    Tuesdays to November 4, 9:00 EDT, from October 26 on EST (the same wall clock)."""
    raw = ics(
        "DTSTART;TZID=America/New_York:19970902T090000\r\nDURATION:PT1H\r\n"
        "RRULE:FREQ=WEEKLY;COUNT=10\r\nSUMMARY:Yard lead"
    )
    found = read(raw, "1997-08-01", "1998-08-01")
    assert [begin for begin, _, _ in found] == [
        *(f"09-{d:02}T13:00" for d in (2, 9, 16, 23, 30)),
        *(f"10-{d:02}T13:00" for d in (7, 14, 21)),
        "10-28T14:00",
        "11-04T14:00",
    ]


def test_whole_days_go_from_handover_to_handover() -> None:
    """DTEND of whole days is not included (RFC 5545 3.6.1); the hour is the depot's handover."""
    raw = ics(
        "DTSTART;VALUE=DATE:20260306\r\nDTEND;VALUE=DATE:20260309\r\nSUMMARY:on call dispatch"
    )
    assert read(raw, "2026-03-01", "2026-04-01") == [("03-06T12:00", "03-09T11:00", "dispatch")]


def test_what_is_taken_out_moved_or_cancelled() -> None:
    """EXDATE takes one out, RECURRENCE-ID moves one, STATUS:CANCELLED is none."""
    series = (
        "DTSTART:20260105T120000Z\r\nDTEND:20260106T120000Z\r\nRRULE:FREQ=WEEKLY;COUNT=4\r\n"
        "EXDATE:20260112T120000Z\r\nSUMMARY:yard"
    )
    moved = (
        "RECURRENCE-ID:20260119T120000Z\r\nDTSTART:20260120T120000Z\r\nDTEND:20260121T120000Z\r\n"
        "SUMMARY:Dispatch desk for the yard team"
    )
    gone = "DTSTART:20260107T120000Z\r\nDTEND:20260108T120000Z\r\nSTATUS:CANCELLED\r\nSUMMARY:yard"
    raw = ics(series, moved, gone).replace(b"UID:u1", b"UID:u0")
    assert read(raw, "2026-01-01", "2026-03-01") == [
        ("01-05T12:00", "01-06T12:00", "yard"),
        ("01-20T12:00", "01-21T12:00", "dispatch"),
        ("01-26T12:00", "01-27T12:00", "yard"),
    ]


def test_a_title_that_names_nobody_is_said() -> None:
    """It is no shift, and somebody can be told of it."""
    raw = ics("DTSTART:20260105T120000Z\r\nDTEND:20260106T120000Z\r\nSUMMARY:Dentist")
    start = instant_from_rfc3339("2026-01-01T00:00:00Z")
    span = (start, start + 31 * DAY)
    assert shifts_in(raw, PEOPLE, NEW_YORK, span, handover_minutes=0) == ([], ["Dentist"])


@given(st.binary(max_size=300))
def test_what_is_no_calendar_is_refused_with_a_sentence(raw: bytes) -> None:
    """Whatever a server sends: shifts, or one error of ours."""
    said, found = "", []
    try:
        found, _ = shifts_in(raw, PEOPLE, NEW_YORK, (0, DAY), handover_minutes=0)
    except NoCalendar as why:
        said = str(why)
    assert said or found == []


def test_what_is_far_too_large_is_refused() -> None:
    """No server can fill the memory."""
    with pytest.raises(NoCalendar, match="larger"):
        shifts_in(b"x" * 3_000_000, PEOPLE, NEW_YORK, (0, DAY), handover_minutes=0)


def test_what_is_written_is_read_again_as_the_same_turns() -> None:
    """A rota that goes out as a file comes back in as the same duty, also in the spring."""
    rota = Rota(people=("yard", "dispatch"), every="day", begins=date(2026, 3, 1))
    start = rota.handover(date(2026, 3, 5), NEW_YORK)
    turns, at = [], start
    while at < start + 6 * DAY:
        until = rota.next_handover(at, NEW_YORK) or at
        person = rota.on_duty(at, NEW_YORK)
        turns.append(("tern-hollow", at, until, "Tern Hollow", PEOPLE[person]))
        at = until
    found, unknown = shifts_in(
        calendar_of(turns, stamp=start), PEOPLE, NEW_YORK, (start, at), handover_minutes=0
    )
    assert unknown == []
    bare = Rota(calendar=True)
    for moment in range(start, at, HOUR):
        assert bare.on_duty(moment, NEW_YORK, found) == rota.on_duty(moment, NEW_YORK)


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("FREQ=DAILY;INTERVAL=0", "has INTERVAL=0, expected 1 or more"),
        ("FREQ=WEEKLY;INTERVAL=-1", "has INTERVAL=-1, expected 1 or more"),
        ("FREQ=SECONDLY", "has FREQ=SECONDLY, expected one of HOURLY, DAILY"),
        ("FREQ=MINUTELY;BYMONTH=2;BYMONTHDAY=30", "has FREQ=MINUTELY, expected one of"),
        ("FREQ=HOURLY", "2026-01-05 has more than 2000 events, expected 2000 at most"),
        ("FREQ=DAILY;BYHOUR=6,18;BYMINUTE=1,2,3,4,5,6", "has more than 2000 events"),
        ("FREQ=DAILY;INTERVAL=x", "Expected int"),
    ],
)
def test_a_series_that_never_ends_is_refused_in_time(rule: str, said: str) -> None:
    """One event of a file from outside must neither hold up the watch nor fill its memory."""
    raw = ics(f"DTSTART:20260105T120000Z\r\nDURATION:PT1H\r\nRRULE:{rule}\r\nSUMMARY:yard")
    with pytest.raises(NoCalendar, match=said):
        read(raw, "2026-03-01", "2027-03-01")


def test_many_old_series_are_refused_in_time() -> None:
    """Each is looked through from its beginning: all of them together are bounded."""
    old = "DTSTART:19000105T120000Z\r\nDURATION:PT1H\r\nRRULE:FREQ=DAILY;INTERVAL=1\r\nSUMMARY:yard"
    with pytest.raises(NoCalendar, match="expected 200000 at most since each began"):
        read(ics(*[old] * 20), "2026-03-01", "2026-04-01")


def test_a_daily_shift_that_began_ten_years_ago_is_read() -> None:
    """What lies behind us is no reason to refuse a series."""
    raw = ics("DTSTART:20160105T120000Z\r\nDURATION:PT1H\r\nRRULE:FREQ=DAILY\r\nSUMMARY:yard")
    assert len(read(raw, "2026-03-01", "2026-03-11")) == 10
