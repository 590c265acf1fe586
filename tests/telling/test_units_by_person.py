"""Each person reads their own units, in every text that has a quantity."""

from dataclasses import replace
from pathlib import Path

from brineward.journal import Journal
from brineward.readings.entries import Tick
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import Step
from brineward.records import Records
from brineward.records.short_texts import status_text
from depots import DEPOT, START, reading
from engine.scripted import Script, World, text_of, with_sensors

DUTY = replace(
    with_sensors("shelter").duty,
    on_call=("yard", "dispatch"),
    us_units={"dispatch": False},
    next_after_seconds=120.0,
)


def test_an_alarm_is_told_to_each_in_their_own_units() -> None:
    """A freezing shelter of a depot in US units: Fahrenheit to the yard, Celsius to dispatch."""
    its = replace(with_sensors("shelter", duty=DUTY), us_units=True)
    script = Script(its, world=World(shelter=-3.0)).run(3600)
    bodies = {due.person: text_of(due) for due in reversed(script.texts()) if due.number}
    assert "27 F" in bodies["yard"]
    assert "-3.0 C" in bodies["dispatch"]
    assert " C" not in bodies["yard"]
    assert " F " not in bodies["dispatch"]


def test_the_daily_line_goes_by_who_reads_it() -> None:
    """The same hour of the same tank: gallons by the depot, litres by the reader."""
    said = {}
    for units in ({}, {"yard": False}):
        duty = replace(DUTY, us_units=units, daily_minutes=19 * 60)
        its = replace(with_sensors("level", "cond", "temp", duty=duty), us_units=True)
        (line,) = Script(its).run(3700).texts("news")
        said[bool(units)] = text_of(line)
    assert " gal left" in said[False]
    assert " L left" in said[True]


def test_what_somebody_asks_is_answered_in_their_units() -> None:
    """STATUS by the same journal."""
    its = replace(with_sensors("shelter", duty=DUTY), us_units=True)
    with Journal.open(Path(":memory:")) as journal:
        journal.commit([Step(reading("shelter", 0, -3.0), ())])
        journal.commit([Step(Tick(time=START + MINUTE), ())])
        said = {
            person: status_text(its.as_read_by(person), Records(journal.handle), START + MINUTE)
            for person in ("yard", "dispatch")
        }
    assert "27 F" in said["yard"]
    assert "-3.0 C" in said["dispatch"]
    assert its.id == DEPOT
