"""`brineward replay --change`, and `replay` of a journal."""

import json
from itertools import islice
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinesim.commands.main import main as simulate
from brineward.commands.main import main
from brineward.commands.replay_changes import Difference, Heard, differences
from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority, Step

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


@pytest.fixture(scope="module")
def cold_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Readings of a night in which the heater fails."""
    readings = tmp_path_factory.mktemp("runs") / "cold.csv"
    words = ["write", "heater-failed", "--seed", "1", "--duration", "6 h", "--quiet"]
    assert simulate([*words, "-o", str(readings)]) == 0
    return readings


def compared(
    capsys: pytest.CaptureFixture[str], readings: Path, *changes: str
) -> list[dict[str, object]]:
    words = [word for change in changes for word in ("--change", change)]
    capsys.readouterr()
    assert main(["replay", str(CONFIG), str(readings), *words, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def raised_at(capsys: pytest.CaptureFixture[str], config: Path, readings: Path) -> str:
    """When the shelter's alarm is raised in a plain replay."""
    capsys.readouterr()
    assert main(["replay", str(config), str(readings), "--json"]) == 0
    changes = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    return next(
        c["time"]
        for c in changes
        if (c["alarm"], c["state"]) == ("shelter-freezing", "unacknowledged")
    )


@pytest.mark.parametrize(
    ("change", "how"),
    [
        ("shelter-freezing.limit=12 degC", "earlier"),
        ("shelter-freezing.on_delay=40 min", "later"),
        ("shelter-freezing.enabled=false", "lost"),
    ],
)
def test_it_says_what_another_limit_would_have_been(
    change: str, how: str, cold_night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Earlier, later or lost, at the times at which a config with that setting raises it."""
    (found,) = compared(capsys, cold_night, change)
    assert (found["alarm"], found["source"], found["how"]) == ("shelter-freezing", "shelter", how)
    assert found["raised_before"] == raised_at(capsys, CONFIG, cold_night)
    if how == "lost":
        assert found["raised_after"] is None
        return
    key, value = change.removeprefix("shelter-freezing.").split("=")
    own = tmp_path / "own.toml"
    own.write_text(
        CONFIG.read_text(encoding="utf-8")
        + f'\n[depots.tern-hollow.alarms.shelter-freezing]\n{key} = "{value}"\n',
        encoding="utf-8",
    )
    assert found["raised_after"] == raised_at(capsys, own, cold_night)
    assert (found["by_seconds"] > 0) is (how == "later")  # type: ignore[operator]


@pytest.mark.parametrize(("low", "hows"), [("24.5 %", {"gained"}), ("21.9 %", set())])
def test_the_band_of_the_brine_is_changed_as_a_limit_is(
    low: str, hows: set[str], cold_night: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Brine of 23.3 % is weak in a band that begins at 24.5 %, and in none that ends under it."""
    changes = [f"strength.low={low}", "strength.target=24.7 %"]
    found = compared(capsys, cold_night, *changes)
    assert {one["how"] for one in found if one["alarm"] == "brine-weak"} == hows


def test_for_a_person_it_is_a_table_and_what_differs(
    cold_night: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Counts an alarm, the texts of both runs, and each occurrence that is no longer the same."""
    words = ["replay", str(CONFIG), str(cold_night), "--change", "shelter-freezing.enabled=false"]
    assert main(words) == 0
    said = capsys.readouterr().out.splitlines()
    row = next(line.split() for line in said if line.startswith("shelter-freezing"))
    assert row[1:] == ["1", "0", "0", "1", "0", "0"]
    texts = next(line.split() for line in said if line.startswith("texts due"))
    assert int(texts[2]) > 0 == int(texts[3])
    assert any("shelter-freezing: lost" in line for line in said)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("shelter-freezing", "expected ALARM.KEY=VALUE"),
        ("shelter-freezing.limit=", "expected ALARM.KEY=VALUE"),
        ("shelter-freezing.limit=3 apples", "'apples' is not a unit known here"),
        ("no-such-alarm.limit=3 degC", "is not an alarm known here"),
        ("shelter-freezing.colour=red", "colour"),
    ],
)
def test_a_change_that_is_none_is_refused_with_what_was_expected(
    change: str, said: str, cold_night: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No traceback, nothing is played, exit code 2."""
    assert main(["replay", str(CONFIG), str(cold_night), "--change", change]) == 2
    output = capsys.readouterr()
    assert said in output.err
    assert "replayed" not in output.out


def test_a_journal_is_played_as_the_readings_that_it_holds(
    cold_night: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same alarms at the same times as from the file, also compared with another limit."""
    settings = load_settings(CONFIG)
    engine = Engine(settings.depots)
    kept = tmp_path / "kept.journal"
    with Journal.open(kept) as journal:
        entries = iter(Recording(cold_night, settings.sources))
        while some := [Step(entry, engine.step(entry)) for entry in islice(entries, 500)]:
            journal.commit(some)
    assert raised_at(capsys, CONFIG, kept) == raised_at(capsys, CONFIG, cold_night)
    change = "shelter-freezing.limit=12 degC"
    assert compared(capsys, kept, change) == compared(capsys, cold_night, change)


def test_what_is_no_journal_of_ours_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A database of something else, or a damaged one, is a sentence and exit code 2."""
    other = tmp_path / "other.journal"
    other.write_bytes(b"SQLite format 3\x00" + bytes(200))
    assert main(["replay", str(CONFIG), str(other)]) == 2
    assert str(other) in capsys.readouterr().err


def change(time: int, state: AlarmState) -> AlarmChanged:
    return AlarmChanged(
        time=time,
        depot="d",
        alarm="overflow-ahead",
        source="main",
        number=1,
        before=AlarmState.NORMAL,
        state=state,
        priority=Priority.HIGH,
        value=None,
        limit=None,
        unit="",
        sentence="",
    )


def heard(times: list[int]) -> Heard:
    """Raised and cleared by turns at these times."""
    run = Heard()
    turns = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED)
    for place, time in enumerate(times):
        run.hear([change(time, turns[place % 2])])
    return run


_TIMES = st.lists(st.integers(0, 1000), unique=True).map(sorted)


@given(_TIMES, _TIMES)
def test_every_occurrence_of_both_runs_is_in_it_once(before: list[int], after: list[int]) -> None:
    """None is dropped, none is counted twice, and only what overlaps is taken for the same."""
    found = differences(heard(before), heard(after))
    assert sorted(d.before.raised for d in found if d.before) == before[::2]
    assert sorted(d.after.raised for d in found if d.after) == after[::2]
    for one in found:
        if one.before and one.after:
            assert one.before.raised <= one.after.cleared
            assert one.after.raised <= one.before.cleared


@given(_TIMES)
def test_a_run_against_itself_differs_in_nothing(times: list[int]) -> None:
    """The comparison itself makes no difference."""
    found: list[Difference] = differences(heard(times), heard(times))
    assert {one.how for one in found} <= {"same"}
