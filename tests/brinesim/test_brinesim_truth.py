"""The truth of a run: when salt was wanted, however long the run."""

import numpy as np
import pytest

from brinesim.durations import milliseconds_from_rfc3339
from brinesim.equations import COLUMNS
from brinesim.salt_wanted import salt_wanted
from brinesim.scenario import load_scenario
from brinesim.truth import Truth


def test_when_salt_is_wanted() -> None:
    """Low; under half of its last filling; or, from Friday noon, gone by Monday 06:00 as used."""
    monday, friday = 1768780800000, 1769169600000  # 2026-01-19 and -23, 12:00 in UTC
    hours = [3600.0 * hour for hour in range(48)]
    assert salt_wanted(hours, [1.2] * 48, monday, 0.0) == ([], [])
    low = salt_wanted(hours, [0.6] * 10 + [0.45] * 38, monday, 0.0)
    assert low == ([(36000.0, hours[-1])], [(36000.0, hours[-1])])
    halved = salt_wanted(hours, [0.6] * 5 + [1.3] * 5 + [0.6] * 38, monday, 0.0)
    assert halved == ([], [(36000.0, hours[-1])]), "halved is not low"
    topped = salt_wanted(hours, [1.05] * 5 + [0.51] * 5 + [0.60] * 38, monday, 0.0)
    assert topped.wanted == [(5 * 3600.0, 9 * 3600.0)]
    again = salt_wanted(hours, [1.05] * 5 + [0.51] * 5 + [0.60] * 5 + [0.52] * 33, monday, 0.0)
    assert again.wanted[-1] == (15 * 3600.0, hours[-1]), "9 cm more are no new filling"
    minutes = [300.0 * each for each in range(48)]
    buckets = [0.5, 0.61, 0.72, 0.83, 0.94, 1.05]
    slowly = salt_wanted(minutes, [*buckets, *[0.56] * 42], monday, 0.0)
    assert slowly.wanted == [(6 * 300.0, minutes[-1])], "of 1.05 m, not of the 0.94 m on the way"
    used = [1.0 - 0.01 * hour for hour in range(24)] + [0.76] * 24
    assert salt_wanted(hours, used, monday, 0.0) == ([], [])
    weekend = salt_wanted(hours, used, friday - 86_400_000, 0.0)
    ((begins, _),) = weekend.low
    assert begins == 23 * 3600.0, "in summer time it is noon an hour earlier"
    assert weekend.wanted == weekend.low


def test_a_weekend_is_judged_by_as_long_a_time_before_it() -> None:
    """0.3 m in one night of the last three lasts the next three days; 0.3 m in each doesn't."""
    start = 1768867200000  # 2026-01-20, a Tuesday, 00:00 in UTC
    hours = [3600.0 * hour for hour in range(96)]
    once = [0.9 - 0.03 * min(max(hour - 72, 0), 10) for hour in range(96)]
    assert salt_wanted(hours, once, start, 0.0).low == []
    nightly = [1.5 - 0.03 * sum(one % 24 < 10 for one in range(hour)) for hour in range(96)]
    low = salt_wanted(hours, nightly, start, 0.0).low
    assert [span for span in low if span[0] < 84 * 3600] != []


def test_a_long_run_knows_of_salt_that_was_wanted_for_less_than_an_hour() -> None:
    """The state is kept every hour in it, the bed every five minutes."""
    truth = Truth(load_scenario("season"))
    columns = {name: np.zeros(721) for name in COLUMNS} | {"time": np.arange(0.0, 7201.0, 10.0)}
    low = (columns["time"] > 700) & (columns["time"] < 2000)
    truth.watch(columns | {"salt_level": np.where(low, 0.4, 1.2)})
    table = truth.as_table()
    assert table["series"]["seconds"] == [0.0, 3600.0, 7200.0]
    assert table["series"]["salt_level"] == [1.2, 1.2, 1.2]
    assert table["salt_wanted"] == [["2025-10-15T05:15:00Z", "2025-10-15T05:30:00Z"]]
    assert table["salt_low"] == table["salt_wanted"]


def test_when_brine_was_off_its_band_without_any_fault() -> None:
    """Every five minutes, from a tenth of a percent inside the limit on; on the side it was on."""
    truth = Truth(load_scenario("season"))
    columns = {name: np.zeros(721) for name in COLUMNS} | {"time": np.arange(0.0, 7201.0, 10.0)}
    time = columns["time"]
    strengths = np.select([time < 1500, time < 3300, time < 5100], [0.2215, 0.2205, 0.23], 0.2515)
    truth.watch(columns | {"main_strength": strengths})
    assert truth.as_table()["brine_off"] == {
        "brine-weak": [["2025-10-15T05:25:00Z", "2025-10-15T05:50:00Z"]],
        "brine-strong": [["2025-10-15T06:25:00Z", "2025-10-15T07:00:00Z"]],
        "brine-freezing": [],
    }


def test_when_weak_brine_would_truly_freeze_outdoors() -> None:
    """Brine of 13 % freezes at -9.04 degC, of 23 % below -20 (CRC, in `published/freezing.csv`)."""
    truth = Truth(load_scenario("season"))
    columns = {name: np.zeros(721) for name in COLUMNS} | {"time": np.arange(0.0, 7201.0, 10.0)}
    time = columns["time"]
    outdoors = np.select([time < 1500, time < 3300], [-7.9, -8.2], -12.0)
    strengths = np.where(time < 5100, 0.13, 0.23)
    truth.watch(columns | {"main_strength": strengths, "outdoor_temperature": outdoors})
    assert truth.as_table()["brine_off"]["brine-freezing"] == [
        ["2025-10-15T05:25:00Z", "2025-10-15T06:20:00Z"]
    ]


