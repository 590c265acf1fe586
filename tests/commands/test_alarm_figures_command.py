"""`brineward alarms --figures`, and `--since` and `--until`."""

import json
import re
from itertools import islice
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from brinesim.commands.main import main as simulate
from brineward.commands.main import main
from brineward.commands.span import NoTime, Span, span_of
from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.instants import DAY, HOUR, MINUTE, instant_from_rfc3339
from brineward.readings.outputs import Step
from brineward.records import Records

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
CHICAGO = ZoneInfo("America/Chicago")
NOW = instant_from_rfc3339("2026-01-20T18:00:00Z")


@pytest.fixture(scope="module")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A config whose journal holds a night in which the heater fails."""
    folder = tmp_path_factory.mktemp("night")
    readings = folder / "cold.csv"
    words = ["write", "heater-failed", "--seed", "1", "--duration", "6 h", "--quiet"]
    assert simulate([*words, "-o", str(readings)]) == 0
    own = folder / "own.toml"
    own.write_text(CONFIG.read_text(encoding="utf-8"), encoding="utf-8")
    settings = load_settings(own)
    engine = Engine(settings.depots)
    with Journal.open(settings.journal.path) as journal:
        entries = iter(Recording(readings, settings.sources))
        while some := [Step(entry, engine.step(entry)) for entry in islice(entries, 500)]:
            journal.commit(some)
    return own


def test_the_figures_are_those_of_the_journal(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As JSON: one alarm, high, still active, and to whom it was told how often."""
    words = ["alarms", str(config), "--figures", "--since", "2026-01-21", "--until", "2026-01-22"]
    assert main([*words, "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["figures"]
    assert (found["depot"], found["raised"], found["active_at_end"]) == ("tern-hollow", 1, 1)
    assert found["by_priority"] == {"high": 1, "medium": 0, "low": 0}
    assert found["most_frequent"] == [{"alarm": "shelter-freezing shelter", "raised": 1}]
    with Journal.open(load_settings(config).journal.path, read_only=True) as journal:
        texts = journal.outbox.texts_open(1 << 60, limit=1000)
    told = {p["person"]: p["texts"] for p in found["people"]}
    assert told == {p: sum(t.person == p for t in texts) for p in ("yard", "dispatch")}
    assert min(told.values()) > 0


def test_for_a_person_they_are_said_beside_the_standards(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Few days are said to be few."""
    words = ["alarms", str(config), "--figures", "--since", "2026-01-21", "--until", "2026-01-22"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "Tern Hollow, 0.2 days from 2026-01-21 18:00 to 2026-01-21 23:59\n" in said
    assert "(the journal has no more of the period asked for; averages are over these days)" in said
    assert "too few for the standard" in said
    assert "high: 1, 100 % (the standard: about 5 %)" in said
    assert "Yard lead:" in said
    assert re.search(r"in ten minutes: 0\.\d+ on average \(the standard: 1 is acceptable", said)


def test_a_period_without_readings_has_nothing_on_record(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the first reading zeros would look like a calm month; exit code 1, as whenever
    nothing is found."""
    words = ["alarms", str(config), "--figures", "--since", "2025-12-01", "--until", "2025-12-31"]
    assert main(words) == 1
    said = capsys.readouterr().out
    assert said == (
        "Tern Hollow, 31.0 days from 2025-12-01 00:00: there is nothing on record for this period\n"
    )
    assert main([*words, "--json"]) == 1
    (found,) = json.loads(capsys.readouterr().out)["figures"]
    assert (found["on_record"], found["readings"]) == (False, False)


def test_an_alarm_that_stays_active_is_on_record_without_readings(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """After the last reading it is still shown, and that nothing was read is said."""
    words = ["alarms", str(config), "--figures", "--since", "2026-03-01", "--until", "2026-03-31"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "(there is no reading on record for this period)" in said
    assert "active at the end: 1" in said


def test_a_calm_period_with_readings_is_all_zeros(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An hour before the heater fails: readings came, and nobody was texted."""
    words = ["alarms", str(config), "--figures", "--since", "2026-01-22T00:00:00Z"]
    assert main([*words, "--until", "2026-01-22T00:10:00Z"]) == 0
    calm = capsys.readouterr().out
    assert "raised: 0, 0.00 a day" in calm
    assert "nobody was texted" in calm
    assert "on record" not in calm


def test_days_before_the_first_reading_do_not_count(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A service that began yesterday has no calm month behind it: rates are of what it saw."""
    words = ["alarms", str(config), "--figures", "--until", "2026-01-22", "--json"]
    assert main([*words, "--since", "2025-12-22"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["figures"]
    with Journal.open(load_settings(config).journal.path, read_only=True) as journal:
        first = Records(journal.handle).readings.first("tern-hollow")
    assert instant_from_rfc3339(found["start"]) == first
    days = (instant_from_rfc3339(found["end"]) - first) / DAY
    assert found["raised_a_day"] == pytest.approx(found["raised"] / days)


def test_days_after_the_last_reading_do_not_count(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A month asked for with six hours of readings in it: averages are of these hours."""
    words = ["alarms", str(config), "--figures", "--since", "2026-01-21", "--json"]
    assert main([*words, "--until", "2026-02-20"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["figures"]
    with Journal.open(load_settings(config).journal.path, read_only=True) as journal:
        records = Records(journal.handle)
        last = records.readings.last("tern-hollow", NOW + 300 * DAY)
        before = records.readings.last("tern-hollow", instant_from_rfc3339(found["start"]))
    assert last is not None
    assert before is None
    assert last <= instant_from_rfc3339(found["end"]) <= last + MINUTE
    assert found["days"] == pytest.approx(0.25, abs=0.01)
    assert found["raised_a_day"] == pytest.approx(found["raised"] / found["days"])
    for one in found["people"]:
        assert one["average_in_ten_minutes"] == pytest.approx(one["texts"] / 36, rel=0.05)


def test_a_period_that_is_watched_to_its_end_is_not_said_to_be_cut(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The seconds since the newest reading are no gap."""
    words = ["alarms", str(config), "--figures", "--since", "2026-01-22T00:00:00Z"]
    assert main([*words, "--until", "2026-01-22T02:00:05Z"]) == 0
    assert "no more of the period" not in capsys.readouterr().out


def test_a_time_that_is_none_or_a_journal_that_is_not_there_is_a_sentence(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and what was expected."""
    assert main(["alarms", str(config), "--figures", "--since", "soon"]) == 2
    assert "--since 'soon' is not a time; expected" in capsys.readouterr().err
    other = tmp_path / "other.toml"
    other.write_text(CONFIG.read_text(encoding="utf-8"), encoding="utf-8")
    assert main(["alarms", str(other), "--figures"]) == 2
    assert capsys.readouterr().err.strip()


@pytest.mark.parametrize(
    ("since", "until", "start", "end"),
    [
        ("30 d", None, NOW - 30 * DAY, NOW),
        ("6 h", "1 h", NOW - 6 * HOUR, NOW - HOUR),
        ("2026-01-14", None, instant_from_rfc3339("2026-01-14T06:00:00Z"), NOW),
        # A day that is named as the end is in it; here the clocks go forward in the night.
        (
            "2026-03-07",
            "2026-03-08",
            instant_from_rfc3339("2026-03-07T06:00:00Z"),
            instant_from_rfc3339("2026-03-09T05:00:00Z"),
        ),
        ("2026-01-14T18:00:00Z", None, instant_from_rfc3339("2026-01-14T18:00:00Z"), NOW),
    ],
)
def test_times_are_days_ago_dates_or_instants(
    since: str, until: str | None, start: int, end: int
) -> None:
    """A date is a day of the depot's own zone."""
    assert span_of(since, until, CHICAGO, NOW) == Span(start, end)


@pytest.mark.parametrize(
    ("since", "until"),
    [
        ("9999-12-31", None),
        ("0001-01-01", None),
        ("1e300 d", None),
        ("-3 d", None),
        ("30 mS/cm", None),
        ("", None),
        ("2026-01-14", "2026-01-13"),
        ("2026-02-30", None),
        ("1 h", "6 h"),
    ],
)
def test_other_times_are_refused(since: str, until: str | None) -> None:
    """In a sentence, whatever was written."""
    with pytest.raises(NoTime, match=r"--since|before"):
        span_of(since, until, CHICAGO, NOW)
