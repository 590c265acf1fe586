"""Going on where the last run stopped: the last state, and what was committed after it."""

import logging
from collections.abc import Iterable, Mapping

from brineward.engine.engine import Engine
from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan

_LOG = logging.getLogger(__name__)


def resumed_engine(plans: Mapping[str, DepotPlan], journal: Journal) -> Engine:
    """The engine as the journal's last commit left it.

    A tail that this version judges otherwise than the one that committed it is reported; what
    people were told stands, and its numbers are not given again: a text with a number that was
    sent before would be taken for the same text, and never go out. A state of another version is
    built anew from all that is kept.
    """
    found = journal.resume(plans)
    engine = Engine(plans)
    try:
        engine.restore(found.states)
    except ValueError as why:
        _LOG.warning("%s; judging all kept readings anew", why)
        engine = Engine(plans)
        for step in journal.steps(0):
            engine.step(step.entry)
        _count_on(engine, plans, journal)
        return engine
    differing = 0
    for placed in found.tail:
        own = getattr(placed.entry, "depot", None)
        if own is not None and (own not in plans or not found.concerns(own, placed)):
            continue
        outputs = engine.step(placed.entry)
        differing += outputs != placed.outputs
    if differing:
        _LOG.warning(
            "%d entries are judged otherwise than when they came; what was told stands", differing
        )
        _count_on(engine, plans, journal)
    return engine


def _count_on(engine: Engine, plans: Iterable[str], journal: Journal) -> None:
    for depot in plans:
        number, letters = journal.last_numbers(depot)
        engine.count_on(depot, number=number, letters=letters)
