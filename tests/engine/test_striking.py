"""A hydrometer test that was wrong is struck: the engine goes on as if nobody had entered it."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import pytest

from alarms.test_probe_at_rest import Tank, fouling
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.journal.bodies import entry_body, entry_from, entry_kind
from brineward.readings.entries import Entry, HandTest, StruckTest
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmState, Derived, Output, Step
from brineward.service.resume import resumed_engine
from depots import DEPOT, START, brine, by_hand, plan, reading
from engine.test_calibrating import alarms

STRENGTH, COLD_C = 0.228, 5.0


def readings(
    begin: Instant, minutes: int, factor: float, strength: float = STRENGTH
) -> list[Entry]:
    """A standing tank, of which the probe reads `factor` of the truth."""
    read = brine(strength, COLD_C) * factor
    at = (begin - START) // SECOND
    return [
        reading(sensor, second, value)
        for second in range(at, at + minutes * 60, 10)
        for sensor, value in (("level", 1.5), ("temp", COLD_C), ("cond", read))
    ]


def struck(test: HandTest, at: Instant) -> StruckTest:
    """The act that strikes it."""
    return StruckTest(
        depot=DEPOT, time=at, received=at, vessel="main", at=test.at,
        mass_fraction=round(test.mass_fraction, 6), by="dispatch", why="the wrong depot's sample",
    )  # fmt: skip


def run(entries: Sequence[Entry], engine: Engine | None = None) -> tuple[Engine, list[Output]]:
    """The engine that took these, and what followed."""
    engine = engine or Engine({DEPOT: plan()})
    return engine, [output for entry in entries for output in engine.step(entry)]


def restarted(engine: Engine) -> Engine:
    """Another process goes on from its snapshot."""
    again = Engine({DEPOT: plan()})
    assert again.restore(engine.snapshots()) == []
    assert again.snapshots() == engine.snapshots()
    return again


def belief(engine: Engine) -> str:
    """All that a probe has learned, to the last bit; but not what was struck."""
    probe = engine.plant(DEPOT).probes["main"]
    its = probe.calibration
    factor = its.factor_at(START / SECOND + 10 * 86_400, COLD_C, STRENGTH)
    kept, records, lately = probe.snapshot()
    kept.pop("struck")
    return repr((kept, records, lately, its.findings, its.parted, factor, probe.question()))


def strengths(outputs: list[Output]) -> list[Output]:
    """Those of after the last test."""
    return [one for one in outputs if isinstance(one, Derived) and one.time > TESTED[3] + MINUTE]


TESTED = [START + day * DAY + 15 * MINUTE for day in range(4)]
WRONG = by_hand(TESTED[2], 0.251, cleaned=True)
RIGHT = [by_hand(at, STRENGTH + off) for at, off in zip(TESTED, (0, 1e-3, -1e-3, 0), strict=True)]


def days() -> list[list[Entry]]:
    """A quarter of an hour's readings of each of four days."""
    return [readings(at - 15 * MINUTE, 15, 0.98) for at in TESTED]


def played(*, wrong: bool, days_later: int = 0) -> list[Entry]:
    """Each day a test, on the third also a wrong one, struck so many days later."""
    entries: list[Entry] = []
    for number, seen in enumerate(days()):
        entries += [*seen, RIGHT[number]]
        entries += [WRONG] * (wrong and number == 2)
        at = TESTED[number] + MINUTE
        entries += [struck(WRONG, at)] * (wrong and number == 2 + days_later)
    return [*entries, *readings(TESTED[3] + HOUR, 20, 0.98)]


@pytest.mark.parametrize("days_later", [0, 1])
def test_what_is_believed_is_as_if_it_had_never_been_entered(days_later: int) -> None:
    """Struck at once or a day and a test later: the same calibration, the same records, and the
    same strengths from then on."""
    plain, expected = run(played(wrong=False))
    engine, found = run(played(wrong=True, days_later=days_later))
    assert belief(engine) == belief(plain)
    assert strengths(found) == strengths(expected) != []
    [one] = engine.plant(DEPOT).probes["main"].struck
    assert (one.test.at, one.test.mass_fraction) == (WRONG.at, WRONG.mass_fraction)
    assert (one.by, one.why) == ("dispatch", "the wrong depot's sample")


def test_in_any_order_of_entry() -> None:
    """Tests of an hour entered late in any order, the wrong one struck at any moment after."""
    seen = readings(START, 60, 0.98)
    right = [by_hand(START + minute * MINUTE, STRENGTH) for minute in (10, 30, 50)]
    wrong = by_hand(START + 30 * MINUTE, 0.245)
    plain, _ = run([*seen, *right])
    strike = struck(wrong, START + HOUR)
    for order in permutations([*right, wrong, strike]):
        if order.index(strike) > order.index(wrong):
            late = [replace(one, time=START + HOUR, received=START + HOUR) for one in order]
            engine, _ = run([*seen, *late])
            assert belief(engine) == belief(plain)


@pytest.mark.parametrize("early", [True, False], ids=["before its first reading", "after it"])
def test_a_cleaning_that_was_struck_made_no_probe_new(early: bool) -> None:
    """An untested probe's interval widens from its first reading on, or from its last cleaning."""
    seen = readings(START, 15, 0.98)
    cleaned = by_hand(START - MINUTE if early else TESTED[0], STRENGTH, cleaned=True)
    entries = [cleaned, *seen] if early else [*seen, cleaned]
    engine, _ = run([*entries, struck(cleaned, TESTED[0] + MINUTE)])
    plain, _ = run(seen)
    assert belief(engine) == belief(plain)