def test_a_batch_is_made_when_its_fill_has_fallen_to_a_trickle(play) -> None:
    """At a tenth of its flow: what still runs over the weir takes half an hour more."""
    run = play("tern-hollow", duration="3 h", loads=[{"at": "10 min", "amount_m3": 1.5}])
    time, flow = np.array(run.column("time")), np.array(run.column("fill_flow"))
    over = float(time[(time > 600.0) & (flow > 1e-4)][-1])
    topped_up, made = (
        (milliseconds_from_rfc3339(one["end"]) - run.simulation.scenario.start_ms) / 1000
        for one in run.truth["batches"]
    )
    assert topped_up < 600.0, "the tank stands a little under its mark at the start"
    assert 0.0 < made - over <= 10.01


def test_a_fault_that_this_run_does_not_have_is_no_fault(play) -> None:
    """One that begins after the run's end, or befalls a sensor that is not fitted, is not to be
    caught.
    """
    after = {"kind": "heater-failed", "at": "2 h"}
    assert play("tern-hollow", duration="1 h", faults=[after]).fault()["wrong_from"] is None
    dry = {"kind": "probe-dry", "at": "10 min"}
    fitted = play("tern-hollow", duration="30 min", faults=[dry])
    assert fitted.fault()["wrong_from"] == fitted.fault()["onset"]
    bare = {"main-conductivity": {"fitted": False}}
    missing = play("tern-hollow", duration="30 min", faults=[dry], sensors=bare)
    assert missing.fault()["wrong_from"] is None


def test_a_pump_that_was_left_on_for_no_longer_than_a_load_came_to_nothing(play) -> None:
    """The tank holds 70 minutes of it while it is filled: the next crew stops it as after any
    load, or not.
    """
    left = {"kind": "pump-left-on", "at": "30 min"}
    runs = [
        play("tern-hollow", duration="3 h", faults=[left | {"lasts": lasts}]).fault()
        for lasts in ("1 h", "80 min", "3 h")
    ]
    assert [bool(fault["wrong_from"]) for fault in runs] == [False, True, True]
    assert runs[1]["wrong_from"] == runs[1]["onset"]
    crew = [{"at": "45 min", "amount_m3": 1.2}]
    met = play("tern-hollow", duration="3 h", faults=[left | {"lasts": "2 h"}], loads=crew)
    assert met.fault()["wrong_from"] is None, "who came to load switched it off"


def test_brine_that_came_to_its_limit_and_no_further_is_no_fault() -> None:
    """Less than a tenth of a percent off its band: no test by hand could say so."""
    strong = {"kind": "strong-brine", "at": "10 min", "lasts": "30 min"}
    found = []
    for most in (0.2505, 0.2515):
        truth = Truth(load_scenario("tern-hollow", {"faults": [strong]}))
        columns = {name: np.zeros(361) for name in COLUMNS} | {"time": np.arange(0.0, 3601.0, 10.0)}
        truth.watch(columns | {"main_strength": np.where(columns["time"] > 1200, most, 0.24)})
        found.append(truth.as_table()["faults"][0]["wrong_from"])
    assert found[0] is None
    assert found[1] is not None


def test_a_rinsed_line_is_a_fault_from_its_rinsing_on_and_wrong_once_it_is_frozen(play) -> None:
    """A crew that loads before that finds nothing; one that loads once the frost has got into it
    is the first to be called, before the hour that the scenario names.
    """
    frozen = {"kind": "line-frozen", "at": "5 h", "lasts": "15 min", "size": 0.0}
    cold = {"offset_c": -10.0}
    loads = [{"at": at, "amount_m3": 1.2} for at in ("1 h 40 min", "4 h 30 min")]
    run = play("tern-hollow", duration="6 h", faults=[frozen], loads=loads, weather=cold)
    fault, start = run.fault(), run.simulation.scenario.start_ms
    onset, wrong = (
        (milliseconds_from_rfc3339(fault[name]) - start) / 1000 for name in ("onset", "wrong_from")
    )
    assert onset == 2 * 3600
    assert 4.5 * 3600 <= wrong <= 4.5 * 3600 + 60


@pytest.mark.parametrize(("onset", "wrong"), [("20 min", 3600), ("61 min", 3660)])
def test_a_stuck_switch_is_wrong_once_its_valve_moves(play, onset: str, wrong: int) -> None:
    """At shut: from the next flow on. At open, during a load of ten minutes: from its end on."""
    stuck = {"kind": "switch-stuck", "at": onset, "lasts": "2 h"}
    loads = [{"at": "1 h", "amount_m3": 1.9}]
    run = play("tern-hollow", duration="3 h", faults=[stuck], loads=loads)
    began = milliseconds_from_rfc3339(run.fault()["wrong_from"]) - run.simulation.scenario.start_ms
    flows = np.array(run.column("hose_flow")) > 0
    last = float(np.array(run.column("time"))[flows][-1])
    assert began / 1000 >= wrong
    assert (began / 1000 > last) is (onset == "61 min")
