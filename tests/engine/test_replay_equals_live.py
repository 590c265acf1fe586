"""The outputs are a function of the entries alone: not of ticks, batches or restarts.

By default 80 pasts each; more with BRINEWARD_EXAMPLES=400 in the environment.
"""

import os
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.readings.entries import (
    Answer,
    Delivery,
    Entry,
    Handling,
    HandTest,
    LinkChanged,
    StruckTest,
    Take,
    Tick,
)
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmChanged, Output
from brineward.readings.values import Reading, Refusal, TimedBy
from depots import DEPOT, START, plan, reading
from engine.happenings import happenings

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "80"))


def straight(entries: Sequence[Entry]) -> list[Output]:
    """All outputs of one uninterrupted run."""
    engine = Engine({DEPOT: plan()})
    return [output for entry in entries for output in engine.step(entry)]


def _lag(entry: Entry) -> int:
    return entry.received - entry.time if isinstance(entry, Reading) else 0


def restarted(entries: Sequence[Entry], data: st.DataObject) -> list[Output]:
    """All outputs of a run that is stopped now and then, and goes on from its snapshot."""
    engine = Engine({DEPOT: plan()})
    found: list[Output] = []
    for entry in entries:
        if data.draw(st.integers(0, 3)) == 0:
            kept = engine.snapshots()
            engine = Engine({DEPOT: plan()})
            assert engine.restore(kept) == []
            assert engine.snapshots() == kept
        found += engine.step(entry)
    return found


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(), st.data())
def test_restarts_from_snapshots_change_nothing(entries: list[Entry], data: st.DataObject) -> None:
    """Restored from its snapshot between any two entries, the engine goes on as if nothing was."""
    assert repr(restarted(entries, data)) == repr(straight(entries))


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(clock_set=True), st.data())
def test_restarts_while_the_clock_is_set_change_nothing(
    entries: list[Entry], data: st.DataObject
) -> None:
    """The same while this machine's clock jumps about: what is counted is in the snapshot."""
    assert repr(restarted(entries, data)) == repr(straight(entries))


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(), st.data())
def test_more_ticks_change_nothing(entries: list[Entry], data: st.DataObject) -> None:
    """Ticked at any moments up to the next entry, the engine concludes the same."""
    engine = Engine({DEPOT: plan()})
    found: list[Output] = []
    behind, latest = False, 0
    for entry in entries:
        until = entry.time if not isinstance(entry, Refusal) else entry.received
        if isinstance(entry, Reading):
            until = min(entry.time, entry.received)
        # As in the service: no ticks while old news is still coming in, nor ahead of what comes.
        # And the first one after the link came up is more than a tick.
        moves = isinstance(
            entry, Reading | Take | Handling | HandTest | StruckTest | Answer | Delivery
        )
        mere = moves and not behind and engine._depots[DEPOT]._proven
        if mere and _lag(entry) == 0 and data.draw(st.booleans()):
            deadline = engine.next_deadline
            ticks = data.draw(st.lists(st.integers(0, 100_000), max_size=3))
            # Nor before what has arrived already: the service's ticks are of its own present.
            for tick in sorted(until - before for before in ticks):
                found += engine.step(Tick(time=tick)) if tick >= latest else ()
            if deadline is not None and latest <= deadline <= until:
                found += engine.step(Tick(time=deadline))
        latest = max(latest, entry.received if isinstance(entry, Reading | Refusal) else 0)
        # What is stamped by its arrival may have waited, and shows nothing of how late it is.
        if isinstance(entry, Reading) and entry.timed_by is TimedBy.SENSOR:
            behind = _lag(entry) != 0
        found += engine.step(entry)
    assert repr(found) == repr(straight(entries))


@pytest.mark.parametrize(
    "before",
    [
        [reading("cond", 0, 0.0), LinkChanged(time=START, up=True)],
        [reading("level", 0, 0.0), reading("cond", 10, 0.0, lag=700.0)],
    ],
    ids=["the link came up", "old news comes in"],
)
def test_a_tick_says_that_what_waited_is_through(before: list[Entry]) -> None:
    """From then on what is stamped by its arrival is of now; before, nobody knows when it was sent.

    So that tick alone does change something: two examples that ticked at any time had found, of
    which one took such a reading itself for a sign of the present.
    """
    waited = before[-1].received if isinstance(before[-1], Reading) else START
    at = waited + 195 * SECOND
    arrived = Reading(DEPOT, "shelter", at, 9.0, at, timed_by=TimedBy.ARRIVAL)
    alarms = {
        ticked: [
            output.alarm
            for output in straight([*before, *[Tick(time=waited)] * ticked, arrived])
            if isinstance(output, AlarmChanged)
        ]
        for ticked in (0, 1)
    }
    assert alarms[0] == []
    assert alarms[1] != []


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings())
def test_the_same_entries_again_change_nothing(entries: list[Entry]) -> None:
    """Readings that the broker sends a second time raise nothing and clear nothing."""
    engine = Engine({DEPOT: plan()})
    for entry in entries:
        engine.step(entry)
        if isinstance(entry, Reading) and _lag(entry) == 0:
            assert engine.step(entry) == ()


def test_what_a_reading_asked_for_is_not_asked_again_by_a_payload_that_is_unread() -> None:
    """A shorter silence was asked for, then comes what can't be read among old news: restarted in
    between or not, the silence is looked for at the same time."""
    entries: list[Entry] = [
        reading("cond", 0, 20.0),
        reading("temp", 0, 5.0)._replace(silent_after_seconds=30.0),
        reading("cond", 270, 20.0)._replace(received=START + 400 * SECOND),
    ]
    unread = Refusal(DEPOT, "temp", START + 400 * SECOND, "not-a-number", "no", "", b"")
    engine, again = Engine({DEPOT: plan()}), Engine({DEPOT: plan()})
    for entry in entries:
        engine.step(entry)
    assert again.restore(engine.snapshots()) == []
    for one in (engine, again):
        one.step(unread)
    assert engine.next_deadline == again.next_deadline