def test_across_restarts_and_by_the_journal(tmp_path: Path) -> None:
    """Restarted between any two acts, read back from the journal's bodies, or gone through again
    from the journal: the same engine, to the last bit of its snapshot."""
    entries = played(wrong=True, days_later=1)
    straight, outputs = run(entries)
    stopped, found = Engine({DEPOT: plan()}), []
    for entry in entries:
        found += stopped.step(entry_from(entry_kind(entry), entry_body(entry)))
        if isinstance(entry, HandTest | StruckTest):
            stopped = restarted(stopped)
    assert found == outputs
    assert stopped.snapshots() == straight.snapshots()
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit([Step(entry, ()) for entry in entries])
        assert resumed_engine({DEPOT: plan()}, journal).snapshots() == straight.snapshots()


def test_an_alarm_that_it_raised_clears() -> None:
    """An odd test asks for another one; struck, there is nothing left to ask."""
    entries = [one for number, seen in enumerate(days()) for one in (*seen, RIGHT[number])]
    odd = by_hand(TESTED[3] + MINUTE, 0.245)
    engine, found = run([*entries, odd])
    assert ("probe-drifted", AlarmState.UNACKNOWLEDGED) in alarms(found)
    _, found = run([struck(odd, TESTED[3] + 2 * MINUTE)], engine)
    assert ("probe-drifted", AlarmState.RETURNED_UNACKNOWLEDGED) in alarms(found)


def test_an_alarm_that_it_cleared_is_raised_again() -> None:
    """Weak brine, made good by the sample of another tank; struck, it is weak."""
    weak = 0.208
    at = START + 40 * MINUTE
    engine, found = run(readings(START, 40, 1.0, weak))
    assert ("brine-weak", AlarmState.UNACKNOWLEDGED) in alarms(found)
    wrong = by_hand(at, 0.226)
    _, found = run([wrong, *readings(at, 40, 1.0, weak)], engine)
    assert ("brine-weak", AlarmState.RETURNED_UNACKNOWLEDGED) in alarms(found)
    at += 40 * MINUTE
    _, found = run([struck(wrong, at), *readings(at, 40, 1.0, weak)], engine)
    assert ("brine-weak", AlarmState.UNACKNOWLEDGED) in alarms(found)


@pytest.mark.parametrize("marks", [[0.252], [0.215, 0.214]], ids=["strong", "weak"])
def test_what_standing_brine_showed_meanwhile_hardly_moves_the_strength(marks: list[float]) -> None:
    """Wrong tests on one day and the next, a fill, and the strike two days later: the observations
    that were taken with them in mind are kept, and move the strength by little of its uncertainty.
    """

    def play(marks: Sequence[float]) -> Derived:
        tank = Tank(level=lambda hour: 1.5 + 0.4 * min(max(hour - 50, 0), 1))
        wrong = []
        for day, mark in enumerate(marks):
            tank.until(24 + 16 * day)
            wrong.append(by_hand(START + tank.minute * MINUTE, mark))
            tank.engine.step(wrong[-1])
        tank.until(70)
        for one in wrong:
            tank.engine.step(struck(one, START + tank.minute * MINUTE))
        tank.until(80)
        shown = [one for one in tank.outputs if isinstance(one, Derived)]
        return [one for one in shown if one.name == "main-strength"][-1]

    found, plain = play(marks), play([])
    assert plain.standard_uncertainty is not None
    assert abs(found.value - plain.value) < min(3e-4, 0.15 * plain.standard_uncertainty)


def test_a_probe_that_fell_in_standing_brine_is_not_cleared_by_a_strike() -> None:
    """A wrong test that does not fit it explains nothing, nor does its strike: what the test before
    it had shown is no news."""
    tank = Tank(factor=fouling(8)).until(18)
    assert len(tank.raised("probe-drifted")) == 1
    wrong = by_hand(START + tank.minute * MINUTE, 0.259)
    tank.engine.step(wrong)
    tank.until(18.5)
    assert tank.engine.plant(DEPOT).probes["main"].records[-1].finding == "odd"
    at_rest = tank.engine.plant(DEPOT).strengths_at_rest["main"]
    assert at_rest.off_by < 0.0
    tank.engine.step(struck(wrong, START + tank.minute * MINUTE))
    assert at_rest.off_by < 0.0
    tank.until(19)
    assert at_rest.off_by < 0.0
    assert tank.last("probe-drifted") is AlarmState.UNACKNOWLEDGED


def test_what_is_not_there_strikes_nothing() -> None:
    """Another vessel, time or strength, or the same test twice: nothing changes."""
    engine, _ = run(played(wrong=True))
    kept = engine.snapshots()
    strike = struck(WRONG, TESTED[3] + HOUR + 20 * MINUTE - 10 * SECOND)
    others = [{"vessel": "other"}, {"at": RIGHT[2].at + 1}, {"mass_fraction": 0.2}, {}]
    for changes in others:
        again = restarted(engine)
        assert again.step(replace(strike, **changes)) == ()
        assert again.snapshots() == kept


def test_the_right_test_of_the_same_moment_is_learned_and_the_struck_one_stays() -> None:
    """Struck, and entered again as it was: it teaches as at first, and is on record both ways."""
    seen = readings(START, 15, 0.98)
    test = by_hand(START + 10 * MINUTE, STRENGTH)
    plain, _ = run([*seen, test])
    at = START + 15 * MINUTE
    engine, _ = run([*seen, test, struck(test, at), replace(test, time=at + SECOND)])
    assert belief(engine) == belief(plain)
    assert len(engine.plant(DEPOT).probes["main"].struck) == 1
