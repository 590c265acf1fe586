"""When a pump against a closed valve is texted: shown at once, texted once it has lasted a minute
where that leaves whoever is called time enough, and at once where it doesn't."""

from dataclasses import replace

import pytest

from brineward.physics.heating import seconds_to_temperature
from brineward.plant.plan import AlarmSettings, DepotPlan
from depots import plan
from engine.scripted import Script, World, seconds_of, with_sensors, within

ALARM = "closed-valve"
DEAF = ("valve", "level")


def known(casing_m3: float | None = 0.005, **changes: object) -> DepotPlan:
    """The depot with its pump's power and casing as the example config has them."""
    plain = plan(**changes)
    pump = replace(plain.pumps["pump"], shut_off_power_w=1500.0, casing_m3=casing_m3)
    return replace(plain, pumps={"pump": pump})


def first_text(script: Script) -> list[float]:
    """When somebody was first texted of a closed valve, in seconds; none where nobody was."""
    texts = (text for text in script.texts("raised") if "closed hose" in text.notice.headline)
    return [seconds_of(text.time) for text in texts][:1]


def test_a_valve_that_is_opened_half_a_minute_late_is_shown_and_texted_to_nobody() -> None:
    """Raised within five seconds, cleared, and neither was worth a text."""
    script = Script(known()).at(100, running=1.0).at(130, open=1.0).run(400)
    assert within(script.raised(ALARM), 100, 105)
    assert within(script.cleared(ALARM), 160, 220)
    assert script.texts() == []


def test_what_lasts_a_minute_is_texted_then_and_so_is_its_end() -> None:
    """A minute after the pump started; the second person is called as soon as ever after that."""
    script = Script(known()).at(100, running=1.0).at(400, running=0.0).run(600)
    first, second = (seconds_of(text.time) for text in script.texts("raised"))
    assert 160 <= first <= 163
    assert second - first <= 151
    assert {text.person for text in script.texts("cleared")} == {"yard", "dispatch"}


def test_a_valve_opened_in_the_last_second_is_texted_to_nobody() -> None:
    """It is about to clear while its minute ends."""
    script = Script(known()).at(100, running=1.0).at(158, open=1.0).run(400)
    assert script.texts() == []


def test_a_switch_that_falls_silent_in_its_minute_puts_the_text_off_by_a_minute_at_most() -> None:
    """Nothing says that the valve was opened, and the level is not heard either."""
    script = Script(known()).at(100, running=1.0).at(120, lambda w: w.silent.update(DEAF)).run(400)
    assert within(first_text(script), 160, 225)


@pytest.mark.parametrize("casing_m3", [None, 0.003, 0.001])
def test_a_pump_that_is_soon_hot_or_unknown_is_texted_at_once(casing_m3: float | None) -> None:
    """Two minutes and five to respond must be over before 60 degC is reached."""
    if casing_m3 is not None:
        assert seconds_to_temperature(1500.0, casing_m3, 0.233, 10.0, 60.0) < 420.0
    script = Script(known(casing_m3)).at(100, running=1.0).run(200)
    assert within(first_text(script), 100, 105)


def test_warm_brine_leaves_less_time() -> None:
    """With 35 degC in the tank the standard pump is at 60 degC in 5.5 minutes."""
    assert seconds_to_temperature(1500.0, 0.005, 0.233, 35.0, 60.0) < 420.0
    script = Script(known(), world=World(liquid=35.0)).at(100, running=1.0).run(200)
    assert within(first_text(script), 100, 105)


def test_a_start_that_nobody_saw_is_texted_at_once() -> None:
    """It runs when the service first hears of it: nobody knows for how long."""
    script = Script(known(), world=World(running=1.0)).run(100)
    assert within(first_text(script), 0, 25)


def test_a_start_during_a_silence_is_texted_at_once() -> None:
    """Its switch was not heard for longer than it may be silent, and then says that it runs."""
    script = Script(known()).at(100, lambda w: w.silent.add("running")).at(200, running=1.0)
    script.at(900, lambda w: w.silent.clear()).run(1000)
    assert within(first_text(script), 900, 915)


def test_a_second_slip_within_the_hour_is_texted_at_once() -> None:
    """What the first one heated may be hot still."""
    script = Script(known()).at(100, running=1.0).at(130, running=0.0).at(1300, running=1.0)
    script.run(1400)
    assert within(first_text(script), 1300, 1305)


def test_by_the_level_alone_it_is_texted_as_it_is_raised() -> None:
    """The level has taken half a minute to show it."""
    levelled = replace(with_sensors("running", "level"), pumps=known().pumps)
    script = Script(levelled).at(300, running=1.0).run(420)
    (raised,) = script.raised(ALARM)
    assert within([seconds_of(text.time) for text in script.texts("raised")], raised, raised + 1)


@pytest.mark.parametrize(("seconds", "at"), [(0.0, 105), (20.0, 125)])
def test_the_config_can_have_it_sooner(seconds: float, at: float) -> None:
    """`text_after` in its table decides."""
    settings = {ALARM: AlarmSettings(text_after_seconds=seconds)}
    script = Script(known(alarms=settings)).at(100, running=1.0).run(200)
    assert within(first_text(script), at - 5, at)


def test_a_restart_in_its_minute_texts_neither_sooner_nor_later() -> None:
    """What was seen of the start is remembered."""
    script = Script(known()).at(100, running=1.0).run(130)
    script.restart()
    script.run(200)
    assert within(first_text(script), 160, 163)
