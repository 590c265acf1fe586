"""A tank that empties fast while its pump is said to be stopped, scripted through the engine."""

from dataclasses import replace

import pytest

from alarms.test_leaks import leaking, quick
from brineward.alarms.registry import CATALOGUE
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from depots import DEPOT
from engine.scripted import Change, Script, World, text_of, with_sensor, within

TANK = "tank-leak"
AT = 3000
PUMP = 3.6 * 3600
"""L/h of the pump's own."""


def falling(litres_per_hour: float, *, seed: int = 1, its: DepotPlan | None = None) -> Script:
    """A full tank at rest for fifty minutes, and then this."""
    script = Script(its or quick(), seed=seed, world=leaking(0.0, level=2.19))
    return script.at(AT, extra=-litres_per_hour / 3.6e6)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("share", [0.65, 0.8, 1.0, 1.15])
def test_a_tank_that_empties_as_by_its_pump_is_told_within_ten_minutes(
    share: float, seed: int
) -> None:
    """Grave; as a question, with what is safe whether the pump runs or not; and once."""
    script = falling(share * PUMP, seed=seed).run(AT + 1500)
    [raised] = script.raised(TANK)
    assert raised < AT + 600
    found = script.changes(TANK)[0]
    assert found.priority is Priority.HIGH
    assert found.value == pytest.approx(share * PUMP / 1000, rel=0.05)
    text = text_of(script.texts("raised", "yard")[0])
    assert "ain tank empties as if its pump ran" in text
    assert "Pump off (PANEL), THEN shut valve" in text
    assert "does pump run though its switch says that it is stopped" in found.sentence


def test_a_float_that_opens_meanwhile_changes_nothing() -> None:
    """The tank falls by the pump's flow less the fill's, once the level is under the mark."""
    script = falling(PUMP).at(AT + 100, fill=0.9e-3).run(AT + 900)
    assert within(script.raised(TANK), AT, AT + 600)
    assert "as if its pump ran" in script.changes(TANK)[0].sentence


@pytest.mark.parametrize("litres_per_hour", [3000.0, 2.0 * PUMP])
def test_what_is_not_like_the_pump_leaks(litres_per_hour: float) -> None:
    """Told as soon, in the words for a leak."""
    script = falling(litres_per_hour).run(AT + 900)
    assert within(script.raised(TANK), AT, AT + 600)
    assert "ank or pipe leaks" in script.changes(TANK)[0].sentence


def test_it_clears_once_the_level_rests() -> None:
    """Ten minutes later, and it is not raised again."""
    script = falling(PUMP).at(AT + 1200, extra=0.0).run(AT + 3 * 3600)
    assert within(script.cleared(TANK), AT + 1200, AT + 1200 + 900)
    assert len(script.raised(TANK)) == 1


def test_a_restart_in_between_changes_nothing() -> None:
    """What was seen of its fall is remembered."""
    plain = falling(PUMP).run(AT + 900)
    again = falling(PUMP).at(AT + 200, lambda _: again.restart())
    assert again.run(AT + 900).raised(TANK) == plain.raised(TANK) != []


# -- what is none


def loads(after: float = 0.0, **values: object) -> Script:
    """Two loads of ten minutes by the pump, whose switch says so after a while."""
    script = Script(quick(), world=leaking(0.0, level=2.3, open=1.0))
    for start in (AT, AT + 2400):
        said: Change = lambda world: world.says.pop("running")  # noqa: E731
        script.at(start, lambda world: world.says.update(running=0.0), running=1.0)
        script.at(start + after, said)
        script.at(start + 600, running=0.0)
    return script.run(AT + 6000)


@pytest.mark.parametrize("late", [0, 20, 60, 150])
def test_a_load_is_none_though_its_switch_reports_late(late: int) -> None:
    """Up to two minutes and a half."""
    assert loads(late).raised(TANK) == []


def test_a_switch_that_is_not_heard_while_a_load_runs_convicts_none() -> None:
    """For nine minutes, and its silence is not named for half an hour: the load began in it."""
    its = with_sensor(quick(), "running", every_seconds=60.0, silent_after_seconds=1830.0)
    script = Script(its, world=leaking(0.0, level=2.3, open=1.0))
    script.at(AT, lambda world: world.silent.add("running"), running=1.0)
    script.at(AT + 540, lambda world: world.silent.discard("running"))
    script.at(AT + 610, running=0.0)
    assert script.run(AT + 2400).raised(TANK) == []


def test_a_switch_that_reports_every_ten_minutes_convicts_no_load() -> None:
    """A load of nine minutes lies between two of its reports: nothing shows that the pump ran."""
    its = with_sensor(quick(), "running", every_seconds=600.0, silent_after_seconds=1830.0)
    its = with_sensor(its, "running", on_change=False)
    script = Script(its, world=leaking(0.0, level=2.3, open=1.0))
    # Its place in the plan says when in its ten minutes it reports.
    start = AT - AT % 600 + 605
    script.at(start, running=1.0).at(start + 540, running=0.0)
    assert script.run(AT + 2400).raised(TANK) == []


def test_waves_after_a_load_and_a_sensor_that_is_moved_are_none() -> None:
    """Half a metre of waves that die down in five minutes; a sensor that is hung 30 cm lower, and
    one that creeps from end to end of its plus-or-minus in ten minutes.
    """
    script = Script(quick(), world=leaking(0.0, level=2.0))

    def shakes(world: World) -> None:
        gone = world.seconds - AT
        wave = 0.25 * 0.5 ** (gone / 60) if 0 <= gone < 900 else 0.0
        moved = 0.3 if gone > 3600 else 0.0
        creeps = 0.006 * min(1.0, max(0.0, (gone - 7200) / 600))
        up = 1 if world.seconds % 40 < 20 else -1
        world.says["level"] = 2.0 + up * wave - moved - creeps

    script.world.every_second.append(shakes)
    assert script.run(AT + 9000).raised(TANK) == []


def test_a_tank_being_drained_is_none() -> None:
    """Its people say so."""
    script = falling(PUMP)
    script.step(
        ModeSet(depot=DEPOT, time=script.time, received=script.time, mode=Mode.DRAINING, by="yard")
    )
    assert script.run(AT + 1200).raised(TANK) == []
    assert Mode.DRAINING in CATALOGUE[TANK].quiet_in


def test_without_a_switch_on_the_pump_a_load_is_none() -> None:
    """Nobody could tell the two apart."""
    its = quick()
    fewer = replace(its, sensors={n: one for n, one in its.sensors.items() if n != "running"})
    assert falling(PUMP, its=fewer).run(AT + 900).raised(TANK) == []
