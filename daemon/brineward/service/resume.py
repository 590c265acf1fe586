"""Resuming where the last run stopped: the last state, and what was committed after it."""

import logging
from collections.abc import Iterable, Iterator, Mapping

from brineward.engine.engine import Engine
from brineward.journal import ActiveAlarm, Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import AlarmGone
from brineward.readings.instants import Instant

_LOG = logging.getLogger(__name__)


def resumed_engine(plans: Mapping[str, DepotPlan], journal: Journal) -> Engine:
    """The engine as the journal's last commit left it, within seconds whatever the journal's
    length.

    If this version judges the tail differently from the one that committed it, that is reported;
    what was announced is unchanged, and its numbers are not given again: a text with a number that
    was sent before would be taken for the same text, and never be sent. A tracker that has changed
    since starts again from nothing, and so does a depot whose state can't be read.
    """
    found = journal.resuming.resume(plans)
    engine = Engine(plans)
    afresh = []
    for depot, state in found.states.items():
        try:
            afresh += engine.restore({depot: state})
        except (ValueError, TypeError, KeyError) as why:
            _LOG.warning("depot %s starts again: its state can't be read (%s)", depot, why)
    if afresh:
        _LOG.warning("these trackers start again from nothing: %s", ", ".join(afresh))
    for depot, seq in found.after.items():
        engine.count_records_on(depot, journal.resuming.records_up_to(depot, seq))
    differing = 0
    for placed in found.tail:
        own = getattr(placed.entry, "depot", None)
        if own is not None and (own not in plans or not found.concerns(own, placed)):
            continue
        outputs = engine.step(placed.entry)
        differing += outputs != placed.outputs
    if differing:
        _LOG.warning(
            "%d entries gave other results than when they came; what was announced is unchanged",
            differing,
        )
    _count_on(engine, plans, journal)
    return engine


def gone_alarms(engine: Engine, journal: Journal, now: Instant) -> Iterator[AlarmGone]:
    """The alarms that are not normal in the journal and unknown to the engine.

    They are no longer in the config, or the depot started again: nobody could ever take them.
    """
    for active in journal.resuming.alarms_active():
        if not _is_known(engine, active):
            change = active.change
            yield AlarmGone(
                time=now,
                depot=change.depot,
                alarm=change.alarm,
                source=change.source,
                number=change.number,
                state=change.state.value,
                priority=change.priority.value,
            )


def _is_known(engine: Engine, active: ActiveAlarm) -> bool:
    change = active.change
    return engine.state_of(change.depot, change.alarm, change.source) is change.state


def _count_on(engine: Engine, plans: Iterable[str], journal: Journal) -> None:
    for depot in plans:
        number, unnumbered = journal.resuming.last_numbers(depot)
        engine.count_on(depot, number=number, unnumbered=unnumbered)
