"""A scenario's faults as events in the plant and effects on its sensors."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from brinesim.depot import DepotPlan
from brinesim.fault_kinds import KINDS, Setting
from brinesim.scenario import ANY_SENSOR, FaultPlan, ScenarioError, SensorPlan

PUMPED_OUT_SECONDS = 7200.0
"""How long after a repair the pump that dries the containment is switched off again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """At this time the plant's controls change, or salt is tipped into the hopper."""

    time: float
    changes: Mapping[str, Setting] = field(default_factory=dict)
    salt_kg: float = 0.0
    bed_m: float | None = None
    """Leave only this much bed: what is gone is counted as taken out."""
    needs_level_m: float = 0.0
    group: int = -1
    """Events of one group are dropped together when the first one's level is not there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorEffect:
    """What a fault does to one sensor's readings between two times."""

    sensor: str
    """Empty: every sensor of the depot."""
    how: str
    begins: float
    ends: float
    size: float


def drawn_faults(
    faults: Sequence[FaultPlan], sensors: Mapping[str, SensorPlan], draw: np.random.Generator
) -> tuple[FaultPlan, ...]:
    """The faults with their true onsets, sizes and sensors, drawn from what is left open.

    Raises: ScenarioError where none is fitted of the sensors that one may befall.
    """
    return tuple(
        fault.model_copy(
            update={
                "at": round(fault.at + fault.wander * float(draw.random()), 1),
                "size": fault.how_bad * (1 + fault.spread * float(draw.uniform(-1, 1))),
                "sensor": _drawn_sensor(fault, sensors, draw),
            }
        )
        for fault in faults
    )


def _drawn_sensor(
    fault: FaultPlan, sensors: Mapping[str, SensorPlan], draw: np.random.Generator
) -> str:
    """One of the fitted sensors: of all for silence, of those that are no switches for the rest.

    A switch rests for days, so that one that is stuck says nothing wrong until it should turn.
    """
    if fault.sensor != ANY_SENSOR:
        return fault.sensor
    silent = KINDS[fault.kind].how == "silent"
    fitted = [n for n, s in sensors.items() if s.fitted and (silent or not s.on_change)]
    if not fitted:
        raise ScenarioError(f"{fault.kind}: none of the sensors is fitted that it can befall")
    return fitted[int(draw.integers(len(fitted)))]


def events_of(fault: FaultPlan, plan: DepotPlan) -> list[Event]:
    """What the fault does to the plant, in order of time; empty for a sensor's fault."""
    kind = KINDS[fault.kind]
    if fault.kind == "salt-nearly-gone":
        events = [Event(time=fault.at, bed_m=fault.how_bad)]
        if fault.lasts:
            # A bucket a minute; more would not fit under the brim of a full tank.
            events += [Event(time=fault.at + fault.lasts + 60 * i, salt_kg=60.0) for i in range(15)]
        return events
    if kind.on is None or kind.off is None:
        return []
    events = [Event(time=fault.at, changes=kind.on(fault.how_bad, plan))]
    if fault.kind == "valve-shut-before-pump-off":
        events.insert(0, Event(time=max(0.0, fault.at - 240), changes={"valve_open": True}))
        events.insert(1, Event(time=max(0.0, fault.at - 225), changes={"pump_on": True}))
    if fault.kind == "line-frozen":
        rinsed = max(0.0, fault.at - kind.begins_before)
        events.insert(0, Event(time=rinsed, changes={"line_strength": fault.how_bad}))
    if fault.lasts:
        mended = fault.at + fault.lasts
        events.append(Event(time=mended, changes=kind.off(plan)))
        if "yard_drain_m3_per_s" in kind.off(plan):
            dry = Event(time=mended + PUMPED_OUT_SECONDS, changes={"yard_drain_m3_per_s": 0.0})
            events.append(dry)
    return events


def sensor_effect_of(fault: FaultPlan) -> SensorEffect | None:
    """What the fault does to a sensor, or None where it does nothing to one."""
    kind = KINDS[fault.kind]
    if not kind.how:
        return None
    ends = fault.at + fault.lasts if fault.lasts else float("inf")
    return SensorEffect(
        sensor=fault.sensor or kind.sensor,
        how=kind.how,
        begins=fault.at,
        ends=ends,
        size=fault.how_bad,
    )
