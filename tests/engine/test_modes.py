"""What a depot's mode makes quiet, what it judges afresh, and what does not fit it; scripted."""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from brineward.plant.idle_hours import IdleHours
from brineward.readings.entries import ModeSet
from brineward.readings.instants import HOUR
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmState, EpisodeChanged
from depots import DEPOT, START, plan
from engine.scripted import Script, World, text_of, with_sensors

FREEZING = "shelter-freezing"


def set_mode(script: Script, mode: Mode, *, single_batch: bool = False, by: str = "yard") -> None:
    """Somebody sets it, now."""
    entry = ModeSet(
        depot=DEPOT,
        time=script.time,
        received=script.time,
        mode=mode,
        single_batch=single_batch,
        by=by,
    )
    script.step(entry)


def modes_at(script: Script, *sets: tuple[float, Mode]) -> Script:
    """Somebody sets these modes at these seconds."""
    for seconds, mode in sets:
        script.at(seconds, lambda _, mode=mode: set_mode(script, mode))
    return script


def cold() -> Script:
    """A shelter at 1 degC from the start."""
    return Script(with_sensors("shelter"), world=World(shelter=1.0))


def test_entering_a_mode_holds_back_at_once_and_leaving_it_raises_anew() -> None:
    """Laid up at 1000 s, in service at 4000 s: raised again its on-delay later, as a new one."""
    script = modes_at(cold(), (1000, Mode.LAID_UP), (4000, Mode.IN_SERVICE)).run(4400)
    changes = [(c.number, c.state) for c in script.changes(FREEZING)]
    assert changes[0] == (1, AlarmState.UNACKNOWLEDGED)
    assert changes[1] == (1, AlarmState.SUPPRESSED)
    assert script.changes(FREEZING)[1].time == START + 1000_000
    assert changes[2][1] is AlarmState.NORMAL
    assert changes[3:] == [(2, AlarmState.UNACKNOWLEDGED)]
    assert script.raised(FREEZING)[-1] == 4300


def test_what_somebody_had_taken_before_is_no_excuse_after() -> None:
    """Taken, then laid up over the summer: in service it is another occurrence, and is texted."""
    script = cold().take_at(500)
    modes_at(script, (1000, Mode.LAID_UP), (4000, Mode.IN_SERVICE)).run(4400)
    assert script.state(FREEZING) is AlarmState.UNACKNOWLEDGED
    assert [text.number for text in script.texts("raised", "yard")] == [1, 2]


def test_what_becomes_so_in_the_mode_is_told_to_nobody_and_raised_after_it() -> None:
    """It goes on being judged: known as suppressed in the mode, raised when that is over."""
    script = Script(with_sensors("shelter")).at(2000, shelter=1.0)
    modes_at(script, (1000, Mode.LAID_UP), (6000, Mode.IN_SERVICE)).run(5900)
    assert script.state(FREEZING) is AlarmState.SUPPRESSED
    assert script.texts() == []
    assert script.run(6400).raised(FREEZING) == [6300]


def test_nobody_is_called_again_about_what_its_mode_has_made_quiet() -> None:
    """The second on call would have been texted ten minutes after the first."""
    script = modes_at(cold(), (400, Mode.LAID_UP)).run(3000)
    assert [text.person for text in script.texts("raised")] == ["yard"]
    assert script.texts("again") == []


def test_what_its_mode_does_not_make_quiet_is_raised_in_it() -> None:
    """A laid-up tank that runs over runs over."""
    script = modes_at(Script(world=World(level=1.5, extra=2e-3)), (100, Mode.LAID_UP)).run(3000)
    assert script.raised("overflow-ahead")


def test_while_filling_up_a_dead_sensor_is_quiet_and_told_in_service() -> None:
    """Sensors come back one by one; what is still dead when the season begins is announced."""
    script = Script(world=World(silent={"temp"}))
    modes_at(script, (10, Mode.FILLING_UP), (3000, Mode.IN_SERVICE)).run(2990)
    assert script.raised("sensor-silent") == []
    assert script.run(3200).raised("sensor-silent", "temp") == [3060]


def test_on_storm_watch_pumps_may_run_in_idle_hours() -> None:
    """And are announced once it is over, if one still runs."""
    its = with_sensors("running", idle_hours=IdleHours(begin=18 * 60, end=22 * 60))
    script = Script(its, world=World(running=1.0))
    modes_at(script, (1, Mode.STORM_WATCH), (2000, Mode.IN_SERVICE)).run(2100)
    assert script.raised("pump-left-running") == [2000]


# -- what does not fit


def laid_up_filling() -> Script:
    """Laid up at 100 s; from 1000 s water comes in."""
    script = Script(with_sensors("level", duty=replace(plan().duty, replies=True)))
    script.world.level = 0.05
    return modes_at(script, (100, Mode.LAID_UP)).at(1000, extra=0.9e-3)


def test_a_tank_that_fills_while_laid_up_is_asked_about_once() -> None:
    """One text that says what it does and how to set it right; not again after it has stopped."""
    script = laid_up_filling().at(3000, extra=0.0).at(4000, extra=0.9e-3).run(7000)
    (raised,) = script.raised("mode-doubtful")
    assert 1600 < raised < 2000
    (first,) = [o for o in script.texts("raised", "yard") if "set to laid up" in text_of(o)]
    assert "level" not in text_of(first)
    assert "set to laid up, but main tank fills. In service? Reply TH IN SERVICE." in text_of(first)
    assert script.cleared("mode-doubtful")


def test_the_mode_set_right_clears_it() -> None:
    """In service a tank may fill."""
    script = modes_at(laid_up_filling(), (2500, Mode.IN_SERVICE)).run(2900)
    assert script.raised("mode-doubtful")
    assert len(script.cleared("mode-doubtful")) == 1


