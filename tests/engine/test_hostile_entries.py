"""The engine takes whatever comes: no entry makes it raise, and what it says stays well-formed.

By default 150 pasts; more with BRINEWARD_EXAMPLES in the environment.
"""

import os

from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.readings.entries import (
    AlarmGone,
    Answer,
    ClockStepped,
    Delivery,
    Entry,
    HandTest,
    LinkChanged,
    ServiceTrouble,
    Started,
    StruckTest,
    Take,
    Tick,
)
from brineward.readings.outputs import AlarmState, Priority, TextDue
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from brineward.wording.gsm import septets
from depots import DEPOT, START, plan
from engine.scripted import text_of

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "150"))

TIMES = st.one_of(
    st.integers(START - 10**9, START + 10**9),
    st.sampled_from([0, -1, 1, START, 2**31, 2**53, 2**63 - 1, -(2**63), 2**64, 10**30, -(10**30)]),
    st.integers(),
)
FLOATS = st.one_of(st.none(), st.floats(), st.sampled_from([0.0, -0.0, 1.0, 2.2, 1e308, -1e308]))
NAMES = st.one_of(
    st.sampled_from(
        [*plan().sensors, "yard", "dispatch", "", "\x00", "x" * 500, "€{}[]", "🧂", "{0}"]
    ),
    st.text(max_size=20),
)
NUMBERS = st.one_of(st.integers(-5, 5), st.integers())
OURS = {"depot": st.just(DEPOT), "time": TIMES}
ENTRIES: st.SearchStrategy[Entry] = st.one_of(
    st.builds(
        Reading,
        st.sampled_from([DEPOT, "elsewhere", ""]),
        NAMES,
        TIMES,
        FLOATS,
        TIMES,
        st.sampled_from(Quality),
        NAMES,
        st.sampled_from(TimedBy),
        st.booleans(),
        FLOATS,
    ),
    st.builds(Refusal, st.just(DEPOT), NAMES, TIMES, NAMES, NAMES, NAMES, st.binary(max_size=8)),
    st.builds(Take, **OURS, received=TIMES, number=NUMBERS, by=NAMES),
    st.builds(
        HandTest,
        **OURS,
        received=TIMES,
        vessel=st.sampled_from(["main", "", "nowhere"]),
        at=TIMES,
        mass_fraction=st.floats(0.01, 0.265),
        standard_uncertainty=st.floats(1e-5, 0.1),
        by=NAMES,
        cleaned=st.booleans(),
        entered=NAMES,
    ),
    st.builds(
        StruckTest,
        **OURS,
        received=TIMES,
        vessel=st.sampled_from(["main", "", "nowhere"]),
        at=TIMES,
        mass_fraction=st.floats(),
        by=NAMES,
        why=NAMES,
    ),
    st.builds(
        Answer,
        **OURS,
        received=TIMES,
        person=NAMES,
        body=NAMES,
        opted=st.sampled_from(["", "out", "in"]),
    ),
    st.builds(
        Delivery,
        **OURS,
        text=NAMES,
        number=NUMBERS,
        person=NAMES,
        outcome=st.sampled_from(["accepted", "dead"]),
        why=NAMES,
    ),
    st.builds(
        AlarmGone,
        **OURS,
        alarm=NAMES,
        source=NAMES,
        number=NUMBERS,
        state=st.sampled_from([state.value for state in AlarmState]),
        priority=st.sampled_from([priority.value for priority in Priority]),
    ),
    st.builds(ClockStepped, time=TIMES, by=st.one_of(st.integers(-(10**9), 10**9), TIMES)),
    st.builds(LinkChanged, time=TIMES, up=st.booleans(), gap=st.booleans(), why=NAMES),
    st.builds(Started, time=TIMES, version=NAMES, config_hash=NAMES, zone_data=NAMES),
    st.builds(
        ServiceTrouble,
        time=TIMES,
        trouble=st.sampled_from(["disk-low", "records-damaged", "channel-unusable"]),
        present=st.booleans(),
        sentence=NAMES,
    ),
    st.builds(Tick, time=TIMES),
)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.lists(ENTRIES, max_size=40))
def test_no_entry_makes_it_raise(entries: list[Entry]) -> None:
    """Huge times, odd numbers, empty names, clocks gone mad: it goes on, and can be kept."""
    engine = Engine({DEPOT: plan()})
    for entry in entries:
        for output in engine.step(entry):
            if isinstance(output, TextDue):
                assert 0 < septets(text_of(output)) <= 160
        deadline = engine.next_deadline
        assert deadline is None or isinstance(deadline, int)
    kept = engine.snapshots()
    other = Engine({DEPOT: plan()})
    other.restore(kept)
    assert other.snapshots() == kept
