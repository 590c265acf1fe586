"""Faults: each truly happens, its truth is kept, and harm that was averted is still known."""

from datetime import datetime
from itertools import pairwise

import numpy as np
import pytest

from brinesim.durations import milliseconds_from_rfc3339


def at(stamp: object) -> float:
    return datetime.fromisoformat(str(stamp)).timestamp()


def test_the_winter_night_has_each_of_its_four_faults_once(winter_night) -> None:
    """Float, heater, closed valve, weak brine: in order, apart from one another, all mended."""
    faults = winter_night.truth["faults"]
    assert [f["alarm"] for f in faults] == [
        "overflow-ahead",
        "shelter-freezing",
        "closed-valve",
        "brine-weak",
    ]
    for earlier, later in pairwise(faults):
        assert at(later["onset"]) - at(earlier["mended"]) > 1800
    assert all(f["wrong_from"] for f in faults)


def test_the_winter_night_is_wrong_only_where_it_says(winter_night) -> None:
    """Before the first fault everything is as it should be, and at the end it is again."""
    first, last = winter_night.chunks[0].columns, winter_night.chunks[-1].columns
    calm = first["time"] < 6000
    assert first["main_level"][calm].max() < 2.25
    assert first["main_strength"][calm].min() > 0.225
    assert last["main_strength"][-1] > 0.22
    assert last["shelter_temperature"][-1] > 8
    assert last["main_level"].max() < 2.25


def test_a_runaway_fill_reaches_the_brim_and_then_the_containment(play) -> None:
    """Harm is the moment at which the level meets the brim; what spills stands in the yard."""
    run = play("runaway-fill", seed=2)
    level, yard = run.column("main_level"), run.column("containment_level")
    assert run.fault()["harm_came"]
    assert max(level) > 2.4
    assert max(yard) > 0.01
    start = run.simulation.scenario.start_ms / 1000
    time = np.array(run.column("time"))
    first = time[int(np.argmax(np.array(level) >= 2.4))]
    assert at(run.fault()["harm"]) - start == pytest.approx(first, abs=0.01)


def test_harm_that_was_averted_is_foretold_from_the_same_depot(play) -> None:
    """A closed valve mended early has the same hour of harm as one that nobody mends."""
    short = {"kind": "pump-against-closed-valve", "at": "2 h", "lasts": "5 min"}
    long = {"kind": "pump-against-closed-valve", "at": "2 h", "lasts": "2 h"}
    averted = play("fault-day", faults=[short]).fault()
    came = play("fault-day", faults=[long]).fault()
    assert (averted["harm_came"], came["harm_came"]) == (False, True)
    assert at(averted["harm"]) == pytest.approx(at(came["harm"]), abs=30)


def test_a_heater_failure_freezes_the_shelter_as_it_is_cold(play) -> None:
    """Colder weather brings the harm sooner; the heater mended, the shelter is warm again."""
    mild = play("heater-failed", weather={"offset_c": 2.0})
    cold = play("heater-failed", weather={"offset_c": -12.0}, duration="10 h")
    assert at(cold.fault()["harm"]) < at(mild.fault()["harm"])
    assert cold.column("shelter_temperature")[-1] > 8


def test_weak_brine_is_wrong_from_when_it_is_weak_not_from_the_valve(play) -> None:
    """The depot is truly wrong when the tank passes 22 %, well after the blend was knocked open."""
    fault = play("weak-brine").fault()
    assert at(fault["wrong_from"]) > at(fault["onset"]) + 600


def test_a_frozen_line_stops_the_flow_and_not_the_pump(play) -> None:
    """The pump turns with the valve open, nothing flows, the casing warms."""
    run = play("line-frozen")
    turning, flow = np.array(run.column("pump_turning")), np.array(run.column("hose_flow"))
    open_ = np.array(run.column("valve_open"))
    shut_in = (turning > 0) & (open_ > 0) & (flow == 0)
    assert shut_in.sum() > 50
    assert np.array(run.column("casing_temperature"))[shut_in].max() > 30


def test_an_empty_tank_in_a_wet_containment_floats_by_archimedes(play) -> None:
    """Harm is when the water outside lifts more than the tank and what is left in it weigh."""
    run = play("tank-empty-in-wet-containment")
    start = run.simulation.scenario.start_ms
    moment = (milliseconds_from_rfc3339(str(run.fault()["harm"])) - start) / 1000
    time = np.array(run.column("time"))
    row = int(np.argmax(time >= moment - 1e-6))
    outside = run.column("containment_level")[row]
    inside = run.column("main_level")[row]
    area = np.pi * 1.2**2
    assert 1000 * area * outside == pytest.approx(300 + 1150 * area * inside, rel=0.01)


def test_the_truth_knows_from_when_to_when_the_containment_is_wet(play) -> None:
    """From the first row of over a centimetre to the first of no more; to the end it has none."""
    run = play("containment-filling")
    start = run.simulation.scenario.start_ms
    ((begins, ends),) = run.truth["wet"]
    time, level = np.array(run.column("time")), np.array(run.column("containment_level"))
    wet = time[level > 0.01]
    assert (milliseconds_from_rfc3339(begins) - start) / 1000 == pytest.approx(wet[0], abs=0.1)
    after = time[(time > wet[-1])][0]
    assert (milliseconds_from_rfc3339(ends) - start) / 1000 == pytest.approx(after, abs=0.1)
    ((_, never),) = play("containment-filling", duration="6 h").truth["wet"]
    assert never is None


