"""Going on after a stop: the last states, and what was committed after them."""

from pathlib import Path

import pytest

from brineward.journal import Journal
from brineward.readings.entries import LinkChanged, Started, Tick
from brineward.readings.outputs import Step
from journal.samples import T0, derived, plain, reading

STARTED = Started(time=T0, version="0.1.0", config_hash="ab", zone_data="2025b")
BOTH = ["tern-hollow", "kettle-ridge"]


@pytest.fixture
def journal(tmp_path: Path):
    """A new journal on the real disk."""
    with Journal.open(tmp_path / "a.journal") as opened:
        yield opened


def test_a_new_journal_resumes_to_nothing(journal):
    """The first start has no state and no tail."""
    resumed = journal.resuming.resume(BOTH)
    assert dict(resumed.states) == {}
    assert list(resumed.tail) == []


def test_the_tail_begins_after_the_oldest_state(journal):
    """Each depot is told what its own state doesn't know, global entries included, in order."""
    kettle, up = reading(3, depot="kettle-ridge"), LinkChanged(time=T0 + 4, up=True)
    journal.commit(plain(STARTED, reading(1)), states={"tern-hollow": b"t2", "kettle-ridge": b"k2"})
    steps = [Step(reading(2), (derived(2),)), *plain(kettle, up)]
    journal.commit(steps, states={"tern-hollow": b"t5"})
    more = [Step(LinkChanged(time=T0 + 5, up=False), ()), Step(Tick(time=T0 + 6), (derived(6),))]
    journal.commit(more)
    resumed = journal.resuming.resume(BOTH)
    assert dict(resumed.states) == {"tern-hollow": b"t5", "kettle-ridge": b"k2"}
    tail = list(resumed.tail)
    assert [one.seq for one in tail] == [3, 4, 5, 6, 7]
    assert [Step(one.entry, one.outputs) for one in tail] == [*steps, *more]
    told = {depot: [one.seq for one in tail if resumed.concerns(depot, one)] for depot in BOTH}
    assert told == {"tern-hollow": [6, 7], "kettle-ridge": [4, 5, 6, 7]}


def test_a_depot_without_a_state_begins_at_the_start_before_its_first_entry(journal):
    """A stop before the first state loses nothing; a depot never heard of lengthens no tail."""
    journal.commit(plain(STARTED, reading(1)), states={"tern-hollow": b"2"})
    again = Started(time=T0 + 5, version="0.1.0", config_hash="cd", zone_data="2025b")
    first = reading(7, depot="kettle-ridge")
    up = LinkChanged(time=T0 + 6, up=True)
    journal.commit(plain(reading(3), again, up, first), states={"tern-hollow": b"6"})
    resumed = journal.resuming.resume([*BOTH, "unheard"])
    assert resumed.after == {"tern-hollow": 6, "kettle-ridge": 3, "unheard": 6}
    assert [one.entry for one in resumed.tail] == [again, up, first]


def test_a_state_without_steps_stands_for_all_before_it(journal):
    """Saving the states alone, as a stopping service does, leaves no tail."""
    journal.commit(plain(STARTED, reading(1)))
    journal.commit((), states={"tern-hollow": b"x"})
    resumed = journal.resuming.resume(["tern-hollow"])
    assert list(resumed.tail) == []
    assert resumed.states == {"tern-hollow": b"x"}
