"""Two depots in one engine: neither knows of the other.

By default 60 pasts; more with BRINEWARD_EXAMPLES in the environment.
"""

import os
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.readings.entries import Delivery, Entry, Started, Take, Tick
from brineward.readings.instants import SECOND
from brineward.readings.values import Reading
from depots import START, plan

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "60"))
ONE, OTHER = "tern-hollow", "kettle-ridge"
PLANS = {ONE: plan(), OTHER: replace(plan(), id=OTHER, name="Kettle Ridge", short="KR")}
VALUES = {
    "level": [1.5, 2.2, 2.3, 2.39, 9.0],
    "cond": [0.0, 14.0, 17.3, 99.0],
    "temp": [-5.0, 10.0],
    "shelter": [-3.0, 8.0],
    "running": [0.0, 1.0],
    "valve": [0.0, 1.0],
}


@st.composite
def pasts(draw: st.DrawFn) -> list[Entry]:
    """What happened at both, in the order of time."""
    found: list[Entry] = [Started(time=START, version="1", config_hash="", zone_data="")]
    now = START
    for _ in range(draw(st.integers(1, 60))):
        now += draw(st.sampled_from([0, 1, 10, 60, 400])) * SECOND
        depot = draw(st.sampled_from([ONE, OTHER]))
        kind = draw(st.integers(0, 9))
        if kind < 8:
            name = draw(st.sampled_from(sorted(VALUES)))
            found.append(Reading(depot, name, now, draw(st.sampled_from(VALUES[name])), now))
        elif kind == 8:
            number = draw(st.integers(1, 3))
            found.append(Take(depot=depot, time=now, received=now, number=number, by="yard"))
        else:
            number = draw(st.integers(1, 3))
            found.append(
                Delivery(
                    depot=depot, time=now, text="x", number=number, person="yard", outcome="dead"
                )
            )
    return [*found, Tick(time=now + 7200 * SECOND)]


@settings(max_examples=EXAMPLES, deadline=None)
@given(pasts())
def test_side_by_side_is_each_alone(entries: list[Entry]) -> None:
    """What one depot's engine says is the same with another depot beside it and without."""
    both = Engine(PLANS)
    together = [output for entry in entries for output in both.step(entry)]
    for depot, its in PLANS.items():
        alone = Engine({depot: its})
        found = [output for entry in entries for output in alone.step(entry)]
        assert [o for o in together if o.depot == depot] == found
    assert both.snapshots()[ONE] != both.snapshots()[OTHER] or len(entries) < 5


def test_entries_of_a_depot_that_is_not_ours_change_nothing() -> None:
    """A reading of a third depot is nobody's."""
    engine = Engine(PLANS)
    before = engine.snapshots()
    assert engine.step(Reading("nowhere", "level", START, 1.0, START)) == ()
    assert engine.snapshots() == before
