"""The outputs are a function of the entries alone: not of ticks, batches or restarts.

By default 80 pasts each; more with BRINEWARD_EXAMPLES=400 in the environment.
"""

import os
from collections.abc import Sequence

from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.readings.entries import (
    Act,
    Delivery,
    Entry,
    LinkChanged,
    ServiceTrouble,
    Started,
    Tick,
)
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Output
from brineward.readings.values import Reading, Refusal
from depots import DEPOT, START, plan

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "80"))

VALUES = {
    "level": st.sampled_from([0.0, 0.2, 2.19, 2.2, 2.21, 2.27, 2.3, 2.39, 3.0, None]),
    "cond": st.sampled_from([0.0, 1.0, 14.0, 15.5, 17.3, 18.0, 30.0, 99.0, None]),
    "temp": st.sampled_from([-25.0, -5.0, 0.0, 9.0, 10.0, 11.0, None]),
    "shelter": st.sampled_from([-1.0, 0.0, 2.9, 3.1, 5.0, 8.0, None]),
    "running": st.sampled_from([0.0, 1.0]),
    "valve": st.sampled_from([0.0, 1.0]),
}
GAPS = st.sampled_from([0.0, 0.5, 3.0, 10.0, 10.0, 30.0, 61.0, 121.0, 400.0, 4000.0])
LAGS = st.sampled_from([0.0, 0.0, 0.0, 1.0, 50.0, 130.0, 700.0, -60.0, -500.0])


@st.composite
def happenings(draw: st.DrawFn) -> list[Entry]:
    """A made-up past of a depot: readings good, bad, late and early, acts, the link, texts."""
    found: list[Entry] = []
    now = START
    for _ in range(draw(st.integers(1, 60))):
        now += round(draw(GAPS) * SECOND)
        found.append(draw(_entry(now)))
    return found


@st.composite
def _entry(draw: st.DrawFn, now: int) -> Entry:
    kind = draw(st.integers(0, 19))
    if kind < 13:
        name = draw(st.sampled_from(sorted(VALUES)))
        time = now - round(draw(LAGS) * SECOND)
        return Reading(DEPOT, name, time, draw(VALUES[name]), now)
    number = draw(st.integers(0, 5))
    person = draw(st.sampled_from(["yard", "dispatch", "nobody"]))
    return draw(
        st.sampled_from(
            [
                Refusal(DEPOT, draw(st.sampled_from(sorted(VALUES))), now, "not-a-number", "no"),
                Act(
                    depot=DEPOT,
                    time=now,
                    received=now,
                    act="take",
                    fields={"number": number, "by": person},
                ),
                Act(depot=DEPOT, time=now, received=now, act="take", fields={"number": "x"}),
                Act(
                    depot=DEPOT,
                    time=now,
                    received=now,
                    act="test",
                    fields={"vessel": "main", "percent": draw(st.sampled_from([21.0, 23.3, 99]))},
                ),
                LinkChanged(time=now, up=draw(st.booleans())),
                Started(time=now, version="1", config_hash="x", zone_data="x"),
                Delivery(
                    depot=DEPOT,
                    time=now,
                    text=f"{DEPOT}-{number}-raised-1-{person}",
                    outcome=draw(st.sampled_from(["accepted", "dead"])),
                ),
                ServiceTrouble(
                    time=now, trouble="disk-low", present=draw(st.booleans()), sentence="3 MB left"
                ),
            ]
        )
    )


def straight(entries: Sequence[Entry]) -> list[Output]:
    """All outputs of one uninterrupted run."""
    engine = Engine({DEPOT: plan()})
    return [output for entry in entries for output in engine.step(entry)]


def _lag(entry: Entry) -> int:
    return entry.received - entry.time if isinstance(entry, Reading) else 0


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(), st.data())
def test_restarts_from_snapshots_change_nothing(entries: list[Entry], data: st.DataObject) -> None:
    """Restored from its snapshot between any two entries, the engine goes on as if nothing was."""
    engine = Engine({DEPOT: plan()})
    found: list[Output] = []
    for entry in entries:
        if data.draw(st.integers(0, 3)) == 0:
            kept = engine.snapshots()
            engine = Engine({DEPOT: plan()})
            engine.restore(kept)
            assert engine.snapshots() == kept
        found += engine.step(entry)
    assert repr(found) == repr(straight(entries))


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(), st.data())
def test_more_ticks_change_nothing(entries: list[Entry], data: st.DataObject) -> None:
    """Ticked at any moments up to the next entry, the engine concludes the same."""
    engine = Engine({DEPOT: plan()})
    found: list[Output] = []
    behind = False
    for entry in entries:
        until = entry.time if not isinstance(entry, Refusal) else entry.received
        if isinstance(entry, Reading):
            until = min(entry.time, entry.received)
        # As in the service: no ticks while old news is still coming in, nor ahead of what comes.
        moves = isinstance(entry, Reading | Refusal | Act | Delivery)
        if moves and not behind and _lag(entry) == 0 and data.draw(st.booleans()):
            deadline = engine.next_deadline
            ticks = data.draw(st.lists(st.integers(0, 100_000), max_size=3))
            for before in sorted(ticks, reverse=True):
                found += engine.step(Tick(time=until - before))
            if deadline is not None and deadline <= until:
                found += engine.step(Tick(time=deadline))
        behind = _lag(entry) != 0 if isinstance(entry, Reading) else behind
        found += engine.step(entry)
    assert repr(found) == repr(straight(entries))


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings())
def test_the_same_entries_again_change_nothing(entries: list[Entry]) -> None:
    """Readings that the broker sends a second time raise nothing and clear nothing."""
    engine = Engine({DEPOT: plan()})
    for entry in entries:
        engine.step(entry)
        if isinstance(entry, Reading) and _lag(entry) == 0:
            assert engine.step(entry) == ()
