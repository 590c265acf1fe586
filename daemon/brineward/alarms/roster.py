"""Which conditions a depot has, and which alarms are covered, indirectly covered, or blind."""

from dataclasses import dataclass
from typing import Literal

from brineward.alarms.catalogue import CATALOGUE, AlarmRecord
from brineward.alarms.closed_valve import PumpAgainstClosedValve
from brineward.alarms.condition import Condition
from brineward.alarms.freezing import ShelterFreezing
from brineward.alarms.house import Told
from brineward.alarms.overflow import OverflowAhead, height_limit_m
from brineward.alarms.silence import DepotSilent, SensorImplausible, SensorSilent
from brineward.alarms.strength import StrengthOutside, StrengthUnknown, WitnessesPart
from brineward.plant.plan import DepotPlan, Measure, Pump, SensorPlan, Vessel, VesselKind
from brineward.plant.pump_run import slowest_fall_m_per_s
from brineward.plant.second_witness import second_witness
from brineward.readings.outputs import Priority

Cover = Literal["covered", "indirect", "blind"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How one alarm at one place is watched."""

    alarm: str
    source: str
    how: Cover
    by: tuple[str, ...]
    """The sensors it is judged from."""
    would_help: str = ""
    """Which sensor would cover it, where it is indirect or blind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """One condition with its delays and priority as they hold at this depot."""

    condition: Condition
    record: AlarmRecord
    on_delay_seconds: float
    off_delay_seconds: float
    priority: Priority


def watches_for(plan: DepotPlan) -> tuple[Watch, ...]:
    """Every condition that the depot's sensors let be judged, in the order of the catalogue."""
    found: list[Condition] = []
    for vessel in plan.vessels.values():
        found += _of_vessel(plan, vessel)
    found += [c for pump in plan.pumps.values() if (c := _of_pump(plan, pump)) is not None]
    thermometer = plan.sensor_of(Measure.TEMPERATURE, "shelter")
    if thermometer is not None:
        found.append(_freezing(plan, thermometer))
    for sensor in plan.sensors.values():
        found.append(SensorSilent(alarm="sensor-silent", source=sensor.id, sensor=sensor))
        found.append(SensorImplausible(alarm="sensor-implausible", source=sensor.id, sensor=sensor))
    found += _of_house(plan)
    order = list(CATALOGUE)
    found.sort(key=lambda c: (order.index(c.alarm), c.source))
    grave = _sensors_of_high_alarms(found)
    return tuple(_watch(plan, c, grave) for c in found if _enabled(plan, c.alarm))


def _enabled(plan: DepotPlan, alarm: str) -> bool:
    settings = plan.alarms.get(alarm)
    return settings is None or settings.enabled


def _limit(plan: DepotPlan, alarm: str, otherwise: float) -> float:
    settings = plan.alarms.get(alarm)
    return otherwise if settings is None or settings.limit is None else settings.limit


def _deadband(plan: DepotPlan, alarm: str) -> float:
    settings = plan.alarms.get(alarm)
    if settings is None or settings.deadband is None:
        return CATALOGUE[alarm].deadband
    return settings.deadband


def _watch(plan: DepotPlan, condition: Condition, grave: frozenset[str]) -> Watch:
    record = CATALOGUE[condition.alarm]
    settings = plan.alarms.get(condition.alarm)
    on_delay, off_delay = record.on_delay_seconds, record.off_delay_seconds
    if isinstance(condition, PumpAgainstClosedValve):
        on_delay = max(on_delay, _switch_lag_seconds(condition))
    if settings is not None and settings.on_delay_seconds is not None:
        on_delay = settings.on_delay_seconds
    if settings is not None and settings.off_delay_seconds is not None:
        off_delay = settings.off_delay_seconds
    priority = record.priority
    if condition.alarm in ("sensor-silent", "sensor-implausible") and condition.source in grave:
        # What blinds an alarm that wakes people is itself worth waking somebody for.
        priority = Priority.MEDIUM
    return Watch(
        condition=condition,
        record=record,
        on_delay_seconds=on_delay,
        off_delay_seconds=off_delay,
        priority=priority,
    )


def _switch_lag_seconds(condition: PumpAgainstClosedValve) -> float:
    """How long a polled switch may lag behind what it shows; 0 where it speaks on change."""
    polled = [s.every_seconds for _, s in condition.switches if not s.on_change]
    return max(polled) + 1.0 if polled else 0.0


def _sensors_of_high_alarms(conditions: list[Condition]) -> frozenset[str]:
    return frozenset(
        sensor
        for c in conditions
        if CATALOGUE[c.alarm].priority is Priority.HIGH
        for sensor in c.watches
    )


def _of_vessel(plan: DepotPlan, vessel: Vessel) -> list[Condition]:
    level = plan.sensor_of(Measure.LEVEL, vessel.id)
    found: list[Condition] = []
    if level is not None and vessel.kind in (VesselKind.MAIN, VesselKind.STORAGE):
        found.append(
            OverflowAhead(
                alarm="overflow-ahead",
                source=vessel.id,
                vessel=vessel,
                level=level,
                limit_m=_limit(plan, "overflow-ahead", height_limit_m(vessel)),
                deadband_m=_deadband(plan, "overflow-ahead"),
            )
        )
    probe = plan.sensor_of(Measure.CONDUCTIVITY, vessel.id)
    thermometer = plan.sensor_of(Measure.TEMPERATURE, vessel.id)
    sodium = vessel.brine == "sodium chloride"
    if probe is not None and thermometer is not None and sodium and _holds_brine(vessel):
        for alarm, side, limit in (
            ("brine-weak", -1, plan.strength.low),
            ("brine-strong", 1, plan.strength.high),
        ):
            found.append(
                StrengthOutside(
                    alarm=alarm,
                    source=vessel.id,
                    side=side,
                    limit=limit,
                    probe=probe,
                    thermometer=thermometer,
                    has_level=level is not None,
                )
            )
        found.append(StrengthUnknown(alarm="strength-unknown", source=vessel.id, probe=probe))
        found.append(Told(alarm="probe-drifted", source=vessel.id))
        witness = second_witness(plan, vessel.id)
        if witness is not None:
            density = witness.sensors
            found.append(
                WitnessesPart(
                    alarm="witnesses-part", source=vessel.id, probe=probe, density=density
                )
            )
    return found


def _holds_brine(vessel: Vessel) -> bool:
    return vessel.kind in (VesselKind.MAIN, VesselKind.STORAGE)


def _of_pump(plan: DepotPlan, pump: Pump) -> Condition | None:
    running = plan.sensor_of(Measure.RUNNING, pump.id)
    if running is None:
        return None
    switches = tuple(
        (plan.valves[valve], sensor)
        for valve in pump.valves
        if (sensor := plan.sensor_of(Measure.OPEN, valve)) is not None
    )
    level = plan.sensor_of(Measure.LEVEL, pump.draws_from)
    if not switches and level is None:
        return None
    return PumpAgainstClosedValve(
        alarm="closed-valve",
        source=pump.id,
        pump=pump,
        running=running,
        switches=switches,
        level=level,
        meter=plan.sensor_of(Measure.FLOW, pump.id),
        fall_m_per_s=slowest_fall_m_per_s(plan, pump),
    )


def _freezing(plan: DepotPlan, thermometer: SensorPlan) -> Condition:
    record = CATALOGUE["shelter-freezing"]
    return ShelterFreezing(
        alarm=record.id,
        source="shelter",
        thermometer=thermometer,
        limit_c=_limit(plan, record.id, record.limit or 0.0),
        deadband_k=_deadband(plan, record.id),
    )


def _of_house(plan: DepotPlan) -> list[Condition]:
    shortest = min((s.silent_after_seconds for s in plan.sensors.values()), default=60.0)
    found: list[Condition] = [
        Told(alarm="link-lost", source="broker"),
        Told(alarm="disk-low", source="watch"),
        Told(alarm="records-damaged", source="watch"),
        Told(alarm="clock-wrong", source="sensors"),
        DepotSilent(alarm="depot-silent", source="depot", limit_seconds=shortest),
    ]
    return found + [Told(alarm="texts-failing", source=person) for person in plan.duty.on_call]


def coverage(plan: DepotPlan) -> list[Coverage]:
    """How each alarm about the plant is watched at this depot; the sensors' own are left out."""
    found: list[Coverage] = []
    for watch in watches_for(plan):
        condition = watch.condition
        if condition.watches and not isinstance(condition, SensorSilent | SensorImplausible):
            found.append(_covered(condition))
    seen = {(c.alarm, c.source) for c in found}
    missing = (c for c in _wanted(plan) if (c.alarm, c.source) not in seen)
    found += [c for c in missing if _enabled(plan, c.alarm)]
    order = list(CATALOGUE)
    return sorted(found, key=lambda c: (order.index(c.alarm), c.source))


def _covered(condition: Condition) -> Coverage:
    how: Cover = "covered"
    by = condition.watches
    would_help = ""
    if isinstance(condition, PumpAgainstClosedValve) and not condition.switches:
        how, would_help = "indirect", 'a switch on each valve of the hose (measures = "open")'
    if isinstance(condition, WitnessesPart):
        by = (condition.probe.id, *condition.density)
    if isinstance(condition, StrengthOutside):
        by = (condition.probe.id, condition.thermometer.id)
        if not condition.has_level:
            how, would_help = "indirect", f"a level in {condition.source}"
    return Coverage(
        alarm=condition.alarm, source=condition.source, how=how, by=by, would_help=would_help
    )


def _blind(alarm: str, source: str, would_help: str) -> Coverage:
    return Coverage(alarm=alarm, source=source, how="blind", by=(), would_help=would_help)


def _wanted(plan: DepotPlan) -> list[Coverage]:
    """Every alarm that the plant would want, as blind, with what would help."""
    found: list[Coverage] = []
    for vessel in plan.vessels.values():
        if not _holds_brine(vessel):
            continue
        found.append(_blind("overflow-ahead", vessel.id, f"a level in {vessel.id}"))
        helps = f"a conductivity and a temperature in {vessel.id}"
        if vessel.brine != "sodium chloride":
            helps = f"nothing yet: {vessel.brine} is not converted, so test it by hand"
        found.append(_blind("brine-weak", vessel.id, helps))
        found.append(_blind("brine-strong", vessel.id, helps))
        found.append(_blind("strength-unknown", vessel.id, helps))
    helps = "a running switch on the pump and a switch on its valve"
    found += [_blind("closed-valve", pump, helps) for pump in plan.pumps]
    if not plan.pumps:
        found.append(_blind("closed-valve", "any pump", f"the pump in the config, and {helps}"))
    found.append(_blind("shelter-freezing", "shelter", "a temperature at the shelter"))
    return found
