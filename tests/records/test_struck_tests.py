"""A struck test stays on record as struck, and counts nowhere."""

from dataclasses import replace
from pathlib import Path

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import Entry, HandTest, StruckTest
from brineward.readings.outputs import Step
from brineward.records.acts import EnteredTest
from brineward.service.mode_setting import seen_now
from journal.samples import T0, asked, hand_test
from records.test_made_by_hand import HOUR, batch

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
RIGHT, WRONG = hand_test(2 * HOUR), replace(hand_test(3 * HOUR), mass_fraction=0.2100004)


def struck(test: HandTest, hours: int) -> StruckTest:
    """That it was struck so many hours after T0."""
    time = T0 + hours * HOUR
    return StruckTest(
        depot=test.depot, time=time, received=time, vessel=test.vessel, at=test.at,
        mass_fraction=round(test.mass_fraction, 6), by="dispatch",
    )  # fmt: skip


def kept(tmp_path: Path, *entries: Entry) -> Path:
    """A journal with these entries."""
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(entry, ()) for entry in entries])
    return tmp_path / "a.journal"


def test_it_is_listed_as_struck_whenever_that_was(tmp_path: Path) -> None:
    """Also where the list ends before; entered anew after, also in the same moment, it counts."""
    strike = struck(WRONG, 9)
    again = replace(WRONG, time=strike.time)
    with Journal.open(kept(tmp_path, RIGHT, WRONG, strike, again)) as journal:
        acts = asked(journal).acts
        expected = [EnteredTest(RIGHT, None), EnteredTest(WRONG, strike)]
        assert acts.tests("tern-hollow", T0, T0 + 4 * HOUR) == expected
        assert acts.tests("tern-hollow") == [*expected, EnteredTest(again, None)]
        assert acts.valid_tests("tern-hollow") == [RIGHT, again]
        assert [*acts.between("tern-hollow")] == [RIGHT, WRONG, strike, again]


def test_another_test_is_not_struck(tmp_path: Path) -> None:
    """Of another vessel, moment or strength."""
    others = [
        replace(struck(WRONG, 9), **changes)
        for changes in ({"vessel": "other"}, {"at": RIGHT.at}, {"mass_fraction": 0.22})
    ]
    with Journal.open(kept(tmp_path, RIGHT, WRONG, *others)) as journal:
        assert asked(journal).acts.valid_tests("tern-hollow") == [RIGHT, WRONG]


def test_a_batch_is_tested_by_the_test_that_is_left(tmp_path: Path) -> None:
    """By the wrong one until it is struck; by none where that was all."""
    made = batch(0.2, 1)
    with Journal.open(tmp_path / "a.journal") as journal:
        found = []
        for step in (made, Step(RIGHT, ()), Step(WRONG, ()), Step(struck(WRONG, 4), ())):
            journal.commit([step])
            found.append(asked(journal).made.batches("tern-hollow")[0].tested)
        journal.commit([Step(struck(RIGHT, 5), ())])
        found.append(asked(journal).made.batches("tern-hollow")[0].tested)
    assert found == [None, RIGHT, WRONG, RIGHT, None]


def test_the_first_batch_of_a_season_is_not_tested_by_it(tmp_path: Path) -> None:
    """The season's next step asks for a test that counts."""
    plan = load_settings(EXAMPLE).depots["tern-hollow"]
    with Journal.open(tmp_path / "a.journal") as journal:
        found = []
        for entry in (WRONG, struck(WRONG, 4)):
            journal.commit([Step(entry, ())])
            mode = asked(journal).modes.now("tern-hollow")
            found.append(seen_now(journal, plan, mode, T0 + 5 * HOUR).tested)
    assert found == [True, False]
