"""Going on after a restart: what differs from before is said, what merely is gone is not."""

import logging
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.plant.plan import AlarmSettings, DepotPlan
from brineward.readings.entries import Started
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.resume import resumed_engine
from depots import DEPOT, START, plan

OTHER = "kettle-ridge"


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """A journal in which two depots each had a pump against a closed valve, without a state."""
    engine = Engine(_plans(DEPOT, OTHER))
    entries = [Started(time=START, version="1", config_hash="", zone_data="")]
    for second in range(0, 60, 10):
        at = START + second * SECOND
        for depot in (DEPOT, OTHER):
            for sensor, value in (("running", 1.0), ("valve", 0.0)):
                entries.append(Reading(depot, sensor, at, value, at))
    with Journal.open(tmp_path / "a.journal") as opened:
        opened.commit([Step(entry, engine.step(entry)) for entry in entries])
        assert len(opened.alarms_standing()) == 2
        yield opened


def _plans(*depots: str, **changes: object) -> dict[str, DepotPlan]:
    return {depot: replace(plan(), id=depot, **changes) for depot in depots}


def test_the_same_config_goes_on_in_silence(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    """The tail is judged as it was, and the state is the one that the run before had."""
    with caplog.at_level(logging.WARNING):
        resumed = resumed_engine(_plans(DEPOT, OTHER), journal)
    assert caplog.messages == []
    straight = Engine(_plans(DEPOT, OTHER))
    for entry in journal.entries():
        straight.step(entry)
    assert resumed.snapshots() == straight.snapshots()


def test_a_depot_that_left_the_config_is_no_difference(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    """Its entries are passed over; nothing of the other depot's is judged otherwise."""
    with caplog.at_level(logging.WARNING):
        resumed_engine(_plans(DEPOT), journal)
    assert caplog.messages == []


def test_another_judgement_of_the_tail_is_said(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    """A changed delay judges the tail otherwise: said with its count, and what was told stands."""
    slower = {"closed-valve": AlarmSettings(on_delay_seconds=20.0)}
    with caplog.at_level(logging.WARNING):
        resumed_engine(_plans(DEPOT, OTHER, alarms=slower), journal)
    (said,) = caplog.messages
    assert "judged otherwise than when they came; what was told stands" in said


def test_numbers_that_were_told_are_not_given_again(journal: Journal) -> None:
    """What is raised anew gets a new number: under the old one its text would never go out."""
    slower = {"closed-valve": AlarmSettings(on_delay_seconds=70.0)}
    resumed = resumed_engine(_plans(DEPOT, OTHER, alarms=slower), journal)
    before = {text.id for text in journal.texts()}
    for at in range(START + 60 * SECOND, START + 100 * SECOND, 10 * SECOND):
        for sensor, value in (("running", 1.0), ("valve", 0.0)):
            entry = Reading(DEPOT, sensor, at, value, at)
            journal.commit([Step(entry, resumed.step(entry))])
    fresh = [text for text in journal.texts() if text.id not in before]
    assert [(text.number, text.kind) for text in fresh if text.person == "yard"] == [(2, "raised")]


def test_a_state_of_another_version_is_made_anew(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    """After an upgrade the state is built from all that is kept, numbers and all."""
    journal.commit([], states={DEPOT: b'{"version": -1}'})
    with caplog.at_level(logging.WARNING):
        resumed = resumed_engine(_plans(DEPOT), journal)
    assert "judging all kept readings anew" in caplog.text
    straight = Engine(_plans(DEPOT))
    for entry in journal.entries():
        straight.step(entry)
    assert resumed.snapshots() == straight.snapshots()
