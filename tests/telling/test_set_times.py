"""The daily line and the weekly test: at its time each goes to who is on call, once."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from brineward.alarms.registry import site_of
from brineward.plant.plan import Duty
from brineward.readings.entries import Handling
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, local_from_instant
from brineward.telling.health import health_text
from brineward.telling.set_time import SetTime
from brineward.wording.gsm import septets
from depots import START, plan
from engine.scripted import AREA_M2, Script, World, text_of, with_sensors
from playing import ACTIVE, DEPOT_SILENCE, SILENCE, Bench

ON_CALL = ("yard", "dispatch")
AT = 19 * 60
"""An hour after START by the clock of these tests' depot, which lives by UTC."""


def quiet_depot(**more: object) -> Script:
    """A warm shelter, and nothing wrong with it."""
    duty = Duty(on_call=ON_CALL, replies=True, daily_minutes=AT)
    return Script(with_sensors("shelter", duty=replace(duty, **more)), world=World(shelter=8.0))


def lines(script: Script) -> list[tuple[str, int, str]]:
    """Who read which line, and when, in seconds from the start."""
    return [(t.person, (t.time - START) // SECOND, text_of(t)) for t in script.texts("news")]


def test_the_line_comes_at_its_time_once_to_who_is_on_call() -> None:
    """Not before it, not to everybody, and all is well where it is."""
    script = quiet_depot().run(3599)
    assert lines(script) == []
    ((person, second, text),) = lines(script.run(3600 + 1800))
    assert (person, second) == ("yard", 3600)
    assert text.startswith("Tern Hollow: all well.")
    assert septets(text) <= 160


def test_a_plan_without_a_time_for_it_has_no_line() -> None:
    """Nobody is texted who did not ask for it."""
    assert lines(quiet_depot(daily_minutes=None).run(5000)) == []


def test_the_line_names_what_is_active() -> None:
    """A depot with an alarm is not well, whoever has it."""
    script = quiet_depot().at(1000, shelter=-3.0).take_at(2000, by="yard").run(3700)
    ((_, _, text),) = lines(script)
    assert "active: TH1." in text
    assert "all well" not in text


@pytest.mark.parametrize("line", [True, False])
def test_routine_work_is_asked_for_by_the_line_or_by_a_text_of_its_own(*, line: bool) -> None:
    """A batch that nobody tested stands in the line, which says what to do; where no line is sent
    it is announced at ten in the morning."""
    at = 22 * 60 if line else None
    duty = Duty(on_call=ON_CALL, replies=True, daily_minutes=at)
    sensors = with_sensors("level", "cond", "temp", duty=duty)
    wanted = {
        name: one for name, one in sensors.sensors.items() if name not in ("running", "valve")
    }
    plan = replace(sensors, sensors=wanted, test_batches_within_seconds=3600.0)
    script = Script(plan, world=World(level=0.9))
    filled_to = 1000 + 1.2 * AREA_M2 / 3e-3
    script.at(1000, extra=3e-3).at(filled_to, extra=0.0)
    for swing in range(100):  # by millimetres: a level that never moves would be reported as stuck
        script.at(filled_to + 300 + 600 * swing, extra=2e-5 * (-1) ** swing)
    script.run(4 * 3600 + 60)
    assert script.raised("batch-untested")
    ten = 16 * 3600 + 60
    script.run(ten)
    asked = [text_of(one) for one in script.texts("raised") if "not tested" in text_of(one)]
    told = [text for _, _, text in lines(script)]
    assert len(told) == int(line)
    assert len(asked) == int(not line)
    for text in told:
        assert text.startswith("Tern Hollow: nothing urgent. TH1 main tank batch not tested. ")
        assert "Test by hydrometer, with the sample's temperature, and record it." in text
        assert "all well" not in text
        assert septets(text) <= 160


def test_a_restart_before_or_after_it_changes_nothing() -> None:
    """When it is due is in the snapshot: no line is lost, and none comes twice."""
    whole = quiet_depot().run(3900)
    for stop in (1, 3000, 3599, 3600, 3601):
        script = quiet_depot().run(stop)
        script.restart()
        script.run(3900)
        assert lines(script) == lines(whole)


@pytest.mark.parametrize(
    ("zone", "begin_month_day", "days"),
    [
        ("America/Chicago", (3, 5), 6),
        ("America/Chicago", (10, 29), 6),
        ("Australia/Lord_Howe", (4, 2), 6),
    ],
)
def test_it_keeps_the_depots_clock_when_clocks_change(
    zone: str, begin_month_day: tuple[int, int], days: int
) -> None:
    """07:00 is 07:00 on every day, and every day has one."""
    month, day = begin_month_day
    place = ZoneInfo(zone)
    daily = SetTime(place, 7 * 60)
    now = START + ((month - 1) * 30 + day - 14) * DAY
    daily.look(now)
    seen = []
    for _ in range(days):
        assert daily.due is not None
        now = daily.due
        seen.append(local_from_instant(now, place))
        assert daily.fell_due(now, now)
    assert {(at.hour, at.minute) for at in seen} == {(7, 0)}
    assert len({at.date() for at in seen}) == days


def test_an_hour_that_the_clocks_skip_or_repeat_has_its_line_once() -> None:
    """02:30 does not exist on the night in March, and comes twice on the one in November."""
    place = ZoneInfo("America/Chicago")
    for month_start in (START + 50 * DAY, START + 286 * DAY):
        daily = SetTime(place, 150)
        daily.look(month_start)
        days = []
        for _ in range(12):
            assert daily.due is not None
            now = daily.due
            days.append(local_from_instant(now, place).date())
            assert daily.fell_due(now, now)
        assert len(set(days)) == len(days)


def test_a_line_that_is_hours_late_is_left_out() -> None:
    """After a night without the watch nobody reads of yesterday as if it were now."""
    daily = SetTime(ZoneInfo("UTC"), AT)
    daily.look(START)
    assert daily.due == START + HOUR
    assert not daily.fell_due(START + 5 * HOUR, START + 5 * HOUR)
    assert daily.due == START + DAY + HOUR
    daily.look(START)
    assert daily.fell_due(START + 3 * HOUR, START + 3 * HOUR + 59 * MINUTE)


@pytest.mark.parametrize("by", [2 * HOUR, -20 * MINUTE])
def test_a_clock_that_is_set_passes_over_no_line(by: int) -> None:
    """Set ahead past the line's time, it is due at once; set back, when the clock shows it."""
    bench = Bench(replace(plan(), duty=replace(plan().duty, daily_minutes=AT)))
    bench.telling.look_at_clock(bench.now)
    bench.told([], HOUR - MINUTE)
    bench.telling.shift(by)
    bench.now += by
    bench.telling.look_at_clock(bench.now)
    assert [one.kind for one in bench.told([], 0 if by > 0 else HOUR)] == ["news"]


def test_the_weekly_test_comes_on_its_weekday_to_who_is_on_call() -> None:
    """Marked as a test, with what to reply; the next is a week later to the minute of the clock."""
    script = quiet_depot(daily_minutes=None, test_at=(2, AT)).run(3601)  # START is a Wednesday
    ((person, text),) = [(t.person, text_of(t)) for t in script.texts("test")]
    assert person == "yard"
    assert text == (
        "Tern Hollow: weekly test text, nothing is wrong. "
        "Reply TEST to show that your texts come back."
    )
    place = ZoneInfo("America/Chicago")
    weekly, now = SetTime(place, 600, 0), START
    weekly.look(now)
    for _ in range(60):
        assert weekly.due is not None
        now = weekly.due
        at = local_from_instant(now, place)
        assert (at.weekday(), at.hour, at.minute) == (0, 10, 0)
        assert weekly.fell_due(now, now)
    assert 58 * 7 * DAY < now - START < 61 * 7 * DAY


def test_the_line_has_strength_what_is_left_and_the_tests_that_are_due() -> None:
    """What its sensors show, in the depot's own units, in one segment."""
    duty = Duty(on_call=ON_CALL, replies=True, daily_minutes=AT)
    its = with_sensors("level", "cond", "temp", duty=duty)
    for us, left in ((True, "gal left"), (False, " L left")):
        script = Script(replace(its, us_units=us), world=World()).run(3700)
        ((_, _, text),) = lines(script)
        assert septets(text) <= 160
        assert left in text
        assert "Hydrometer test due:" in text  # the probe was never tested
        shown = float(text.split(" %")[0].split()[-1])
        assert abs(shown - 23.3) < 1.0


def test_the_line_names_who_cannot_be_reached_and_what_nobody_watches() -> None:
    """A text that failed, and a sensor that is silent, are no good health."""
    script = quiet_depot().run(600)
    script.world.silent.add("shelter")
    script.run(3700)
    ((_, _, text),) = lines(script)
    assert "all well" not in text
    assert "Not watched" in text


def test_nothing_read_is_not_all_well() -> None:
    """A depot that says nothing is not well, whatever else is."""
    text = health_text(site_of(quiet_depot().plan), (), START)
    assert text == "Tern Hollow: no alarm is active. No fresh readings."


def test_what_somebody_holds_back_is_not_forgotten() -> None:
    """An alarm out of service is no good health, and the line counts it."""
    script = quiet_depot().run(600)
    removed = Handling(
        depot=script.plan.id, time=script.time, received=script.time, what="out of service",
        alarm="shelter-freezing", source="shelter", by="yard", why="new probe",
    )  # fmt: skip
    script.step(removed)
    ((_, _, text),) = lines(script.run(3700))
    assert "all well" not in text
    assert "1 shelved or out of service." in text


def test_what_its_cause_tells_of_is_no_line_of_its_own() -> None:
    """A sensor that is silent since its whole depot is: one alarm, and no number 0."""
    bench = Bench()
    one, cause = bench.alarm(SILENCE), bench.alarm(DEPOT_SILENCE)
    bench.told(bench.says(DEPOT_SILENCE, ACTIVE), HOUR)
    bench.told(bench.says(SILENCE, ACTIVE), HOUR)
    assert one.life.active
    assert one.life.suppressed
    text = health_text(bench.site, bench.book.all, bench.now)
    assert f"active: TH{cause.life.number}." in text
    assert "TH0" not in text
