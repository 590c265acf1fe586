"""The engine takes whatever comes: no entry makes it raise, and what it says stays well-formed.

By default 150 pasts; more with BRINEWARD_EXAMPLES in the environment.
"""

import os

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
from brineward.readings.outputs import TextDue
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from brineward.wording.gsm import septets
from depots import DEPOT, START, plan

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
FIELDS = st.dictionaries(
    st.one_of(st.sampled_from(["number", "by", "person", "body", "kind", "vessel"]), st.text()),
    st.one_of(NAMES, st.floats(), st.integers(), st.booleans()),
    max_size=6,
)
TEXT_IDS = st.one_of(
    NAMES,
    st.builds(
        lambda number, person: f"{DEPOT}-{number}-raised-1-{person}",
        st.one_of(st.integers(-5, 5), st.sampled_from(["9" * 5000, "٣", "²", ""])),
        NAMES,
    ),
)
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
    st.builds(
        Act,
        depot=st.just(DEPOT),
        time=TIMES,
        received=TIMES,
        act=st.one_of(st.sampled_from(["take", "test", "mode", "answer"]), st.text()),
        fields=FIELDS,
    ),
    st.builds(
        Delivery,
        depot=st.just(DEPOT),
        time=TIMES,
        text=TEXT_IDS,
        outcome=st.sampled_from(["accepted", "dead"]),
        why=NAMES,
    ),
    st.builds(LinkChanged, time=TIMES, up=st.booleans(), gap=st.booleans(), why=NAMES),
    st.builds(Started, time=TIMES, version=NAMES, config_hash=NAMES, zone_data=NAMES),
    st.builds(
        ServiceTrouble,
        time=TIMES,
        trouble=st.sampled_from(["disk-low", "records-damaged"]),
        present=st.booleans(),
        sentence=NAMES,
    ),
    st.builds(Tick, time=TIMES),
)


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.lists(ENTRIES, max_size=40))
def test_no_entry_makes_it_raise(entries: list[Entry]) -> None:
    """Huge times, odd numbers, empty names, weird acts: it goes on, and can be written down."""
    engine = Engine({DEPOT: plan()})
    for entry in entries:
        for output in engine.step(entry):
            if isinstance(output, TextDue):
                assert 0 < septets(output.body) <= 160
        deadline = engine.next_deadline
        assert deadline is None or isinstance(deadline, int)
    kept = engine.snapshots()
    other = Engine({DEPOT: plan()})
    other.restore(kept)
    assert other.snapshots() == kept
