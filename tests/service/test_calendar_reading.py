"""A rota's calendar is read, posted when it changed, and kept through outages."""

from pathlib import Path

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import RotaRead
from brineward.readings.instants import DAY, HOUR
from brineward.readings.outputs import Step
from brineward.records import Records
from brineward.service.calendar_file import calendar_of
from brineward.service.calendar_reading import CalendarReading
from depots import START
from reports.made import settings_with

ROTA = """
[depots.tern-hollow.rota]
calendar = "rota.ics"
"""


class At:
    """A clock that shows what it is told to."""

    def __init__(self) -> None:
        self.shows = START

    def now(self) -> int:
        """What it shows."""
        return self.shows


def reading(tmp: Path) -> tuple[CalendarReading, At, Path]:
    """One that reads from a file, its clock, and the file."""
    settings = settings_with(tmp / "a.journal", tmp, ROTA)
    with Journal.open(settings.journal.path):
        pass
    clock = At()
    assert load_settings(settings.file).calendars["tern-hollow"].where == "rota.ics"
    return CalendarReading(settings, clock), clock, tmp / "rota.ics"  # type: ignore[arg-type]


def write(file: Path, person: str, begins: int = START, ends: int = START + 5 * DAY) -> None:
    """A calendar with one shift."""
    turn = ("tern-hollow", begins, ends, "Tern Hollow", person)
    file.write_bytes(calendar_of([turn], stamp=START))


def keep(tmp: Path) -> None:
    """What was posted is committed, as the service does."""
    with Journal.open(tmp / "a.journal") as journal:
        waiting = [entry for _, entry in journal.inbox.waiting()]
        journal.commit([Step(entry, ()) for entry in waiting])


def test_posted_when_it_changed_and_not_otherwise(tmp_path: Path) -> None:
    """Read twice it is posted once; another person is posted again."""
    calendars, clock, file = reading(tmp_path)
    write(file, "Yard lead")
    (first,) = calendars.read_all()
    assert isinstance(first, RotaRead)
    assert [one.person for one in first.shifts] == ["yard"]
    keep(tmp_path)
    clock.shows += HOUR
    assert calendars.read_all() == []
    write(file, "Dispatch desk")
    (second,) = calendars.read_all()
    assert [one.person for one in second.shifts] == ["dispatch"]


def test_what_has_not_changed_is_posted_twice_a_day(tmp_path: Path) -> None:
    """So that everybody knows how old it is; an outage posts nothing."""
    calendars, clock, file = reading(tmp_path)
    write(file, "Yard lead")
    posted = []
    for _ in range(25):
        posted += calendars.read_all()
        keep(tmp_path)
        clock.shows += HOUR
    assert [one.time - START for one in posted] == [0, 12 * HOUR, 24 * HOUR]
    with Journal.open(tmp_path / "a.journal", read_only=True) as journal:
        assert Records(journal.handle).rota.last_read("tern-hollow") == START + 24 * HOUR
    file.unlink()
    clock.shows += DAY
    assert calendars.read_all() == []


def test_through_an_outage_what_it_said_last_holds(tmp_path: Path) -> None:
    """The file is gone, or rubbish: nothing is posted, so that the engine goes on by the last."""
    calendars, clock, file = reading(tmp_path)
    write(file, "Yard lead")
    calendars.read_all()
    keep(tmp_path)
    file.write_bytes(b"<html>sign in</html>")
    clock.shows += HOUR
    assert calendars.read_all() == []
    file.unlink()
    assert calendars.read_all() == []
    write(file, "Yard lead")
    assert calendars.read_all() == []
