"""What a report holds is what the journal holds, and its sums are right."""

import csv
from dataclasses import replace
from datetime import datetime
from math import isclose
from zoneinfo import ZoneInfo

import pytest

from brineward.journal import Journal
from brineward.readings.by_hand import SaltDelivered
from brineward.readings.entries import HandRecord, HandTest, StruckTest
from brineward.readings.instants import local_from_instant
from brineward.readings.outputs import AlarmState, Step
from brineward.reports import figures
from brineward.reports.gather import alarm_stories
from brineward.reports.period import PeriodKind, between
from brineward.reports.tables import tables
from journal.samples import T0, alarm, derived, episode, hand_test, reading
from reports.conftest import gathered
from reports.made import RECORDED, settings_with

MINUTE = 60_000
HOUR = 60 * MINUTE


def test_the_tank_s_last_volume_is_that_of_its_last_readings(report):
    """Held against the readings file and the tank's own size, worked out here: an upright
    cylinder, so pi/4 d2 h."""
    vessel = report.plan.vessels["main"]
    with (RECORDED / "weak-brine.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["sensor"] == "main-level"]
    last = [float(row["value"]) for row in rows if row["time"] >= "2026-01-22T09:58:00Z"]
    level = sum(last) / len(last)
    area = vessel.shape.volume_m3(1.0)
    (tank,) = report.tanks
    assert isclose(tank.levels[-1].mean, level, abs_tol=0.002)
    gallons = area * level / 3.785411784e-3
    assert f"{gallons:,.0f}"[:-1] in " ".join(figures.summary(report))


def test_the_weak_batch_is_in_its_figures(report):
    """The alarm of that night is told, with who took it, and the time off its band is counted."""
    assert {"fill-weak"} <= {one.alarm for one in report.alarms}
    (tank,) = report.tanks
    assert tank.off_band_seconds > 3 * 3600
    assert [test.entered for test in tank.tests] == ["1.1805 at 10 degC"]


@pytest.fixture
def quiet(tmp_path):
    """Settings with an empty journal."""
    return settings_with(tmp_path / "a.journal", tmp_path)


def of_hours(settings, hours: int):
    """The report of so many hours from T0 on."""
    zone = settings.depots["tern-hollow"].zone
    period = between(PeriodKind.NIGHT, T0, T0 + hours * HOUR, zone)
    return gathered(settings, settings.journal.path, period)


def test_time_without_readings_is_counted(quiet):
    """Two hours heard, three not, one heard: three hours in which nobody watched."""
    heard = [minute for minute in range(360) if not 120 <= minute < 300]
    # The first is exactly at the start: the records begin with the period.
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(reading(minute * MINUTE), ()) for minute in heard])
    report = of_hours(quiet, 6)
    assert report.without_readings_seconds == 3 * 3600
    assert "For 3.0 h no sensor reported anything" in " ".join(figures.summary(report))


def test_a_report_begins_where_the_records_do(quiet):
    """Nobody is told that he was blind in the months before the watch was set up."""
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(reading(minute * MINUTE), ()) for minute in range(120, 360)])
    report = of_hours(quiet, 6)
    assert report.period.start == T0 + 2 * HOUR
    assert report.without_readings_seconds == 0
    assert "when its records begin" in figures.stretch(report)


def test_a_level_out_of_its_range_is_in_no_course_and_no_volume(quiet):
    """One wild value in the last minute: the tank ended with what it held, and so with warmth."""
    heard = [reading(minute * MINUTE) for minute in range(359)]
    warm = [reading(n * MINUTE, 8.0, sensor="main-temperature") for n in range(359)]
    wild = [reading(359 * MINUTE, 9999.0, sensor=one) for one in ("main-level", "main-temperature")]
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(one, ()) for one in (*heard, *warm, *wild)])
    report = of_hours(quiet, 6)
    (tank,) = report.tanks
    assert {one.high for one in tank.levels} == {1.5}
    held = report.plan.units.volume(report.plan.vessels["main"].shape.volume_m3(1.5))
    assert f"ended with {held}" in " ".join(figures.summary(report))
    assert {one.high for course in report.temperatures for one in course.points} == {8.0}


