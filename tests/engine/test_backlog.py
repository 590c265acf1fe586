"""What had waited in a gateway or a broker: judged in its own time, whatever comes among it."""

from collections.abc import Sequence

import pytest

from brineward.engine.engine import Engine
from brineward.readings.entries import Entry, LinkChanged, Started, Take, Tick
from brineward.readings.instants import HOUR, MINUTE, SECOND
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.readings.values import Reading, Refusal, TimedBy
from depots import DEPOT, START, plan, reading
from engine.scripted import Script, seconds_of, with_sensors

NOW = START + 2 * HOUR
"""When the backlog arrives."""


def clean(begin: float = 10.0) -> list[Entry]:
    """Half an hour of a shelter at -3 degC beside a healthy level, every half minute."""
    found: list[Entry] = []
    for place in range(60):
        for name, value, after in (("level", 1.5, 0), ("shelter", -3.0, 20)):
            time = START + round((begin + place * 30 + after) * SECOND)
            found.append(Reading(DEPOT, name, time, value, NOW))
    return found


def played(entries: Sequence[Entry], *, first: Sequence[Entry] = ()) -> list[AlarmChanged]:
    """The changes of alarms of an engine that was watching before."""
    engine = Engine({DEPOT: with_sensors("shelter", "level")})
    started = Started(time=START, version="1", config_hash="", zone_data="")
    return [
        output
        for entry in (started, *first, *entries)
        for output in engine.step(entry)
        if isinstance(output, AlarmChanged)
    ]


def bare(name: str, value: float, received: int = NOW) -> Reading:
    """A reading that brings no time of its own."""
    return Reading(DEPOT, name, received, value, received, timed_by=TimedBy.ARRIVAL)


def refused(name: str = "level") -> Refusal:
    """A payload that can't be read, among what had waited."""
    return Refusal(DEPOT, name, NOW, "not-a-number", "not a number")


UP = LinkChanged(time=NOW, up=True)
AMONG: dict[str, list[Entry]] = {
    "one refused payload": [refused()],
    "many refused payloads": [refused()] * 5,
    "a bare reading": [bare("level", 1.5)],
    "a bare reading of the same sensor": [bare("shelter", 8.0)],
    "one from a clock a year ahead": [
        Reading(DEPOT, "level", NOW + 300 * 24 * HOUR, 1.5, NOW),
    ],
    "a refused payload of no sensor of ours": [refused("nowhere")],
}


@pytest.mark.parametrize("link", [(), (UP,)], ids=["live before", "after the link came up"])
@pytest.mark.parametrize("place", [0, 1, 7, 30, 118])
@pytest.mark.parametrize("name", AMONG)
def test_what_has_no_time_among_a_backlog_changes_nothing(
    name: str, place: int, link: tuple[Entry, ...]
) -> None:
    """A frost that waited two hours is raised at its own time: 330 s after it began, and no other.

    Before, one such payload moved time to its arrival, and the rest was late for good.
    """
    entries = clean()
    # The first of a backlog shows how old it is; before it nobody can know, but for the link.
    place = place if link else max(place, 1)
    found = played([*entries[:place], *AMONG[name], *entries[place:]], first=link)
    expected = played(entries, first=link)
    freezing = [c for c in expected if c.alarm == "shelter-freezing"]
    assert [(seconds_of(c.time), c.state) for c in freezing] == [(330.0, AlarmState.UNACKNOWLEDGED)]
    assert [c for c in found if c.alarm != "clock-wrong"] == expected


@pytest.mark.parametrize("place", [1, 30, 118])
@pytest.mark.parametrize("name", AMONG)
def test_an_act_let_through_among_a_backlog_does_not_make_it_the_present(
    name: str, place: int
) -> None:
    """A take is carried out two hours behind; what has no time of its own still moves no time."""
    entries = clean()
    at = max(START, entries[place - 1].time)  # type: ignore[union-attr]
    take = Take(depot=DEPOT, time=at, received=NOW, number=1, by="yard")
    found = played([*entries[:place], take, *AMONG[name], *entries[place:]], first=(UP,))
    raised = [c for c in found if c.alarm == "shelter-freezing"]
    assert seconds_of(raised[0].time) == 330.0
    assert raised[0].state is AlarmState.UNACKNOWLEDGED


def test_once_the_present_is_reached_a_bare_reading_is_of_now() -> None:
    """The link is up and what waited is through: a tick says so, and arrivals count again."""
    engine = Engine({DEPOT: plan()})
    engine.step(Started(time=START, version="1", config_hash="", zone_data=""))
    engine.step(LinkChanged(time=START + MINUTE, up=True))
    engine.step(bare("level", 1.5, START + 61 * SECOND))
    assert engine.plant(DEPOT).sensors["level"].value is None
    due = engine.next_deadline
    assert due is not None
    assert due <= START + 61 * SECOND
    engine.step(Tick(time=START + 62 * SECOND))
    engine.step(bare("level", 1.5, START + 63 * SECOND))
    assert engine.plant(DEPOT).sensors["level"].value == 1.5


@pytest.mark.parametrize("late", [0, 30, 70, 110, 200])
def test_a_gateway_that_is_always_late_blinds_no_switch_of_another(late: int) -> None:
    """Levels come by a slow radio; the switches bring no time: the closed valve is told at once."""
    script = Script(bare={"running", "valve"})
    engine, step = script.engine, script.step
    del engine

    def slowly(entry: Entry) -> object:
        if isinstance(entry, Reading) and entry.sensor not in script.bare:
            entry = entry._replace(time=entry.time - late * SECOND)
        return step(entry)

    script.step = slowly  # type: ignore[assignment, method-assign]
    script.at(607, running=1.0).run(700)
    (raised,) = script.heard_raised("closed-valve")
    assert 607 < raised <= 607 + 15


def test_a_sensor_that_asks_to_be_heard_sooner_is_missed_in_time() -> None:
    """It allowed itself an hour, then a minute: silent from there, it is told after a minute."""
    script = Script(with_sensors("shelter", "temp")).run(100)
    script.world.silent.add("shelter")
    script.step(reading("shelter", 101, 7.0)._replace(silent_after_seconds=3600.0))
    script.run(200)
    script.step(reading("shelter", 201, 7.0)._replace(silent_after_seconds=60.0))
    script.run(1000)
    (raised,) = script.heard_raised("sensor-silent", "shelter")
    assert 201 + 60 + 60 <= raised <= 201 + 60 + 60 + 2
