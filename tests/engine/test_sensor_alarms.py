"""The sensors' own alarms, scripted: silence, nonsense, a silent depot, the link, clocks."""

from dataclasses import replace

import pytest

from brineward.plant.plan import AlarmSettings
from brineward.readings.entries import LinkChanged, Started, Tick
from brineward.readings.instants import DAY, MINUTE, SECOND
from brineward.readings.outputs import AlarmState, Priority
from brineward.readings.values import Reading, Refusal
from depots import DEPOT, START, plan, reading
from engine.scripted import Script, World, text_of, with_sensor, with_sensors, within

SILENT, DOUBTED, DEPOT_SILENT = "sensor-silent", "sensor-implausible", "depot-silent"
LINK, CLOCK = "link-lost", "clock-wrong"


def test_a_silent_sensor_is_one_alarm_with_its_name() -> None:
    """Silent for longer than it may, and its delay: one alarm, naming it, and no other."""
    script = Script().at(300, lambda w: w.silent.add("temp")).run(1000)
    assert within(script.raised(SILENT, "temp"), 300 + 60 + 50, 300 + 60 + 75)
    assert len(script.raised()) == 1
    assert "temp is silent" in text_of(script.texts("raised")[0])


def test_silence_shorter_than_allowed_says_nothing() -> None:
    """Two missed readings are the radio's normal life."""
    script = Script()
    for start in range(300, 3000, 200):
        script.at(start, lambda w: w.silent.add("temp"))
        script.at(start + 50, lambda w: w.silent.clear())
    assert script.run(3200).changes() == []


def test_a_sensor_that_speaks_again_ends_its_silence() -> None:
    """Cleared half a minute after its first word."""
    script = Script().at(300, lambda w: w.silent.add("temp")).at(1000, lambda w: w.silent.clear())
    script.run(1200)
    assert within(script.cleared(SILENT, "temp"), 1030, 1045)


def test_silence_that_blinds_a_high_alarm_wakes_somebody_and_other_silence_waits() -> None:
    """The level's silence blinds overflow: medium. The thermometer's is for the morning: low."""
    script = Script().at(300, lambda w: w.silent.update({"level", "temp"})).run(1000)
    priorities = {c.source: c.priority for c in script.changes(SILENT)}
    assert priorities == {"level": Priority.MEDIUM, "temp": Priority.LOW}


def test_a_sensor_may_ask_for_a_longer_silence_itself() -> None:
    """SenML's `ut` says how long until the next reading at most; that is what counts."""
    script = Script(with_sensors("shelter", "temp")).run(100)
    asks = reading("shelter", 101, 7.0)._replace(silent_after_seconds=3600.0)
    script.step(asks)
    script.world.silent.add("shelter")
    assert script.run(3000).raised(SILENT) == []
    assert len(script.run(4000).raised(SILENT, "shelter")) == 1


@pytest.mark.parametrize("asked", [0.0, -5.0, float("nan"), float("inf"), 1e300])
def test_what_a_sensor_asks_for_within_no_reason_is_kept_in_bounds(asked: float) -> None:
    """A sensor that promises nonsense is no reason to alarm at once, nor to stop watching."""
    script = Script(with_sensors("shelter", "temp")).run(100)
    script.step(reading("shelter", 101, 7.0)._replace(silent_after_seconds=asked))
    assert script.run(130).raised() == []


def test_three_unbelievable_in_a_row_are_an_alarm_and_one_is_not() -> None:
    """One spike, or two, say nothing; what goes on is announced once."""
    for readings, expected in ((1, 0), (2, 0), (30, 1)):
        script = Script().at(300, lambda w: w.says.update(temp=999.0))
        script.at(300 + 10 * readings, lambda w: w.says.clear()).run(2000)
        assert len(script.raised(DOUBTED, "temp")) == expected, readings
        assert script.raised(SILENT) == []


def test_every_other_reading_bad_is_an_alarm_too() -> None:
    """Half of the last sixteen readings bad, never three in a row: n of m."""
    script = Script(with_sensors("temp", "shelter"))
    script.world.every_second.append(
        lambda w: w.says.update(temp=999.0) if w.seconds // 10 % 2 else w.says.clear()
    )
    assert len(script.run(1000).raised(DOUBTED, "temp")) == 1