def test_salt_of_the_last_minutes_is_in_it_where_somebody_entered_it(quiet):
    """From its record on; where only the bed tells, the report says until when it does."""
    beds = [
        reading(minute * MINUTE, 1.0 if minute < 345 else 1.5, sensor="hopper-salt")
        for minute in range(360)
    ]
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(one, ()) for one in beds])
        by_bed = figures.figures(of_hours(quiet, 6))
        at = T0 + 6 * HOUR - 1
        salt = SaltDelivered(mass_kg=9000.0)
        said = HandRecord(time=at, received=at, depot="tern-hollow", record=salt, at=at, by="yard")
        journal.commit([Step(said, ())])
    (found,) = (one for one in by_bed if one.name.startswith("Salt delivered"))
    seen = local_from_instant(T0 + 320 * MINUTE, ZoneInfo("America/Chicago"))
    assert found.name.endswith(
        f"(by the height of the bed, up to {seen:%a} {seen.day} {seen:%b %H:%M})"
    )
    assert found.numbers[0] == 0
    (entered,) = (
        one for one in figures.figures(of_hours(quiet, 6)) if one.name.startswith("Salt delivered")
    )
    assert entered.name == "Salt delivered (as entered)"
    assert entered.numbers[0] > 0


@pytest.mark.parametrize("what", ["load", "batch"])
def test_what_crosses_the_edge_of_a_period_counts_where_it_ended(quiet, what):
    """Half an hour before and after: the report of the second three hours has it, and that alone.
    What goes on is listed and not counted."""
    figures_of = {"episode": what, "source": "main", "amount_m3": 1.0, "salt_kg": 270.0}
    began, ended = T0 + 3 * HOUR - 30 * MINUTE, T0 + 3 * HOUR + 30 * MINUTE
    over = episode(4 * HOUR, ended, began=began, **figures_of)
    going_on = episode(5 * HOUR + 1, None, began=T0 + 5 * HOUR, **figures_of)
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(reading(0), ()), Step(reading(4 * HOUR), (over,))])
        journal.commit([Step(reading(5 * HOUR + 1), (going_on,))])
    zone = quiet.depots["tern-hollow"].zone
    first, second = (
        gathered(quiet, quiet.journal.path, between(PeriodKind.NIGHT, *span, zone))
        for span in ((T0, T0 + 3 * HOUR), (T0 + 3 * HOUR, T0 + 6 * HOUR))
    )
    for report, listed, count in ((first, [], "0"), (second, [ended, None], "1")):
        made = report.loads if what == "load" else report.batches
        assert [one.ended for one in made] == listed
        totals = {one.name: one.value for one in figures.figures(report)}
        assert totals["Loads" if what == "load" else "Batches"] == count
    both = first.balance, second.balance
    assert [one.loads + one.batches for one in both] == [0, 1]
    assert [one.under_way for one in both] == [True, True]


def test_time_off_the_band_and_without_a_strength_are_told_apart(quiet):
    """One hour at 20 %, one at 23.3 %, one with no strength."""
    steps = [
        Step(
            reading(minute * MINUTE),
            (derived(minute * MINUTE, 0.20 if minute < 60 else 0.233, name="main-strength"),)
            if minute < 120
            else (),
        )
        for minute in range(180)
    ]
    with Journal.open(quiet.journal.path) as journal:
        journal.commit(steps)
    (tank,) = of_hours(quiet, 3).tanks
    assert (tank.off_band_seconds, tank.unknown_seconds) == (3600, 3600)


def test_a_test_counts_in_the_period_of_its_sample(quiet):
    """Entered the next morning, it belongs to the night in which the sample was tested."""
    tested = HandTest(
        depot="tern-hollow", time=T0 + 9 * HOUR, received=T0 + 9 * HOUR, vessel="main",
        at=T0 + 2 * HOUR, mass_fraction=0.23, standard_uncertainty=0.002,
    )  # fmt: skip
    late = replace(tested, at=T0 + 8 * HOUR)
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(reading(0), ()), Step(tested, ()), Step(late, ())])
    (tank,) = of_hours(quiet, 6).tanks
    assert tank.tests == [tested]


