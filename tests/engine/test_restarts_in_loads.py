"""Restarts at any moments of a night of trucks change nothing of what is recorded of it.

The run is the simulator's: loads while the tank refills, trucks one after another, with its noise,
foam and waves.
"""

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from brinesim.commands.main import main as simulate
from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.readings.entries import Entry
from brineward.readings.outputs import EpisodeChanged, Output
from brineward.readings.values import Reading
from checkout import ROOT

CONFIG = load_settings(ROOT / "config" / "tern-hollow.toml")
PUMP = "pump-running"


@pytest.fixture(scope="module")
def entries(tmp_path_factory: pytest.TempPathFactory) -> list[Entry]:
    """Five hours, in the order of their arrival."""
    file = tmp_path_factory.mktemp("run") / "run.csv"
    words = ["write", "loads-in-fills", "--duration", "5 h", "--quiet", "-o", str(file)]
    assert simulate(words) == 0
    return list(Recording(file, CONFIG.sources, None))


def played(entries: list[Entry], stops: frozenset[int]) -> list[Output]:
    """All that the engine concludes; before each of these entries another takes over."""
    engine = Engine(CONFIG.depots)
    found: list[Output] = []
    for place, entry in enumerate(entries):
        if place in stops:
            kept = engine.snapshots()
            engine = Engine(CONFIG.depots)
            engine.restore(kept)
        found += engine.step(entry)
    return found


@pytest.fixture(scope="module")
def straight(entries: list[Entry]) -> list[Output]:
    """What is concluded where nothing ever stops."""
    return played(entries, frozenset())


@pytest.fixture(scope="module")
def turns(entries: list[Entry]) -> list[int]:
    """Where the pump is started or stopped, in the order of entries."""
    found, was = [], 0.0
    for place, entry in enumerate(entries):
        if isinstance(entry, Reading) and entry.sensor == PUMP and entry.value != was:
            found.append(place)
            was = entry.value or 0.0
    return found


def test_the_night_has_loads_and_batches(straight: list[Output], turns: list[int]) -> None:
    """Else the test below would say nothing: two loads, the pump stopped and started again in
    each, and what was made meanwhile."""
    ended = [one for one in straight if isinstance(one, EpisodeChanged) and one.ended is not None]
    assert len({one.began for one in ended if one.episode == "load"}) == 2
    assert len({one.began for one in ended if one.episode == "batch"}) >= 1
    assert len(turns) >= 8


# Without shrinking: a run takes seconds.
@settings(max_examples=5, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(data=st.data())
def test_restarts_change_nothing(
    entries: list[Entry], straight: list[Output], turns: list[int], data: st.DataObject
) -> None:
    """Anywhere, and within a few readings of where a load begins or ends: the same to the byte."""
    anywhere = st.integers(0, len(entries) - 1)
    at_a_turn = st.builds(lambda place, by: place + by, st.sampled_from(turns), st.integers(-3, 40))
    stops = data.draw(st.sets(anywhere | at_a_turn, min_size=1, max_size=60))
    assert repr(played(entries, frozenset(stops))) == repr(straight)