@pytest.mark.parametrize("bad", [None, 999.0, float("nan"), float("inf")])
def test_no_value_and_nonsense_are_told_alike(bad: float | None) -> None:
    """None, out of range, NaN and infinity are all not believed, and never judged."""
    script = Script().at(300, lambda w: w.says.update(level=bad, shelter=bad)).run(1500)
    assert len(script.raised(DOUBTED, "level")) == 1
    assert len(script.raised(DOUBTED, "shelter")) == 1
    assert {c.alarm for c in script.changes()} == {DOUBTED}


def test_payloads_that_cant_be_read_count_as_bad() -> None:
    """What is refused at the edge shows as a sensor that is not believable, not as silence."""
    script = Script(with_sensors("temp", "shelter")).run(100)
    script.world.silent.add("temp")
    for _ in range(60):
        script.run(script.now + 10)
        now = START + script.now * SECOND
        script.step(Refusal(DEPOT, "temp", now, "not-a-number", "not a number"))
    assert len(script.raised(DOUBTED, "temp")) == 1
    assert script.raised(SILENT) == []


def test_a_believable_sensor_again_ends_it_after_six_good_readings() -> None:
    """A few good readings among the bad don't end it."""
    script = Script().at(300, lambda w: w.says.update(temp=999.0))
    script.at(1000, lambda w: w.says.clear()).at(1030, lambda w: w.says.update(temp=999.0))
    script.at(1060, lambda w: w.says.clear()).run(2000)
    assert within(script.cleared(DOUBTED, "temp"), 1060 + 50 + 60, 1060 + 60 + 75)


NOISE = {"level": 0.003, "cond": 0.05, "temp": 0.05, "shelter": 0.05}


@pytest.mark.parametrize(
    ("name", "at"), [("level", 1.5), ("cond", 14.9), ("temp", 5.0), ("shelter", 7.0)]
)
def test_a_stuck_sensor_is_told_and_believed_again(name: str, at: float) -> None:
    """Named ten minutes and the delay after it stuck, and over once it has moved six times."""
    script = Script(world=World(noise=dict(NOISE)))
    script.at(2000, lambda w: (w.noise.pop(name), w.says.update({name: at})))
    script.at(5000, lambda w: (w.noise.update(NOISE), w.says.clear())).run(6000)
    assert within(script.raised(DOUBTED, name), 2000 + 600 + 90, 2000 + 600 + 115)
    assert within(script.cleared(DOUBTED, name), 5000 + 50 + 60, 5000 + 60 + 75)
    assert {(c.alarm, c.source) for c in script.changes()} == {(DOUBTED, name)}


def test_the_text_of_a_stuck_sensor_says_at_what_and_since_when() -> None:
    """Not since it was found out: what was judged by it before was wrong already."""
    script = Script(world=World(noise=dict(NOISE)))
    script.at(1800, lambda w: (w.noise.pop("level"), w.says.update(level=1.5))).run(3000)
    body = text_of(script.texts("raised")[0])
    assert "level is stuck at 1.50 m." in body
    assert "Since 18:30." in body


def test_a_stuck_level_blinds_what_is_judged_by_it() -> None:
    """A pump runs through an open valve: the level that sticks is no closed valve."""
    script = Script(with_sensors("level", "running"), world=World(noise=dict(NOISE)))
    script.at(2000, lambda w: (w.noise.pop("level"), w.says.update(level=1.5)))
    script.at(2700, running=1.0, open=1.0).run(3600)
    assert script.raised("closed-valve") == []
    assert len(script.raised(DOUBTED, "level")) == 1


def test_a_switch_and_what_speaks_on_change_are_never_called_stuck() -> None:
    """They rest by their nature: a valve for weeks, a thermometer that tells only changes."""
    its = with_sensor(plan(), "shelter", on_change=True)
    script = Script(its, world=World(noise=dict(NOISE)))
    script.at(2000, lambda w: (w.noise.pop("shelter"), w.says.update(shelter=7.0))).run(20_000)
    assert script.changes() == []