def test_a_struck_test_is_on_record_and_counts_nowhere(quiet):
    """Its row says who struck it, when and why, and gives no strength; it is no dot, no count."""
    tested = replace(hand_test(2 * HOUR), depot="tern-hollow")
    struck = StruckTest(
        depot="tern-hollow", time=T0 + 30 * HOUR, received=T0 + 30 * HOUR, vessel="main",
        at=tested.at, mass_fraction=tested.mass_fraction, by="dispatch", why="the wrong tank",
    )  # fmt: skip
    later = replace(hand_test(3 * HOUR), mass_fraction=0.233)
    with Journal.open(quiet.journal.path) as journal:
        journal.commit([Step(one, ()) for one in (reading(0), tested, later, struck)])
    report = of_hours(quiet, 6)
    (tank,) = report.tanks
    assert (tank.tests, tank.struck) == ([later], [(tested, struck)])
    assert "Main tank: hydrometer tests" in {
        one.name for one in figures.figures(report) if one.value == "1"
    }
    [table] = [one for one in tables(report) if one.name == "Hydrometer tests"]
    first, second = table.rows
    assert first[2] == ("struck", ("", ""))
    zone = quiet.depots["tern-hollow"].zone
    when = f"{local_from_instant(struck.time, zone):%Y-%m-%d %H:%M}"
    by = report.plan.name_of("dispatch")
    assert first[4] == f"{tested.entered}; struck by {by}, {when}: the wrong tank"
    assert second[4] == later.entered


def story_of(*changes, hours: int = 6):
    """The stories of these changes within so many hours from T0."""
    period = between(PeriodKind.NIGHT, T0, T0 + hours * HOUR, datetime.now().astimezone().tzinfo)
    return alarm_stories(changes, period)


def test_an_alarm_s_story_has_its_beginning_its_taking_and_its_end():
    """Raised before the period and cleared in it: it belongs to it; cleared before it: not."""
    raised = alarm(-HOUR)
    taken = alarm(HOUR, AlarmState.ACKNOWLEDGED, before=AlarmState.UNACKNOWLEDGED, by="yard")
    cleared = alarm(2 * HOUR, AlarmState.NORMAL, before=AlarmState.ACKNOWLEDGED)
    (story,) = story_of(raised, taken, cleared)
    assert (story.raised, story.taken, story.by, story.cleared) == (
        T0 - HOUR, T0 + HOUR, "yard", T0 + 2 * HOUR,
    )  # fmt: skip
    gone = alarm(-MINUTE, AlarmState.NORMAL, before=AlarmState.UNACKNOWLEDGED)
    assert story_of(raised, gone) == []
    again = alarm(MINUTE, before=AlarmState.RETURNED_UNACKNOWLEDGED)
    (back,) = story_of(raised, gone, again)
    assert back.cleared is None
    assert story_of(alarm(7 * HOUR)) == []


def test_what_was_only_suppressed_is_no_alarm():
    """A consequence that was held back was never announced to anybody."""
    held = alarm(0, AlarmState.SUPPRESSED)
    assert story_of(held, alarm(MINUTE, AlarmState.NORMAL)) == []


def test_its_batches_and_loads_add_up_to_its_balance(report):
    """Who adds up the lines of the page comes to the totals at its head: volumes, and salt."""
    done = [batch for batch in report.batches if batch.ended is not None]
    loads = [load for load in report.loads if load.ended is not None]
    assert done
    balance = report.balance
    assert isclose(sum(one.volume_m3 for one in done), balance.made_m3.amount, abs_tol=1e-3)
    assert isclose(sum(one.volume_m3 for one in loads), balance.loaded_m3.amount, abs_tol=1e-3)
    assert isclose(sum(one.salt_kg for one in done), balance.salt_made.amount, abs_tol=0.1)
    assert isclose(sum(one.salt_kg for one in loads), balance.salt_loaded.amount, abs_tol=0.1)