def test_the_same_mode_said_again_is_not_asked_about_again() -> None:
    """Who says that it is laid up has answered."""
    script = modes_at(laid_up_filling(), (2500, Mode.LAID_UP), (5000, Mode.LAID_UP)).run(6000)
    assert len(script.raised("mode-doubtful")) == 1


@pytest.mark.parametrize(
    ("mode", "asked"),
    [
        (Mode.LAID_UP, True),
        (Mode.STANDING_BY, True),
        (Mode.DRAINING, False),
        (Mode.STORM_WATCH, False),
    ],
)
def test_a_pump_that_runs_where_nobody_loads(mode: Mode, *, asked: bool) -> None:
    """Laid up and standing by; a tank is drained by pump, and a storm is what it is for."""
    script = Script(with_sensors("running")).at(500, running=1.0)
    assert bool(modes_at(script, (100, mode)).run(1500).raised("mode-doubtful")) is asked


def test_a_short_try_of_a_pump_is_not_asked_about() -> None:
    """Two minutes."""
    script = Script(with_sensors("running")).at(500, running=1.0).at(620, running=0.0)
    assert modes_at(script, (100, Mode.LAID_UP)).run(3000).raised("mode-doubtful") == []


# -- liquid when laid up


@pytest.mark.parametrize(("level", "told"), [(0.05, False), (0.09, False), (0.12, True)])
def test_liquid_is_told_an_hour_after_laying_up(level: float, *, told: bool) -> None:
    """More than a drained vessel shows; ten minutes after the hour."""
    script = modes_at(Script(with_sensors("level"), world=World(level=level)), (60, Mode.LAID_UP))
    script.run(4400)
    assert script.raised("liquid-when-laid-up", "main") == ([4260] if told else [])


def test_liquid_is_no_alarm_in_service() -> None:
    """And is cleared by setting another mode."""
    script = modes_at(Script(with_sensors("level")), (60, Mode.LAID_UP), (4400, Mode.IN_SERVICE))
    assert len(script.run(5100).cleared("liquid-when-laid-up")) == 1
    assert Script(with_sensors("level")).run(4400).raised("liquid-when-laid-up") == []


# -- one batch


def refilling(*, single_batch: bool) -> Script:
    """Full at its mark, loaded from, and then filled again with the water still on."""
    script = Script(with_sensors("level", "running"), world=World(level=2.2))
    script.at(100, lambda _: set_mode(script, Mode.IN_SERVICE, single_batch=single_batch))
    return script.at(600, extra=-3.6e-3).at(1000, extra=0.9e-3).at(2400, extra=0.0)


def test_a_refill_after_the_one_batch_is_told() -> None:
    """Once, from where the fill begins; cleared when it is over."""
    script = refilling(single_batch=True).run(3200)
    (raised,) = script.raised("water-left-on")
    assert 1000 < raised < 1400
    assert len(script.cleared("water-left-on")) == 1


def test_where_refills_are_wanted_none_is_told() -> None:
    """The plant's ordinary life."""
    assert refilling(single_batch=False).run(3200).raised("water-left-on") == []


def test_the_batch_itself_is_no_refill() -> None:
    """From nearly empty to its mark, with one pause."""
    script = Script(with_sensors("level"), world=World(level=0.3))
    script.at(10, lambda _: set_mode(script, Mode.FILLING_UP, single_batch=True))
    script.at(100, extra=0.9e-3).at(2000, extra=0.0).at(4000, extra=0.9e-3)
    script.world.every_second.append(lambda w: setattr(w, "extra", 0.0) if w.level > 2.2 else None)
    script.run(12_000)
    assert script.world.level > 2.19
    assert script.raised("water-left-on") == []


# -- what is kept


def stretches(outputs: Iterable[object]) -> list[tuple[str, int, int | None]]:
    """The changes of the mode, in seconds after the start."""
    return [
        (
            o.source,
            (o.began - START) // 1000,
            None if o.ended is None else (o.ended - START) // 1000,
        )
        for o in outputs
        if isinstance(o, EpisodeChanged) and o.episode == "mode"
    ]


def test_each_mode_is_kept_from_when_to_when() -> None:
    """As an episode of the depot; the same mode again goes on."""
    sets = ((100, Mode.LAID_UP), (200, Mode.LAID_UP), (300, Mode.FILLING_UP))
    script = modes_at(Script(with_sensors("level")), *sets).run(400)
    assert stretches(script.outputs) == [
        ("laid up", 100, None),
        ("laid up", 100, 300),
        ("filling up", 300, None),
    ]


def test_a_laid_up_depot_that_is_switched_off_is_told_once() -> None:
    """An hour after its last reading, as news to the first on call; no alarm."""
    script = Script(with_sensors("level"), world=World(level=0.03))
    modes_at(script, (100, Mode.LAID_UP)).at(1000, lambda w: w.silent.add("level"))
    script.run(3 * 3600 + 2000)
    (news,) = script.texts("news")
    assert news.person == "yard"
    assert START + 1000_000 + HOUR - 11_000 <= news.time <= START + 1000_000 + HOUR + 120_000
    assert "laid up and silent" in text_of(news)
    assert script.raised("depot-silent") == []
    assert script.texts("raised") == []


def test_a_restart_in_a_mode_changes_nothing() -> None:
    """The mode, its question and its quiet are in what is remembered."""
    straight = laid_up_filling().run(4000)
    stopped = laid_up_filling()
    for seconds in (50, 150, 1500, 1900, 2500):
        stopped.at(seconds, lambda _: stopped.restart())
    assert stopped.run(4000).outputs == straight.outputs