def test_a_spiking_sensor_is_told_and_what_it_watches_goes_on() -> None:
    """One reading in twenty wild: named, and overflow is announced all the same, by the median."""
    script = Script(world=World(level=2.2, noise=dict(NOISE)))

    def spikes(world: World) -> None:
        if 1000 < world.seconds < 4000 and world.seconds // 10 % 20 == 0:
            world.says["level"] = 0.5
        else:
            world.says.clear()

    script.world.every_second.append(spikes)
    script.at(3000, level=2.3).run(8000)
    assert within(script.raised(DOUBTED, "level"), 2210 + 90, 2210 + 115)
    assert within(script.raised("overflow-ahead", "main"), 3000, 3120)
    assert within(script.cleared(DOUBTED, "level"), 3600 + 2000 + 60, 3600 + 2000 + 85)
    assert "level jumps around: 6 of its last 200 readings are wild." in text_of(
        script.texts("raised")[0]
    )


def test_a_thermometer_out_of_the_brine_is_told_before_a_strength_is_wrong_by_it() -> None:
    """It hangs in the air: the brine it makes look weak is told by nobody, and it clears after."""
    script = Script(world=World(noise=dict(NOISE)))
    script.at(2000, lambda w: w.says.update(temp=20.0)).at(5000, lambda w: w.says.clear())
    script.run(6000)
    assert within(script.raised(DOUBTED, "temp"), 2000 + 90, 2000 + 60 + 115)
    assert within(script.cleared(DOUBTED, "temp"), 5000 + 60, 5000 + 60 + 85)
    assert {(c.alarm, c.source) for c in script.changes()} == {(DOUBTED, "temp")}
    assert "temp may be out of the brine" in text_of(script.texts("raised")[0])


def test_exchanged_thermometers_are_both_told_and_the_shelters_blinds() -> None:
    """The shelter's shows the brine: that it is warm there is no proof that nothing freezes."""
    script = Script(world=World(noise=dict(NOISE), shelter=9.0, liquid=2.0))
    script.at(2000, lambda w: w.says.update(temp=9.0, shelter=2.0)).run(4000)
    assert len(script.raised(DOUBTED, "temp")) == 1
    assert len(script.raised(DOUBTED, "shelter")) == 1
    assert any("shelter looks swapped with temp" in text_of(t) for t in script.texts("raised"))


def test_a_silent_depot_is_one_text_not_one_a_sensor() -> None:
    """The gateway dies: six silent sensors, one alarm, one text."""
    everything = set(plan().sensors)
    script = Script().at(600, lambda w: w.silent.update(everything)).run(1100)
    assert script.raised(DEPOT_SILENT) != []
    assert script.raised(SILENT) == []
    assert len(script.texts("raised")) == 1
    suppressed = {c.source for c in script.changes(SILENT) if c.state is AlarmState.SUPPRESSED}
    assert suppressed == everything


def test_a_depot_that_speaks_again_clears_and_leaves_no_storm() -> None:
    """All sensors back: cleared, with no alarm of any single sensor."""
    everything = set(plan().sensors)
    script = Script().at(600, lambda w: w.silent.update(everything))
    script.at(2000, lambda w: w.silent.clear()).run(4000)
    assert len(script.cleared(DEPOT_SILENT)) == 1
    assert script.raised(SILENT) == []
    assert {t.kind for t in script.texts()} <= {"raised", "again", "cleared"}


def test_one_sensor_that_stays_dead_after_the_depot_is_back_is_told() -> None:
    """What still holds when the cause is gone is judged again and announced."""
    everything = set(plan().sensors)
    script = Script().at(600, lambda w: w.silent.update(everything))
    script.at(2000, lambda w: w.silent.difference_update(everything - {"level"})).run(4000)
    assert within(script.raised(SILENT, "level"), 2000, 2200)
    assert len(script.raised(SILENT)) == 1


def test_nonsense_from_all_sensors_is_one_text() -> None:
    """A gateway that sends nothing readable is a silent depot, not six broken sensors."""
    script = Script()
    script.at(600, lambda w: w.says.update(dict.fromkeys(plan().sensors, float("nan"))))
    script.run(1400)
    assert script.raised(DEPOT_SILENT) != []
    assert script.raised(DOUBTED) == []


