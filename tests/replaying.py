"""Replays a journal: what was committed live must come out of a fresh engine, byte for byte."""

from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from services import Running


def assert_replays(service: Running) -> None:
    """The journal's entries through a fresh engine give the outputs that were committed."""
    settings = load_settings(service.config)
    engine = Engine(settings.depots)
    with Journal.open(service.journal, read_only=True) as journal:
        steps = list(journal.ordering.steps())
    assert steps
    differing = [
        (placed.seq, placed.entry, placed.outputs, concluded)
        for placed in steps
        if (concluded := engine.step(placed.entry)) != placed.outputs
    ]
    assert differing == []
