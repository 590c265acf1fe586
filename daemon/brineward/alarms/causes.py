"""Causes and consequences: which alarm holds which back, from the records themselves."""

from collections.abc import Mapping
from typing import NamedTuple

from brineward.alarms.record import AlarmRecord
from brineward.plant.buoyancy import standing_in_containment
from brineward.plant.plan import DepotPlan, VesselKind


class Cause(NamedTuple):
    """An alarm, and those that stay quiet while it is active."""

    record: AlarmRecord
    holds_back: tuple[AlarmRecord, ...]
    announced_once: tuple[AlarmRecord, ...] = ()
    """Those that are announced once while it is active."""


def causes_in(catalogue: Mapping[str, AlarmRecord]) -> list[Cause]:
    """Each alarm of a catalogue that holds others back, both in the catalogue's order."""
    found = (
        Cause(
            record,
            tuple(one for one in catalogue.values() if record.id in one.suppressed_by),
            tuple(one for one in catalogue.values() if record.id in one.once_under),
        )
        for record in catalogue.values()
    )
    return [cause for cause in found if cause.holds_back or cause.announced_once]


def may_explain(plan: DepotPlan, cause: str, consequence: str) -> bool:
    """Can what is wrong at one source be why something is wrong at another?

    Of two tanks neither is the cause of what the other does, and only what stands in the
    containment has to do with it. A hopper feeds the tanks; other sources are not vessels.
    """
    one, other = plan.vessels.get(cause), plan.vessels.get(consequence)
    if one is None or other is None or one is other:
        return True
    kinds = {one.kind, other.kind}
    if VesselKind.CONTAINMENT in kinds:
        stands = standing_in_containment(plan)
        return one in stands or other in stands
    return VesselKind.HOPPER in kinds


def circle_in(catalogue: Mapping[str, AlarmRecord]) -> tuple[str, ...]:
    """Ids of alarms that hold one another back in a circle, the first one named again at the end.

    Empty where there is none, as it must be: in a circle each could keep the others quiet.
    """
    done: set[str] = set()
    for start in catalogue:
        path: list[str] = []
        found = _walk(start, catalogue, path, done)
        if found:
            return found
    return ()


def _walk(
    alarm: str, catalogue: Mapping[str, AlarmRecord], path: list[str], done: set[str]
) -> tuple[str, ...]:
    if alarm in path:
        return (*path[path.index(alarm) :], alarm)
    if alarm in done or alarm not in catalogue:
        return ()
    path.append(alarm)
    record = catalogue[alarm]
    for cause in (*record.suppressed_by, *record.once_under):
        found = _walk(cause, catalogue, path, done)
        if found:
            return found
    path.pop()
    done.add(alarm)
    return ()
