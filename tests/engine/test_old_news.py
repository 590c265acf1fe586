"""What came late: a backlog wakes nobody before the present is reached, then one text says it."""

from collections.abc import Iterable

from brineward.engine.engine import Engine
from brineward.readings.entries import Started
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from brineward.readings.values import Reading
from depots import DEPOT, START
from engine.scripted import Script, World, text_of, with_sensors


def frozen() -> Script:
    """A depot whose shelter is frozen from the start: a high alarm after five minutes."""
    return Script(with_sensors("shelter"), world=World(shelter=-3.0))


def texts(outputs: Iterable[Output]) -> list[TextDue]:
    """The texts among outputs."""
    return [o for o in outputs if isinstance(o, TextDue)]


def stopped(level: float = 1.5) -> Engine:
    """A depot whose watch was stopped right after a healthy reading."""
    engine = Engine({DEPOT: with_sensors("shelter", "level")})
    engine.step(Started(time=START, version="1", config_hash="", zone_data=""))
    engine.step(Reading(DEPOT, "level", START + SECOND, level, START + SECOND))
    return engine


def backlog(
    engine: Engine, values: Iterable[tuple[str, float]], *, now: Instant, gap: int = 30 * SECOND
) -> list[Output]:
    """Buffered readings, half a minute apart, that all arrive now."""
    found: list[Output] = []
    for place, (name, value) in enumerate(values, 1):
        found += engine.step(Reading(DEPOT, name, START + place * gap, value, now))
    return found


def test_what_came_and_went_in_a_backlog_is_one_summary() -> None:
    """Two hours of buffered readings with a frost in them that has passed: one text, no wake-up."""
    engine = stopped()
    now = START + 2 * HOUR
    engine.step(Started(time=now, version="1", config_hash="", zone_data=""))
    values = [("shelter", -3.0)] * 60 + [("shelter", 8.0)] * 170
    found = backlog(engine, values, now=now)
    assert texts(found) == []
    assert [o.state for o in found if isinstance(o, AlarmChanged)] == [
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED_UNACKNOWLEDGED,
    ]
    live = texts(engine.step(Reading(DEPOT, "shelter", now, 8.0, now)))
    assert [text.kind for text in live] == ["summary"]
    assert "1 alarm came and went meanwhile: TH1" in text_of(live[0])


def test_what_still_stands_at_the_end_of_a_backlog_is_told_once() -> None:
    """The frost goes on: told as an alarm when the present is reached, with its old beginning."""
    engine = stopped()
    now = START + 2 * HOUR
    found = backlog(engine, [("shelter", -3.0)] * 230, now=now)
    assert texts(found) == []
    live = [
        text
        for text in texts(engine.step(Reading(DEPOT, "shelter", now, -3.0, now)))
        if text.number == 1
    ]
    assert [text.kind for text in live] == ["raised"]
    assert live[0].time == now
    assert "Since 18:00" in text_of(live[0])


def test_rounds_that_fell_due_while_the_watch_was_down_are_one_round() -> None:
    """An alarm that nobody had taken before a stop of six hours: one text after it, not nine."""
    script = frozen().run(400)
    later = START + 6 * HOUR
    found = list(script.step(Started(time=later, version="1", config_hash="", zone_data="")))
    found += script.step(Reading(DEPOT, "shelter", later, -3.0, later))
    again = [t for t in texts(found) if t.number == 1]
    assert [t.person for t in again] == ["dispatch"]


def test_that_it_cleared_in_a_backlog_is_told_to_who_was_told_before_it() -> None:
    """Woken before the stop, cleared during it: whoever was woken reads that it has."""
    script = frozen().run(400)
    now = START + 4 * HOUR
    engine = script.engine
    engine.step(Started(time=now, version="1", config_hash="", zone_data=""))
    found: list[Output] = []
    for minutes in range(10, 240):
        time = START + minutes * MINUTE
        found += engine.step(Reading(DEPOT, "shelter", time, 8.0, now))
    found += engine.step(Reading(DEPOT, "shelter", now, 8.0, now))
    assert [(t.kind, t.person) for t in texts(found)] == [("cleared", "yard")]


def test_late_readings_do_not_rewind() -> None:
    """A buffered frost that arrives after newer readings raises nothing any more."""
    script = Script(with_sensors("shelter", "level")).run(3600)
    now = START + script.now * SECOND
    for minutes in range(5, 50):
        time = START + minutes * MINUTE
        assert script.step(Reading(DEPOT, "shelter", time, -5.0, now)) == ()
