"""Readings that an outage swallowed: counted by each sensor's own interval, and announced once."""

from collections.abc import Iterator

from brineward.engine.engine import Engine
from brineward.readings.entries import Entry, LinkChanged, Started, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.readings.values import Reading, TimedBy
from depots import DEPOT, START
from engine.scripted import with_sensors

EVERY = 10 * SECOND
DOWN, UP = START + HOUR, START + 2 * HOUR


def started(at: Instant) -> Started:
    """The service starts."""
    return Started(time=at, version="1", config_hash="", zone_data="")


def readings(
    begin: Instant, end: Instant, *, received: Instant | None = None, names: str = "level shelter"
) -> Iterator[Reading]:
    """Every ten seconds, from begin to before end; received at once, or all at one time."""
    for number, time in enumerate(range(begin, end, EVERY)):
        for name in names.split():
            value = (1.5 if name == "level" else 8.0) + number % 3 / 100
            yield Reading(DEPOT, name, time, value, time if received is None else received)


def changes(*entries: Entry | Iterator[Reading]) -> list[AlarmChanged]:
    """What of the alarm `readings-missing` an engine says of these."""
    engine = Engine({DEPOT: with_sensors("shelter", "level")})
    found: list[AlarmChanged] = []
    for one in (started(START - MINUTE), LinkChanged(time=START - MINUTE, up=True), *entries):
        for entry in one if isinstance(one, Iterator) else [one]:
            outputs = engine.step(entry)
            found += [output for output in outputs if isinstance(output, AlarmChanged)]
    return [one for one in found if one.alarm == "readings-missing"]


BEFORE = LinkChanged(time=DOWN, up=False, why="the connection was lost")
AFTER = LinkChanged(time=UP, up=True)


def test_what_the_broker_dropped_is_counted_and_told_once() -> None:
    """An hour's outage of which the broker kept the first ten minutes: 50 minutes of two sensors
    at one in ten seconds are missing; announced within two minutes of the link, once, for a day."""
    found = changes(
        readings(START, DOWN),
        BEFORE,
        AFTER,
        readings(DOWN, DOWN + 10 * MINUTE, received=UP),
        readings(UP, UP + HOUR),
        Tick(time=UP + 2 * DAY),
    )
    assert [one.state for one in found] == [
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED_UNACKNOWLEDGED,
    ]
    assert found[0].value == 2 * 50 * 6
    assert UP + MINUTE <= found[0].time <= UP + 2 * MINUTE
    sentence = "readings missing, about 600, 19:09-20:00, level 300, shelter 300"
    assert found[0].sentence == sentence
    assert UP + DAY <= found[1].time <= UP + DAY + HOUR


def test_what_waited_in_the_broker_is_not_missing() -> None:
    """All of it comes late and in order: nothing is told. Nor where one topic comes wholly before
    another, so that the second is too old to be judged."""
    late = readings(DOWN, UP, received=UP)
    assert changes(readings(START, DOWN), BEFORE, AFTER, late, readings(UP, UP + HOUR)) == []
    one, other = (readings(DOWN, UP, received=UP, names=name) for name in ("level", "shelter"))
    assert changes(readings(START, DOWN), BEFORE, AFTER, one, other, readings(UP, UP + HOUR)) == []


def test_what_a_gateway_brings_after_what_is_new_fills_the_gap() -> None:
    """The gateway sends what is new first and what it kept afterwards: nothing stays missing."""
    found = changes(
        readings(START, DOWN),
        BEFORE,
        AFTER,
        readings(UP, UP + 30 * SECOND),
        readings(DOWN, UP, received=UP + 30 * SECOND),
        readings(UP + 30 * SECOND, UP + HOUR),
    )
    assert found == []


def test_a_service_that_was_away_is_an_outage_too() -> None:
    """It starts again after an hour, and the broker had no session: the hour is missing."""
    found = changes(
        readings(START, DOWN),
        started(UP),
        LinkChanged(time=UP, up=True, gap=True),
        readings(UP, UP + 10 * MINUTE),
    )
    (raised,) = found
    assert abs((raised.value or 0) - 2 * 60 * 6) <= 2


def test_a_sensor_s_own_silence_is_not_an_outage_s() -> None:
    """Silent before the outage, or long after it: that was told as a silence while it lasted."""
    only_level = readings(START, START + 10 * MINUTE, names="shelter")
    found = changes(
        only_level,
        readings(START + 10 * MINUTE, DOWN, names="level"),
        BEFORE,
        LinkChanged(time=DOWN + MINUTE, up=True),
        readings(DOWN, DOWN + HOUR, names="level"),
        readings(DOWN + HOUR, DOWN + 2 * HOUR),
    )
    assert found == []


def test_a_short_break_is_no_gap() -> None:
    """Less than the silence that is allowed anyway: no alarm was blind."""
    found = changes(
        readings(START, DOWN),
        BEFORE,
        LinkChanged(time=DOWN + 30 * SECOND, up=True, gap=True),
        readings(DOWN + 30 * SECOND, DOWN + HOUR),
    )
    assert found == []


def test_readings_without_times_are_not_counted() -> None:
    """What waited in the broker brings no time: nobody knows what is missing of it."""
    engine_sees = [
        one._replace(timed_by=TimedBy.ARRIVAL)
        for part in (readings(START, DOWN), readings(UP, UP + HOUR))
        for one in part
    ]
    before = [one for one in engine_sees if one.time < DOWN]
    found = changes(iter(before), BEFORE, AFTER, iter(engine_sees[len(before) :]))
    assert found == []
