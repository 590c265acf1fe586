"""A rota's calendar on a real server that fails in every way: what it said last holds."""

import time
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.journal import Journal
from brineward.readings.instants import DAY, HOUR
from brineward.readings.outputs import Step
from brineward.records import Records
from brineward.service import calendar_reading
from brineward.service.calendar_file import calendar_of
from brineward.service.calendar_reading import CalendarReading
from gateways import Answer, Gateway
from reports.made import settings_with

KEY = "s3cr3t-47"
PATIENCE_SECONDS = 1.0
OUTAGES = {
    "an error": Answer(status=500, body=KEY.encode()),
    "not modified, though nobody asked": Answer(status=304, body=b""),
    "moved in a circle": Answer(status=302, headers={"Location": "/rota.ics"}),
    "a page to sign in": Answer(body=b"<html>Sign in</html>"),
    "nothing": Answer(body=b""),
    "a series without an end": Answer(
        body=b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTART:20260105T120000Z\r\n"
        b"DURATION:PT1H\r\nRRULE:FREQ=DAILY;INTERVAL=0\r\nSUMMARY:dispatch\r\nEND:VEVENT\r\n"
        b"END:VCALENDAR\r\n"
    ),
    "a calendar without an end": Answer(body=b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n"),
    "no HTTP": Answer(fault="garbage"),
    "cut off": Answer(fault="cut"),
    "reset": Answer(fault="reset"),
    "silence": Answer(fault="hang"),
    "drops in the headers": Answer(fault="dribble headers"),
    "drops in the body": Answer(fault="dribble body"),
    "no end": Answer(fault="huge"),
}


def shift_of(person: str) -> Answer:
    """A calendar in which somebody is on call from an hour ago."""
    now = MachineClock().now()
    turn = ("tern-hollow", now - HOUR, now + 5 * DAY, "Tern Hollow", person)
    return Answer(body=calendar_of([turn], stamp=now))


def keep(path: Path) -> list[str]:
    """What was posted is committed, as the service does; who is on call by the calendar then."""
    with Journal.open(path) as journal:
        waiting = journal.inbox.waiting()
        journal.commit(
            [Step(entry, ()) for _, entry in waiting], inbox_done=[place for place, _ in waiting]
        )
        return [one.person for one in Records(journal.handle).rota.shifts("tern-hollow")]


@pytest.mark.parametrize("outage", OUTAGES)
def test_what_it_said_last_holds_through_any_outage(
    outage: str, tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also over a restart of the service in the middle; it ends in time, is said without the
    address's key, and is over as soon as the server answers again."""
    monkeypatch.setattr(calendar_reading, "_TIMEOUT_SECONDS", PATIENCE_SECONDS)
    with Gateway() as server:
        address = server.url.replace("/messages", f"/rota.ics?key={KEY}")
        rota = f'\n[depots.tern-hollow.rota]\ncalendar = "{address}"\n'
        settings = settings_with(tmp_path / "a.journal", tmp_path, rota)
        server.usual = shift_of("Yard lead")
        first = CalendarReading(settings, MachineClock())
        assert len(first.read_all()) == 1
        assert keep(settings.journal.path) == ["yard"]
        server.usual = OUTAGES[outage]
        began = time.monotonic()
        assert first.read_all() == []
        after_restart = CalendarReading(settings, MachineClock())
        assert after_restart.read_all() == []
        assert time.monotonic() - began < 2 * (3 * PATIENCE_SECONDS)
        assert keep(settings.journal.path) == ["yard"]
        assert "what was read last still applies" in caplog.text
        assert KEY not in caplog.text
        server.usual = shift_of("Dispatch desk")
        assert len(after_restart.read_all()) == 1
        assert keep(settings.journal.path) == ["dispatch"]