def test_a_plant_alarm_is_not_hidden_by_a_silent_depot() -> None:
    """What was active before the silence stays so: no data clears nothing."""
    script = Script(world=World(level=2.35)).run(300)
    assert len(script.raised("overflow-ahead")) == 1
    script.at(310, lambda w: w.silent.update(plan().sensors)).run(2000)
    assert script.state("overflow-ahead") is AlarmState.UNACKNOWLEDGED


def _down(script: Script, up: bool = False) -> None:
    time = START + script.now * SECOND
    script.step(LinkChanged(time=time, up=up, why="" if up else "connection refused"))


def test_a_lost_link_is_one_alarm_and_no_silence() -> None:
    """While the broker is away sensors are not called silent; the link is, after five minutes."""
    script = Script().run(600)
    _down(script)
    script.world.silent.update(plan().sensors)
    script.run(2000)
    assert within(script.raised(LINK), 900, 902)
    assert script.raised(SILENT) == []
    assert script.raised(DEPOT_SILENT) == []


def test_a_short_loss_of_the_link_wakes_nobody() -> None:
    """A broker that restarts within five minutes: none was silent, what was lost is low."""
    script = Script().run(600)
    _down(script)
    script.world.silent.update(plan().sensors)
    script.run(850)
    script.world.silent.clear()
    _down(script, up=True)
    changes = script.run(2000).changes()
    assert {(c.alarm, c.priority) for c in changes} == {("readings-missing", "low")}


def test_silence_is_counted_from_the_links_return() -> None:
    """A sensor that stays silent after the link is back is told, a full silence later."""
    script = Script().run(600)
    _down(script)
    script.world.silent.add("temp")
    script.run(700)
    _down(script, up=True)
    script.run(1000)
    assert within(script.raised(SILENT, "temp"), 700 + 60 + 60, 700 + 60 + 62)


def test_a_sensor_silent_before_the_link_was_lost_is_told_on_after_it() -> None:
    """Told before, held back under the lost link, still silent after it: it is not forgotten."""
    script = Script(plan(duty=replace(plan().duty, next_after_seconds=3600.0)))
    script.at(100, lambda w: w.silent.add("level")).run(600)
    assert len(script.texts("raised", "yard")) == 1
    _down(script)
    script.world.silent.update(plan().sensors)
    script.run(600 + 3 * 3600)
    _down(script, up=True)
    script.world.silent.difference_update(set(plan().sensors) - {"level"})
    script.run(script.now + 3600)
    assert script.state(SILENT, "level") is AlarmState.UNACKNOWLEDGED
    assert any("level is silent" in text_of(t) for t in script.texts("again"))


def test_a_sensor_doubted_before_the_link_was_lost_is_told_on_after_it() -> None:
    """Told before, rounds fallen out under the lost link, nonsense after it: the rounds go on."""
    script = Script(plan(duty=replace(plan().duty, next_after_seconds=3600.0)))
    script.at(100, lambda w: w.says.update(level=999.0)).run(600)
    assert [t.person for t in script.texts()] == ["yard"]
    _down(script)
    script.world.silent.update(plan().sensors)
    script.run(600 + 3 * 3600)
    _down(script, up=True)
    back = script.now
    script.world.silent.clear()
    script.run(back + 600)
    later = [t for t in script.texts("raised") if t.time > START + back * SECOND]
    (next_round,) = [t for t in later if "level implausible" in text_of(t)]
    assert next_round.person == "dispatch"
    assert "not taken yet" in text_of(next_round)
    assert back < (next_round.time - START) / SECOND <= back + 200


def test_what_came_and_went_under_a_cause_sends_no_word_that_it_cleared() -> None:
    """Told and cleared long ago; silent again only under a lost link: nobody reads of it."""
    slow = {LINK: AlarmSettings(off_delay_seconds=900.0)}
    script = Script(plan(alarms=slow)).at(100, lambda w: w.silent.add("level")).take_at(300)
    script.at(400, lambda w: w.silent.clear()).run(1000)
    assert [t.kind for t in script.texts()] == ["raised", "cleared"]
    script.at(1010, lambda w: w.silent.add("level")).run(1060)
    _down(script)
    script.run(1100)
    script.at(1500, lambda w: w.silent.clear())
    script.step(Tick(time=START + 1500 * SECOND))
    _down(script, up=True)
    script.run(4000)
    assert all(t.number > 0 for t in script.texts())
    assert [t for t in script.texts("cleared") if "level" in text_of(t) and t.number != 1] == []