def test_a_power_cut_stops_pump_and_heater_and_shows_on_the_outlet(play) -> None:
    """Without mains nothing turns or heats, and the outlet's switch says so."""
    load = {"at": "3 h", "amount_m3": 1.0}
    run = play("power-cut", loads=[load], seed=3)
    power = np.array(run.column("outlet_power"))
    assert (power == 0).any()
    assert np.array(run.column("pump_turning"))[power == 0].max() == 0


def test_silence_and_buffering_differ_in_what_is_lost(play) -> None:
    """A silent gateway loses its hours; a buffering one brings all of them afterwards."""

    def readings(run) -> int:
        return sum(c.arrivals.values.size for c in run.chunks)

    plain, silent = play("fault-day", duration="5 h"), play("gateway-silent")
    buffering = play("gateway-buffering")
    assert readings(buffering) == readings(plain)
    assert readings(silent) < 0.75 * readings(plain)


def test_seeds_draw_onset_and_size_within_what_is_left_open(play) -> None:
    """Onsets wander within 20 minutes, sizes within 30 %, and differ from seed to seed."""
    runs = [play("weak-brine", seed=seed, duration="4 h").fault() for seed in range(8)]
    onsets = {at(f["onset"]) for f in runs}
    sizes = [f["size"] for f in runs]
    assert len(onsets) == 8
    assert max(onsets) - min(onsets) <= 1200
    assert all(0.55 * 0.7 <= s <= 0.55 * 1.3 for s in sizes)


def test_a_load_that_the_tank_cannot_give_is_not_begun(play) -> None:
    """With too little brine nobody starts the pump, and the valve stays shut."""
    run = play(
        "tern-hollow",
        depot={"level_m": 0.3},
        duration="2 h",
        loads=[{"at": "5 min", "amount_m3": 3.0}],
    )
    assert max(run.column("pump_turning")) == 0
    assert max(run.column("valve_open")) == 0


def test_a_storm_night_has_many_loads_and_keeps_its_strength(play) -> None:
    """Trucks draw the tank far down, salt is tipped in, and the brine stays fit."""
    run = play("storm-night")
    turning = np.array(run.column("pump_turning"))
    assert (np.diff(turning) > 0).sum() >= 8
    assert min(run.column("main_level")) < 1.2
    assert min(run.column("main_strength")) > 0.22
    assert run.simulation.salt_added_kg > 1000


def test_a_valve_opened_late_is_kept_as_a_slip(play) -> None:
    """Where people start the pump before the valve, the truth says when."""
    run = play("busy-week", people={"valve_late_share": 1.0}, duration="2 d")
    turning, open_ = np.array(run.column("pump_turning")), np.array(run.column("valve_open"))
    assert len(run.truth["slips"]) > 2
    assert ((turning > 0) & (open_ == 0)).sum() >= len(run.truth["slips"])


def test_salt_that_is_tipped_in_is_recorded_where_people_do(play) -> None:
    """Once for all its buckets, weighed to a few percent; elsewhere nobody writes it down."""
    run = play("salt-used-up", duration="3 h")
    (record,) = [act for act in run.simulation.acts if act["act"] == "record"]
    assert record["fields"]["kind"] == "salt"
    assert record["fields"]["mass_kg"] == pytest.approx(2600.0, rel=0.2)
    assert record["fields"]["mass_kg"] != 2600.0
    silent = play("salt-used-up", duration="3 h", people={"records_salt": False})
    assert [act for act in silent.simulation.acts if act["act"] == "record"] == []


def test_the_truth_says_when_the_pump_began_to_turn(play) -> None:
    """Each rise of its turning, to the second, and as many as there were loads."""
    run = play(
        "tern-hollow",
        duration="3 h",
        loads=[{"at": at, "amount_m3": 0.5} for at in ("20 min", "1 h", "2 h")],
    )
    time, turning = np.array(run.column("time")), np.array(run.column("pump_turning"))
    begins = time[1:][np.diff((turning > 0).astype(int)) > 0]
    start = datetime.fromisoformat(run.truth["start"])
    told = [datetime.fromisoformat(at) - start for at in run.truth["pump_starts"]]
    assert [at.total_seconds() for at in told] == pytest.approx(list(begins), abs=0.001)
    assert len(told) == 3


def test_tests_by_hand_read_near_the_truth(play) -> None:
    """A hydrometer test gives specific gravity at the sample's temperature, with a person's error.

    1.178 at 60/60 degF is 23.3 % (computed, Laliberte density); cold brine reads higher.
    """
    run = play(
        "tern-hollow",
        duration="1 h",
        depot={"strength": 0.233, "brine_temperature_c": 15.6},
        acts=[{"at": "10 min", "act": "test"}],
    )
    (act,) = run.simulation.acts
    assert act["fields"]["scale"] == "60/60 degF"
    assert act["fields"]["specific_gravity"] == pytest.approx(1.178, abs=0.003)
    assert act["fields"]["temperature_c"] == pytest.approx(15.6, abs=1.5)
    cold = play(
        "tern-hollow",
        duration="1 h",
        depot={"strength": 0.233, "brine_temperature_c": 0.0},
        acts=[{"at": "10 min", "act": "test"}],
    )
    assert cold.simulation.acts[0]["fields"]["specific_gravity"] > 1.181
