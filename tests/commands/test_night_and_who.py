"""`brineward night` tells what happened; `brineward who` who is on call."""

import json
from itertools import pairwise
from pathlib import Path

import pytest
from icalendar import Calendar

from brineward.clock import MachineClock
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import RotaRead
from brineward.readings.instants import DAY, HOUR, instant_from_rfc3339, local_from_instant
from brineward.readings.outputs import Step
from brineward.records import Records
from brineward.records.short_texts import more_text, status_text, who_text
from brineward.wording.gsm import septets
from reports.made import RECORDED, play, settings_with

Shown = pytest.CaptureFixture[str]
ROTA = """
[depots.tern-hollow.rota]
people = ["yard", "dispatch"]
from = "2026-11-02"
swaps = [{ from = "2026-12-21", until = "2026-12-28", person = "dispatch" }]
"""


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A config whose journal holds a pump against a closed valve."""
    folder = tmp_path_factory.mktemp("night")
    settings = settings_with(folder / "a.journal", folder, ROTA)
    play(settings, RECORDED / "closed-valve.csv")
    return str(settings.file)


def nights(config: str) -> tuple[str, int]:
    """The evening of the recorded alarm, and when it was raised."""
    settings = load_settings(Path(config))
    with Journal.open(settings.journal.path, read_only=True) as journal:
        first = Records(journal.handle).alarms.history("tern-hollow")[0]
    plan = settings.depots["tern-hollow"]
    return f"{local_from_instant(first.time - 8 * HOUR, plan.zone):%Y-%m-%d}", first.time


def test_the_story_names_alarm_person_and_fate(played: str, capsys: Shown) -> None:
    """In order of time, in sentences."""
    day, _ = nights(played)
    assert main(["night", played, "--date", day]) == 0
    said = capsys.readouterr().out
    assert "Tern Hollow: Night of " in said
    assert "TH1: " in said
    assert "was texted about TH1; not sent yet." in said
    assert "1 alarm" in said
    assert main(["night", played, "--date", day, "--json"]) == 0
    story = json.loads(capsys.readouterr().out)
    times = [line["time"] for line in story["lines"]]
    assert times == sorted(times)
    assert story["alarms"] >= 1
    assert story["texts"] >= 1


def test_a_night_without_readings_is_not_called_quiet(played: str, capsys: Shown) -> None:
    """Silence of the sensors is no news of the plant."""
    assert main(["night", played, "--date", "2020-01-01"]) == 0
    assert "no readings at all" in capsys.readouterr().out
    assert main(["night", played, "--date", "soon"]) == 2
    assert "is not a day" in capsys.readouterr().err


def test_who_is_on_call_at_a_time(played: str, capsys: Shown) -> None:
    """By turn and by swap, until when, and who is next."""
    assert main(["who", played, "--at", "2026-11-03T12:00:00Z"]) == 0
    said = capsys.readouterr().out
    assert "on call is Yard lead until Mon 9 November 07:00, then Dispatch desk." in said
    assert main(["who", played, "--at", "2026-12-25T12:00:00Z", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)
    assert found["on_call"] == "dispatch"
    assert main(["who", played, "--at", "2026-12-25"]) == 0
    assert "on call is Dispatch desk" in capsys.readouterr().out


@pytest.mark.parametrize("said", ["christmas", "2026-13-25T02:00:00Z", "2026-12-25T02:00:00"])
def test_a_time_that_is_none_is_refused_with_what_is_one(
    played: str, capsys: Shown, said: str
) -> None:
    """What was given, and what would have been understood, in plain words."""
    assert main(["who", played, "--at", said]) == 2
    assert capsys.readouterr().err.startswith(f"--at '{said}' is not a time; expected a time ago")


def test_a_calendar_that_cannot_be_written_says_so(
    played: str, tmp_path: Path, capsys: Shown
) -> None:
    """Which file, and why, as a person says it."""
    file = tmp_path / "nowhere" / "out.ics"
    assert main(["who", played, "--ical", str(file)]) == 2
    assert capsys.readouterr().err == f"{file} can't be written: No such file or directory\n"


def test_the_rota_is_written_as_a_calendar(played: str, tmp_path: Path, capsys: Shown) -> None:
    """One event a turn, as an independent library reads it."""
    file = tmp_path / "out.ics"
    assert main(["who", played, "--at", "2026-11-03T12:00:00Z", "--ical", str(file)]) == 0
    capsys.readouterr()
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert str(events[0]["SUMMARY"]) == "On call at Tern Hollow: Yard lead"
    ends = events[0]["DTEND"].dt
    assert int(ends.timestamp() * 1000) == instant_from_rfc3339("2026-11-09T13:00:00Z")
    assert all(one["DTEND"].dt == next_["DTSTART"].dt for one, next_ in pairwise(events))


def test_check_says_the_coming_week(played: str, capsys: Shown) -> None:
    """Whoever sets it up sees at once whether it is what was meant."""
    assert main(["check", played]) == 0
    said = capsys.readouterr().out
    assert "On call in the coming week:" in said
    assert "now" in said


def test_texts_of_a_depot_are_one_segment_with_what_was_asked(played: str) -> None:
    """Status, more and who by the recorded night."""
    settings = load_settings(Path(played))
    plan = settings.depots["tern-hollow"]
    _, raised = nights(played)
    with Journal.open(settings.journal.path, read_only=True) as journal:
        records, now = Records(journal.handle), raised + 60_000
        status = status_text(plan, records, now)
        more, who = more_text(plan, records, 1, now), who_text(plan, records, 1, now)
        on_call = who_text(plan, records, 0, now)

    assert all(septets(one) <= 160 for one in (status, more, who, on_call))
    assert status.startswith("Tern Hollow:")
    assert "gal left" in status
    assert more.startswith("TH1: ")
    assert "Texted: " in who
    assert "on call is" in on_call


@pytest.mark.parametrize(
    ("ago", "said"),
    [
        (None, "calendar has not been read yet"),
        (HOUR, "calendar is being read."),
        (3 * DAY, "CALENDAR was last read 72 h ago: who is on call may be wrong. Ask."),
    ],
)
def test_the_age_of_the_rotas_calendar_is_told(
    tmp_path: Path, capsys: Shown, ago: int | None, said: str
) -> None:
    """Whoever asks for the rota, the status or a check learns whether the calendar is read now."""
    rota = f'{ROTA}calendar = "rota.ics"\n'
    settings = settings_with(tmp_path / "a.journal", tmp_path, rota)
    with Journal.open(settings.journal.path) as journal:
        if ago is not None:
            at = MachineClock().now() - ago
            read = RotaRead(depot="tern-hollow", time=at, received=at, shifts=())
            journal.commit([Step(read, ())])
    for command in ("who", "status", "check"):
        main([command, str(settings.file)])
        assert said in capsys.readouterr().out, command
