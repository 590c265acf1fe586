"""The state of one depot now: its strengths, sensors, alarms and texts, typed, in SI."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from brineward.physics.freezing import first_solid, freezing_point_c
from brineward.physics.phase_coefficients import EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import saturation_mass_fraction
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Derived
from brineward.readings.values import Reading
from brineward.records.alarm_now import (
    AlarmNow,
    Now,
    alarm_now,
    conditions_of,
    is_judged,
    outside,
)
from brineward.records.modes import ModeNow
from brineward.records.records import Records
from brineward.records.refusals import Tally

_AHEAD = 5 * MINUTE  # a reading further in the future has a wrong clock and is not the newest
STRENGTH = "-strength"
"""What the name of a derived strength ends in, after its vessel's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthNow:
    """A strength with its 95 % interval, and the temperature at which it freezes."""

    vessel: str
    mass_fraction: float
    interval_95: tuple[float, float] | None
    standard_uncertainty: float | None
    calibrated: bool
    freezing_point_c: float
    freezing_interval_c: tuple[float, float] | None
    first_solid: str
    age_seconds: float
    outside_its_band: bool
    not_judged_yet: bool
    """It is outside, and no alarm judges it so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorNow:
    """A sensor's newest reading, SI."""

    id: str
    measures: str
    at: str
    value: float | None
    quality: str | None
    """None: nothing was received yet."""
    reason: str
    age_seconds: float | None
    silent: bool
    outside_its_band: bool
    not_judged_yet: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DepotNow:
    """A depot as it is known at an instant."""

    plan: DepotPlan
    time: Instant
    mode: ModeNow
    strengths: Sequence[StrengthNow]
    sensors: Sequence[SensorNow]
    """In the order of the plan."""
    alarms: Sequence[AlarmNow]
    """Every alarm that is not normal, the longest first."""
    texts: Mapping[str, int]
    """How many are open, accepted and dead."""
    refused: Sequence[Tally]
    contradicted: Sequence[Tally]


def depot_now(plan: DepotPlan, records: Records, now: Instant) -> DepotNow:
    """Everything that is shown of a depot, at an instant. Raises: DiskTrouble, JournalDamaged."""
    readings = records.readings.latest(plan.id, now + _AHEAD)
    derived = records.derived.latest(plan.id, now + _AHEAD)
    active = records.alarms.active(plan.id)
    state = Now(
        plan=plan,
        readings=readings,
        derived=derived,
        active=active,
        time=now,
        conditions=conditions_of(plan),
    )
    return DepotNow(
        plan=plan,
        time=now,
        mode=records.modes.now(plan.id),
        strengths=[
            _strength(state, name.removesuffix(STRENGTH), value)
            for name, value in derived.items()
            if name.endswith(STRENGTH)
        ],
        sensors=[_sensor(state, name, readings.get(name)) for name in plan.sensors],
        alarms=[
            alarm_now(state, alarm, records.texts.about(plan.id, alarm.change.number))
            for alarm in active
        ],
        texts=records.texts.counts(plan.id),
        refused=records.refusals.counts(plan.id),
        contradicted=records.refusals.conflict_counts(plan.id),
    )


def _strength(state: Now, vessel: str, found: Derived) -> StrengthNow:
    # Where the line of crystals ends that the freezing point is known on.
    most = saturation_mass_fraction(40.0)
    value = min(max(found.value, 0.0), most)
    interval = None
    if found.low_95 is not None and found.high_95 is not None:
        interval = (max(0.0, found.low_95), min(most, found.high_95))
    band = state.plan.strength
    beyond = not band.low <= found.value <= band.high
    return StrengthNow(
        vessel=vessel,
        mass_fraction=found.value,
        interval_95=interval,
        standard_uncertainty=found.standard_uncertainty,
        calibrated=found.calibrated,
        freezing_point_c=round(freezing_point_c(value), 2),
        freezing_interval_c=None if interval is None else _freezing_interval(interval, value),
        first_solid=str(first_solid(value)),
        age_seconds=_age(found.time, state.time),
        outside_its_band=beyond,
        not_judged_yet=beyond and not is_judged(state, (vessel,)),
    )


def _freezing_interval(interval: tuple[float, float], value: float) -> tuple[float, float]:
    low, high = interval
    ends = [low, high, value]
    if low < EUTECTIC_MASS_FRACTION < high:
        ends.append(EUTECTIC_MASS_FRACTION)
    points = [freezing_point_c(end) for end in ends]
    return round(min(points), 2), round(max(points), 2)


def _sensor(state: Now, name: str, reading: Reading | None) -> SensorNow:
    sensor = state.plan.sensors[name]
    age = None if reading is None else _age(reading.time, state.time)
    silent = age is None or age > sensor.silent_after_seconds
    beyond = reading is not None and not silent and outside(state, sensor, reading)
    return SensorNow(
        id=name,
        measures=sensor.measures.value,
        at=sensor.at,
        value=None if reading is None else reading.value,
        quality=None if reading is None else reading.quality.value,
        reason="" if reading is None else reading.reason,
        age_seconds=age,
        silent=silent,
        outside_its_band=beyond,
        not_judged_yet=beyond and not is_judged(state, (name, sensor.at)),
    )


def _age(then: Instant, now: Instant) -> float:
    return (now - then) / SECOND
