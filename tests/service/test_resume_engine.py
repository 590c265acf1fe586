"""Going on after a restart: what differs from before is said, what merely is gone is not."""

import logging
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import orjson
import pytest

from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.by_hand import Remark
from brineward.readings.entries import HandRecord, Started
from brineward.readings.instants import SECOND, instant_from_rfc3339
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.resume import gone_alarms, resumed_engine
from journal.samples import asked
from services import DEPOT, write_config

OTHER = "kettle-ridge"
START = instant_from_rfc3339("2026-01-14T18:00:00Z")
AGAINST_CLOSED_VALVE = (("pump-running", 1.0), ("hose-valve-open", 0.0))

MakePlans = Callable[..., dict[str, DepotPlan]]


@pytest.fixture
def plans(tmp_path: Path) -> MakePlans:
    """Makes plans of depots by their names, with changes."""
    plan = load_settings(write_config(tmp_path, 1)).depots[DEPOT]
    return lambda *depots, **changes: {
        depot: replace(plan, id=depot, **changes) for depot in depots
    }


@pytest.fixture
def journal(tmp_path: Path, plans: MakePlans) -> Iterator[Journal]:
    """A journal in which two depots each had a pump against a closed valve, without a state."""
    engine = Engine(plans(DEPOT, OTHER))
    entries = [Started(time=START, version="1", config_hash="", zone_data="")]
    for second in range(0, 60, 10):
        at = START + second * SECOND
        for depot in (DEPOT, OTHER):
            for sensor, value in AGAINST_CLOSED_VALVE:
                entries.append(Reading(depot, sensor, at, value, at))
    with Journal.open(tmp_path / "a.journal") as opened:
        opened.commit([Step(entry, engine.step(entry)) for entry in entries])
        assert len(asked(opened).alarms.active()) == 2
        yield opened


def test_the_same_config_goes_on_in_silence(
    journal: Journal, plans: MakePlans, caplog: pytest.LogCaptureFixture
) -> None:
    """The tail is judged as it was, and the state is the one that the run before had."""
    with caplog.at_level(logging.WARNING):
        resumed = resumed_engine(plans(DEPOT, OTHER), journal)
    assert caplog.messages == []
    straight = Engine(plans(DEPOT, OTHER))
    for entry in journal.ordering.entries():
        straight.step(entry)
    assert resumed.snapshots() == straight.snapshots()


def test_a_depot_that_left_the_config_is_no_difference(
    journal: Journal, plans: MakePlans, caplog: pytest.LogCaptureFixture
) -> None:
    """Its entries are passed over; nothing of the other depot's is judged otherwise."""
    with caplog.at_level(logging.WARNING):
        resumed_engine(plans(DEPOT), journal)
    assert caplog.messages == []


def test_another_judgement_of_the_tail_is_said(
    journal: Journal, plans: MakePlans, caplog: pytest.LogCaptureFixture
) -> None:
    """A changed delay judges the tail otherwise: said with its count, and what was told stands."""
    slower = {"closed-valve": AlarmSettings(on_delay_seconds=20.0)}
    with caplog.at_level(logging.WARNING):
        resumed_engine(plans(DEPOT, OTHER, alarms=slower), journal)
    (said,) = caplog.messages
    assert "gave other results than when they came; what was announced is unchanged" in said


def test_numbers_that_were_told_are_not_given_again(journal: Journal, plans: MakePlans) -> None:
    """What is raised again gets a new number: under the old one its text would never go out."""
    slower = {"closed-valve": AlarmSettings(on_delay_seconds=70.0)}
    resumed = resumed_engine(plans(DEPOT, OTHER, alarms=slower), journal)
    before = {text.id for text in asked(journal).texts.newest()}
    for at in range(START + 60 * SECOND, START + 100 * SECOND, 10 * SECOND):
        for sensor, value in AGAINST_CLOSED_VALVE:
            entry = Reading(DEPOT, sensor, at, value, at)
            journal.commit([Step(entry, resumed.step(entry))])
    fresh = [text for text in asked(journal).texts.newest() if text.id not in before]
    assert [(text.number, text.kind) for text in fresh if text.person == "yard"] == [(2, "raised")]


def test_a_state_that_can_t_be_read_begins_afresh(
    journal: Journal, plans: MakePlans, caplog: pytest.LogCaptureFixture
) -> None:
    """Said; the alarm that nobody could take any more is closed, and raised under a new number."""
    journal.commit([], states={DEPOT: b'{"version": -1}'})
    at = START + 60 * SECOND
    with caplog.at_level(logging.WARNING):
        resumed = resumed_engine(plans(DEPOT, OTHER), journal)
        gone = list(gone_alarms(resumed, journal, at))
    assert "tern-hollow starts again: its state can't be read" in caplog.text
    assert [(one.depot, one.alarm, one.number) for one in gone] == [(DEPOT, "closed-valve", 1)]
    journal.commit([Step(one, resumed.step(one)) for one in gone])
    for late in range(0, 40, 10):
        for sensor, value in AGAINST_CLOSED_VALVE:
            entry = Reading(DEPOT, sensor, at + late * SECOND, value, at + late * SECOND)
            journal.commit([Step(entry, resumed.step(entry))])
    active = [alarm.change for alarm in asked(journal).alarms.active(DEPOT)]
    assert [(change.alarm, change.number) for change in active] == [("closed-valve", 2)]


def test_records_are_numbered_on_by_a_version_that_did_not_count_them(
    journal: Journal, plans: MakePlans
) -> None:
    """A state without the count: the next record's number is that of the journal's list all the
    same, and each depot's own; also where records came after the state."""
    at = START + 60 * SECOND

    def remark(depot: str, number: int) -> Step:
        said = HandRecord(
            depot=depot, time=at + number, received=at + number, at=at, record=Remark(note="x")
        )
        return Step(said, ())

    engine = resumed_engine(plans(DEPOT, OTHER), journal)
    states = {name: orjson.loads(state) for name, state in engine.snapshots().items()}
    for state in states.values():
        del state["trackers"]["record-count"]
    older = {name: orjson.dumps(state) for name, state in states.items()}
    journal.commit([remark(DEPOT, 1), remark(OTHER, 2), remark(DEPOT, 3)], states=older)
    journal.commit([remark(DEPOT, 4)])
    resumed = resumed_engine(plans(DEPOT, OTHER), journal)
    assert [resumed.plant(depot).records.last for depot in (DEPOT, OTHER)] == [3, 1]
