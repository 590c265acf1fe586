"""A batch that nobody tests is asked about once, after its time; a test in time keeps it quiet."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan
from brineward.readings.entries import HandTest, ModeSet, StruckTest
from brineward.readings.instants import HOUR, SECOND
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmState
from depots import DEPOT, START, by_hand
from engine.scripted import AREA_M2, Script, World, text_of, with_sensors
from plant.test_hopper_salt import with_hopper

ALARM = "batch-untested"
WITHIN = 2 * 3600
FLOW = 3e-3
OFF_DELAY = 60
SLACK = 420
"""A minute of the alarm's own, and what the level needs to show that a fill is over."""


def depot(whole: DepotPlan | None = None) -> DepotPlan:
    """Tern Hollow, asked about after two hours."""
    its = whole or with_sensors("level", "cond", "temp")
    wanted = {name: one for name, one in its.sensors.items() if name not in ("running", "valve")}
    return replace(its, sensors=wanted, test_batches_within_seconds=float(WITHIN))


def filled(script: Script, at: float, metres: float) -> float:
    """Fill it by so much from then on; when that ends."""
    ends = at + metres * AREA_M2 / FLOW
    script.at(at, extra=FLOW).at(ends, extra=0.0)
    return ends


def somebody_tests(script: Script, seconds: float) -> None:
    """Somebody tests the tank then."""
    script.at(seconds, lambda _: script.step(by_hand(script.time)))


def strike(script: Script, test: HandTest) -> StruckTest:
    """Somebody strikes a test now."""
    return StruckTest(
        depot=DEPOT, time=script.time, received=script.time, vessel="main", at=test.at,
        mass_fraction=test.mass_fraction,
    )  # fmt: skip


def test_a_batch_that_nobody_tests_is_asked_about_once() -> None:
    """Two hours after its end, and no more after that; a test clears it, once its off-delay is
    over."""
    script = Script(depot(), world=World(level=0.9))
    ends = filled(script, 1000, 1.2)
    somebody_tests(script, ends + WITHIN + 3000)
    script.run(ends + 2 * WITHIN)
    (raised,) = script.raised(ALARM, "main")
    assert ends + WITHIN <= raised <= ends + WITHIN + SLACK
    (cleared,) = script.cleared(ALARM, "main")
    assert cleared == pytest.approx(ends + WITHIN + 3000 + OFF_DELAY, abs=2)


@pytest.mark.parametrize("more", [0.0, 0.15], ids=["at once", "after a small batch"])
def test_a_test_that_is_struck_tested_nothing(more: float) -> None:
    """The batch is asked about as if nobody had tested it, together with what was made since."""

    def play(*, tests: bool) -> Script:
        script = Script(depot(), world=World(level=0.9))
        ends = filled(script, 1000, 1.2)
        wrong = by_hand(START + round(ends + 900) * SECOND, 0.21)
        if tests:
            script.at(ends + 900, lambda _: script.step(wrong))
        if more:
            filled(script, ends + 1000, more)
        if tests:
            script.at(ends + 4000, lambda _: script.step(strike(script, wrong)))
        return script.run(ends + 2 * WITHIN)

    struck, plain = (play(tests=tests).raised(ALARM, "main") for tests in (True, False))
    assert struck == plain != []


@pytest.mark.parametrize(("after", "asked"), [(-600.0, True), (1200.0, False)])
def test_only_a_test_of_the_finished_batch_counts(after: float, *, asked: bool) -> None:
    """One before the batch's end tests what was there before."""
    script = Script(depot(), world=World(level=0.9))
    ends = filled(script, 1000, 1.2)
    somebody_tests(script, ends + after)
    script.run(ends + WITHIN + 600)
    assert bool(script.raised(ALARM)) == asked


def test_small_batches_are_asked_about_when_they_add_up() -> None:
    """Half a tank in three pieces, each of them too small."""
    script = Script(depot(), world=World(level=0.7))
    first = filled(script, 1000, 0.4)
    second = filled(script, first + 3600, 0.4)
    script.run(second + 3500)
    assert script.raised(ALARM) == []
    third = filled(script, second + 3600, 0.4)
    script.run(third + WITHIN + 600)
    (raised,) = script.raised(ALARM)
    assert third + WITHIN <= raised <= third + WITHIN + SLACK


def test_a_test_between_leaves_only_what_came_after_it() -> None:
    """Two small batches, a test, and one more: no half tank is untested."""
    script = Script(depot(), world=World(level=0.7))
    second = filled(script, filled(script, 1000, 0.4) + 3600, 0.4)
    somebody_tests(script, second + 1800)
    third = filled(script, second + 3600, 0.4)
    script.run(third + WITHIN + 600)
    assert script.raised(ALARM) == []


def refilled(bed_after: float) -> tuple[Script, float]:
    """A bed that falls from 1.0 m under half and is filled, then a small batch; when that ends."""
    script = Script(depot(with_hopper()), world=World(level=1.2))

    def bed(world: World) -> None:
        fallen = max(0.4, 1.0 - world.seconds / 7200)
        world.says["salt"] = fallen if world.seconds < 9000 else bed_after

    script.world.every_second.append(bed)
    return script, filled(script, 11_000, 0.3)


def test_the_first_batch_after_a_hopper_was_filled_is_asked_about_at_once() -> None:
    """It had fallen under half: another bed may want other settings, so nobody waits two hours."""
    script, ends = refilled(1.0)
    script.run(ends + 1800)
    (raised,) = script.raised(ALARM, "main")
    assert ends <= raised <= ends + 1200
    (said,) = [
        change.sentence
        for change in script.changes()
        if change.alarm == ALARM and change.state is AlarmState.UNACKNOWLEDGED
    ]
    assert "batch not tested, first since the hopper was filled" in said


def test_a_hopper_that_was_not_filled_asks_nothing_of_a_small_batch() -> None:
    """The bed stays as low as it was."""
    script, ends = refilled(0.4)
    script.run(ends + 1800)
    assert script.raised(ALARM) == []


@pytest.mark.parametrize("at", [1500, 2400, 4000, 9000])
def test_a_restart_changes_nothing(at: int) -> None:
    """In the fill, at its end, while it waits, and once it is asked."""

    def play(change: Callable[[Script], None]) -> list[float]:
        script = Script(depot(), world=World(level=0.9))
        ends = filled(script, 1000, 1.2)
        script.at(at, lambda _: change(script))
        somebody_tests(script, ends + WITHIN + 3000)
        return script.run(ends + WITHIN + 4000).raised(ALARM)

    assert play(Script.restart) == play(lambda script: None) != []


def test_a_depot_that_is_laid_up_is_not_asked() -> None:
    """Nobody tests what is left to stand till autumn."""
    script = Script(depot(), world=World(level=0.9))
    ends = filled(script, 1000, 1.2)
    mode = ModeSet(
        depot=DEPOT, time=START + HOUR, received=START + HOUR, mode=Mode.LAID_UP, by="yard"
    )
    script.at(3600, lambda _: script.step(mode))
    script.run(ends + WITHIN + 600)
    assert not any("not tested" in text_of(one) for one in script.texts())
