"""A mode that the schedule sets: at its very hour, once, through restarts, told to one person."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan
from brineward.plant.seasons import Season, Seasons
from brineward.readings.entries import ClockStepped, Entry, LinkChanged, ModeSet, Started, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, Instant, instant_from_rfc3339
from brineward.readings.modes import Mode
from brineward.readings.outputs import EpisodeChanged, Output, TextDue
from brineward.wording.segment import segment
from depots import DEPOT, plan

AT = instant_from_rfc3339("2026-04-30T13:00:00Z")
"""08:00 in Chicago, in summer time."""


def depot(*seasons: Season) -> DepotPlan:
    """Laid up from 30 April where nothing else is said; without sensors."""
    its = seasons or (Season(4, 30, Mode.LAID_UP),)
    return replace(plan(sensors={}), zone=ZoneInfo("America/Chicago"), seasons=Seasons(its))


def run(its: DepotPlan, *entries: Entry) -> list[Output]:
    """What an engine says of these entries."""
    engine = Engine({DEPOT: its})
    return [output for entry in entries for output in engine.step(entry)]


def ticks(*times: Instant) -> list[Entry]:
    """Time comes to these."""
    return [Tick(time=time) for time in times]


def modes(outputs: list[Output]) -> list[tuple[str, Instant]]:
    """The modes that began, and when."""
    return [
        (o.source, o.began)
        for o in outputs
        if isinstance(o, EpisodeChanged) and o.episode == "mode" and o.ended is None
    ]


def news(outputs: list[Output]) -> list[TextDue]:
    """The texts about them."""
    return [o for o in outputs if isinstance(o, TextDue) and o.kind == "news"]


def person_sets(mode: Mode, time: Instant) -> ModeSet:
    """The yard lead sets it."""
    return ModeSet(depot=DEPOT, time=time, received=time, mode=mode, by="yard")


def test_it_begins_at_eight_by_the_depots_clock() -> None:
    """Not a moment before, and at that very moment however late the next entry comes."""
    assert modes(run(depot(), *ticks(AT - DAY, AT - 1))) == []
    assert modes(run(depot(), *ticks(AT - DAY, AT + 3 * HOUR))) == [("laid up", AT)]


def test_the_first_on_call_is_told_at_once_what_it_changes() -> None:
    """One low text, in daylight, in one segment."""
    (text,) = news(run(depot(), *ticks(AT - DAY, AT)))
    assert (text.person, text.priority, text.time) == ("yard", "low", AT)
    body = segment(text.notice)
    assert body.startswith("Tern Hollow is laid up from today, by its schedule. No texts of: ")
    assert len(body) <= 160


def test_after_an_outage_nobody_is_woken_for_it() -> None:
    """The service was down over the date and starts at midnight: the text waits for seven."""
    night = AT + 16 * HOUR
    found = run(depot(), *ticks(AT - DAY, night, night + DAY))
    assert modes(found) == [("laid up", AT)]
    assert [text.time for text in news(found)] == [AT + 23 * HOUR]


def test_of_several_dates_missed_each_is_set_and_the_last_is_told() -> None:
    """Down from spring to autumn."""
    its = depot(Season(4, 30, Mode.LAID_UP), Season(10, 15, Mode.FILLING_UP))
    found = run(its, *ticks(AT - DAY, AT + 200 * DAY))
    assert [name for name, _ in modes(found)] == ["laid up", "filling up"]
    last = [text for text in news(found) if "by its schedule" in text.notice.plain]
    assert "filling up" in last[-1].notice.plain


def test_a_date_before_the_first_start_is_none() -> None:
    """A new config does not lay up a depot in December for the April before."""
    assert modes(run(depot(), *ticks(AT + 200 * DAY, AT + 201 * DAY))) == []


def test_a_schedule_that_is_new_in_the_config_begins_from_then_on() -> None:
    """Seasons written into the config of a depot that has long been watched."""
    engine = Engine({DEPOT: replace(depot(), seasons=Seasons())})
    engine.step(Tick(time=AT - DAY))
    engine.step(Tick(time=AT + DAY))
    kept = engine.snapshots()
    engine = Engine({DEPOT: depot()})
    assert engine.restore(kept) == []
    assert modes(list(engine.step(Tick(time=AT + 2 * DAY)))) == []


def test_what_a_person_sets_holds_until_the_next_date() -> None:
    """Also minutes after the schedule, and nobody is told of what was overruled at night."""
    said = person_sets(Mode.IN_SERVICE, AT + HOUR)
    found = run(depot(), *ticks(AT - DAY), said, *ticks(AT + 30 * DAY, AT + 366 * DAY))
    assert modes(found) == [("laid up", AT), ("in service", AT + HOUR), ("laid up", AT + 365 * DAY)]


def test_the_mode_that_it_already_is_is_no_news() -> None:
    """Laid up by hand the week before."""
    said = person_sets(Mode.LAID_UP, AT - 2 * DAY)
    down = LinkChanged(time=AT - 2 * DAY, up=False)
    found = run(depot(), *ticks(AT - 3 * DAY), down, said, *ticks(AT + DAY))
    assert modes(found) == [("laid up", AT - 2 * DAY)]
    assert news(found) == []


@pytest.mark.parametrize("by", [2 * HOUR, -2 * HOUR])
def test_a_clock_set_about_its_hour_neither_skips_nor_doubles_it(by: Instant) -> None:
    """Set forward over it, or back after it."""
    at = AT - HOUR if by > 0 else AT + HOUR
    stepped = ClockStepped(time=at + by, by=by)
    later = [at + by + minutes * MINUTE for minutes in (6, 60, 180, 300)]
    found = run(depot(), *ticks(AT - DAY, at), stepped, *ticks(*later))
    assert [name for name, _ in modes(found)] == ["laid up"]


STEPS = st.lists(
    st.tuples(st.integers(1, DAY), st.sampled_from([None, *Mode]), st.booleans(), st.booleans()),
    max_size=25,
)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_replay_is_live_with_a_schedule_through_restarts_and_ticks(
    steps: list[tuple[Instant, Mode | None, bool, bool]],
) -> None:
    """Ticked now and then and restarted from its snapshot anywhere, it says the same.

    A step of more than a day was no watch, so none is taken here.
    """
    its = depot(
        Season(4, 20, Mode.DRAINING), Season(4, 30, Mode.LAID_UP), Season(5, 1, Mode.FILLING_UP)
    )
    straight, stopped = Engine({DEPOT: its}), Engine({DEPOT: its})
    said: list[Output] = []
    again: list[Output] = []
    now = AT - 12 * DAY
    for gap, mode, restarts, ticked in steps:
        if ticked:
            again += stopped.step(Tick(time=now + gap // 2)) if now > AT - 12 * DAY else ()
        now += gap
        entry: Entry = Tick(time=now) if mode is None else person_sets(mode, now)
        if restarts:
            kept = stopped.snapshots()
            stopped = Engine({DEPOT: its})
            assert stopped.restore(kept) == []
            assert stopped.snapshots() == kept
        said += straight.step(entry)
        again += stopped.step(entry)
    assert repr(said) == repr(again)


def test_a_start_by_the_service_is_no_date() -> None:
    """The service starts in the middle of the year, and its first tick sets nothing."""
    start = Started(time=AT + DAY, version="1", config_hash="", zone_data="")
    assert modes(run(depot(), start, *ticks(AT + DAY + 1))) == []
