"""The scorecard: verdicts by truth, sums by rank, and a run through the watchman's own replay."""

import json
from pathlib import Path

import pytest

from brinesim.commands.main import main
from brinesim.scoring.card import as_values, card_of, span_text, spread, table
from brinesim.scoring.judging import Judged, judge
from brinesim.scoring.runs import WatchmanError, scored_scenarios, watched_by

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def truth(**changes: object) -> dict[str, object]:
    fault = {
        "kind": "heater-failed",
        "alarm": "shelter-freezing",
        "alarms": ["shelter-freezing", "power-gone"],
        "sensor": "",
        "onset": "2026-01-15T02:00:00Z",
        "wrong_from": "2026-01-15T02:00:00Z",
        "mended": "2026-01-15T05:00:00Z",
        "harm": "2026-01-15T03:30:00Z",
        **changes,
    }
    return {
        "scenario": "heater-failed",
        "start": "2026-01-15T00:00:00Z",
        "end": "2026-01-16T00:00:00Z",
        "faults": [fault],
        "slips": ["2026-01-15T20:00:00Z"],
    }


def alarm(
    hour: str, name: str = "shelter-freezing", state: str = "unacknowledged"
) -> dict[str, str]:
    return {"time": f"2026-01-15T{hour}:00Z", "alarm": name, "state": state}


def test_an_alarm_after_the_onset_is_a_catch() -> None:
    """Delay runs from the truly wrong moment to the first raising, lead from there to the harm."""
    said = [alarm("02:30"), alarm("02:50"), alarm("02:40", state="acknowledged")]
    run = judge(truth(), said, seed=1)
    (catch,) = run.catches
    assert catch.caught
    assert catch.delay_seconds == 1800
    assert catch.lead_seconds == 3600
    assert run.false_alarms == ()


def test_no_alarm_or_the_wrong_one_is_no_catch() -> None:
    """Another alarm during the fault catches nothing, and is counted by itself."""
    run = judge(truth(), [alarm("02:30", "brine-weak")], seed=1)
    assert not run.catches[0].caught
    assert run.catches[0].delay_seconds is None
    assert run.other_alarms == ("brine-weak",)
    assert run.false_alarms == ()


def test_another_alarm_that_says_the_same_is_a_catch() -> None:
    """Some faults can be told by more than one alarm; any of them counts."""
    assert judge(truth(), [alarm("02:30", "power-gone")], seed=1).catches[0].caught


def test_an_alarm_before_the_fault_is_false() -> None:
    """The right alarm an hour early is a false alarm and not a catch."""
    run = judge(truth(), [alarm("01:00")], seed=1)
    assert not run.catches[0].caught
    assert run.false_alarms == ("shelter-freezing",)


def test_an_alarm_after_the_harm_is_late_and_says_so() -> None:
    """The lead is negative where the harm came first."""
    run = judge(truth(), [alarm("04:00")], seed=1)
    assert run.catches[0].lead_seconds == -1800


def test_an_alarm_that_a_slip_explains_is_not_false() -> None:
    """A closed valve just after somebody opened it late is the slip's; later it is false."""
    run = judge(truth(), [alarm("20:01", "closed-valve"), alarm("22:00", "closed-valve")], seed=1)
    assert run.slips_noticed == 1
    assert run.false_alarms == ("closed-valve",)


def test_a_fault_that_never_came_to_anything_is_not_scored() -> None:
    """Where the depot was never truly wrong there is nothing to catch."""
    assert judge(truth(wrong_from=None), [], seed=1).catches == ()


def test_texts_are_counted() -> None:
    """Objects with a person and a body are texts, and no alarms."""
    text = {"time": "2026-01-15T02:31:00Z", "person": "yard", "body": "cold"}
    again = {**text, "kind": "again"}
    run = judge(truth(), [text, text, again], seed=1)
    assert (run.texts, run.repeats) == (2, 1)


def test_spread_is_by_rank() -> None:
    """Of a hundred values the 95 % one is the 95th: no interpolation, no fit."""
    found = spread([float(i) for i in range(1, 101)])
    assert found is not None
    assert (found.least, found.median, found.ninety_five_percent, found.most) == (1, 50, 95, 100)
    assert spread([]) is None


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (3, "3 s"),
        (99, "99 s"),
        (180, "3 min"),
        (-720, "-12 min"),
        (7200, "2.0 h"),
        (259_200, "3.0 d"),
    ],
)
def test_spans_are_read_at_a_glance(seconds: float, text: str) -> None:
    """Seconds, minutes, hours, days, as fits."""
    assert span_text(seconds) == text


def quiet(alarms: tuple[str, ...], texts: int) -> Judged:
    return Judged(
        scenario="quiet-week",
        seed=1,
        days=7.0,
        catches=(),
        false_alarms=alarms,
        other_alarms=(),
        slips_noticed=0,
        texts=texts,
        repeats=0,
    )


def test_false_alarms_are_counted_by_the_month() -> None:
    """Two in two quiet weeks are 4.3 a depot-month of 30 days; texts are by the week."""
    card = card_of([quiet(("brine-weak",), 3), quiet(("brine-weak",), 1)], config="c", sensors=())
    assert card.false_per_month == pytest.approx(30 * 2 / 14)
    assert card.texts_per_week == pytest.approx(2.0)
    assert card.false_alarms == {"brine-weak": 2}
    assert "4.29 false alarms a depot-month" in table(card)
    assert as_values(card, [])["false_per_month"] == pytest.approx(30 * 2 / 14)


def test_the_sensors_scored_are_those_of_the_config(tmp_path: Path) -> None:
    """The config's first depot and its sensors are taken; a file without one is refused."""
    watched = watched_by(CONFIG)
    assert watched.depot == "tern-hollow"
    assert len(watched.sensors) == 14
    small = watched_by(CONFIG.with_name("smallest.toml"))
    assert small.sensors == ("main-level", "main-conductivity", "main-temperature")
    with pytest.raises(WatchmanError, match="no depot"):
        watched_by(CONFIG, "elsewhere")
    with pytest.raises(WatchmanError, match=r"none\.toml"):
        watched_by(tmp_path / "none.toml")


def test_every_single_fault_with_an_alarm_is_scored() -> None:
    """The default list has every fault that a recording can show, and weeks without one."""
    names = scored_scenarios()
    assert {"weak-brine", "runaway-fill", "heater-failed", "closed-valve", "quiet-week"} <= set(
        names
    )
    assert "clock-wrong" not in names
    assert "winter-night" not in names, "more than one fault"


def test_a_score_is_the_same_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two seeds of a failed heater, through the real replay: caught, and the same numbers again."""
    told = []
    for name in ("one", "two"):
        card, picture = tmp_path / f"{name}.json", tmp_path / f"{name}.png"
        words = ["score", str(CONFIG), "heater-failed", "--seeds", "2", "--json", str(card)]
        assert main([*words, "--plot", str(picture)]) == 0
        told.append((card.read_text(), capsys.readouterr().out))
        assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert told[0] == told[1]
    values = json.loads(told[0][0])
    assert values["runs"] == 2
    assert values["rows"][0]["caught"] == 2
    assert values["rows"][0]["before_harm"] == 2


def test_a_watchman_that_fails_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A config that the watchman refuses ends the score with its own words, not with a score."""
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('[depots.tern-hollow]\nname = "x"\n[depots.tern-hollow.sensors.main-level]\n')
    assert main(["score", str(wrong), "air-lock", "--seeds", "1"]) == 1
    assert "ended with" in capsys.readouterr().err