def _with_offset(script: Script, name: str, seconds: float) -> None:
    """One reading whose own clock is off by so much."""
    now = START + script.now * SECOND
    script.step(Reading(DEPOT, name, now + round(seconds * SECOND), 7.0, now))


@pytest.mark.parametrize("offset", [121.0, 86_400.0, 400 * 86_400.0, -367 * 86_400.0])
def test_a_clock_in_the_future_or_before_the_last_year_is_told(offset: float) -> None:
    """Its readings are taken at their arrival, and an alarm says whose clock is off."""
    script = Script(with_sensors("temp", "shelter", "level")).run(300)
    script.world.silent.add("shelter")
    for _ in range(20):
        script.run(script.now + 10)
        _with_offset(script, "shelter", offset)
    assert len(script.raised(CLOCK)) == 1
    assert "shelter: its clock is wrong" in script.changes(CLOCK)[0].sentence
    assert script.raised(SILENT) == []


def test_a_clock_set_right_clears() -> None:
    """Five minutes of readings in order, and the off-delay."""
    script = Script(with_sensors("temp", "shelter", "level")).run(300)
    for _ in range(20):
        script.run(script.now + 10)
        _with_offset(script, "shelter", 3600.0)
    script.run(2000)
    assert len(script.cleared(CLOCK)) == 1


def test_two_minutes_ahead_is_no_fault() -> None:
    """Small leads are taken at their arrival and say nothing."""
    script = Script(with_sensors("temp", "shelter")).run(300)
    for _ in range(50):
        script.run(script.now + 10)
        _with_offset(script, "shelter", 100.0)
    assert script.changes() == []


def test_one_sensor_constantly_late_is_a_clock_behind() -> None:
    """Ten minutes of readings that all come ten minutes old: its clock, not the road."""
    script = Script(with_sensors("temp", "shelter", "level")).run(300)
    script.world.silent.add("shelter")
    for _ in range(200):
        script.run(script.now + 10)
        _with_offset(script, "shelter", -900.0)
    assert len(script.raised(CLOCK)) == 1
    assert "shelter: its clock or gateway is 15 min behind" in script.changes(CLOCK)[0].sentence


def test_a_future_reading_does_not_move_time() -> None:
    """A reading from next year doesn't make every other sensor late or silent."""
    script = Script().run(300)
    _with_offset(script, "shelter", 300 * 86_400.0)
    script.run(1000)
    assert script.raised(SILENT) == []
    assert script.raised(DEPOT_SILENT) == []


def test_retained_readings_are_no_news() -> None:
    """A retained frost from last week neither raises nor ends a silence."""
    script = Script(with_sensors("shelter", "temp")).run(100)
    script.world.silent.add("shelter")
    for _ in range(100):
        script.run(script.now + 10)
        now = START + script.now * SECOND
        script.step(Reading(DEPOT, "shelter", now, -20.0, now, retained=True))
    assert script.raised("shelter-freezing") == []
    assert len(script.raised(SILENT, "shelter")) == 1


def test_a_slow_sensor_is_not_silent_between_its_readings() -> None:
    """Each sensor has its own silence."""
    slow = with_sensor(plan(), "temp", every_seconds=600.0, silent_after_seconds=1900.0)
    assert Script(slow).run(6000).changes() == []


def test_before_the_first_start_nobody_is_silent() -> None:
    """With no word that anybody listens, silence says nothing."""
    script = Script()
    script.outputs.clear()
    fresh = Script()
    fresh.engine.restore({})
    other = type(fresh.engine)({DEPOT: plan()})
    assert other.step(Tick(time=START + DAY)) == ()
    assert other.next_deadline is None


def test_after_a_start_silence_is_counted_from_it() -> None:
    """A depot that says nothing at all after the start is reported as silent within minutes."""
    script = Script(world=World(silent=set(plan().sensors))).run(600)
    assert within(script.raised(DEPOT_SILENT), 60, 120)
    again = Started(time=START + 20 * MINUTE, version="1", config_hash="", zone_data="")
    script.run(1200)
    script.step(again)
    script.run(1220)
    assert len(script.texts("raised", "yard")) == 1
    assert script.texts("again") == []
