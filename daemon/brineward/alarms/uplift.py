"""A tank in the containment may float: announced with its margin, while it is being drained."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.buoyancy import containment_of, lift_kg, standing_in_containment, weight_kg
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.slow_levels import SlowLevel, accuracy_m
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

SHARE = 0.8
"""Lifted by so much of its weight it is raised, even where nothing moves (common practice, no
source): a fifth is left for pipes that hold it down, for a hose that takes the last water out."""

FORECAST_SECONDS = 7200.0
"""A tank that floats sooner than this, at the rates of now, is raised."""

LOAD_SECONDS = 900.0
"""The same while a pump takes brine out: a load ends within minutes, and then nothing falls."""

AFLOAT_SECONDS = 1.0
"""What would float sooner than this is taken for afloat."""

LOADED = 10 * MINUTE
"""A level goes on looking as if it fell for some minutes after the pump has stopped."""

CALM = 1.5
"""Active, it stays so until the forecast is this many times as far,"""

SAFE_SHARE = 0.7
"""and the share is under this."""

DRY_ACCURACIES = 2.0
"""A containment's level within so many of its accuracies of the floor is no liquid."""

AT_WORK_SHARE = 0.5
"""A hopper at work stands at its outlet, in the upper half of it, and falls back there from its
brim when a blocked outlet comes free. Under this share of its brim it is being emptied (common
practice, no source)."""

SPAN_SECONDS = 60.0
"""A level is the median of so many seconds' readings."""

_STEPS = 48

RECORD = AlarmRecord(
    id="uplift",
    title="TANK MAY FLOAT",
    place=15,
    priority=Priority.HIGH,
    danger="floating tank",
    cause="There is liquid in the containment, and a tank in it is empty or is being drained.",
    consequence="The liquid outside lifts the tank: it tears its pipes off, tips and spills "
    "what is left in it.",
    response="Stop draining the tank: if a pump empties it, stop the pump at the panel. The space "
    "outside is emptied first, the tank after that: pump the containment out, from its edge, to "
    "where your local rules let it go. Keep out from under the tank and clear of its pipes, which "
    "may break. Never climb on it. Leave electricity near the wet floor to an electrician.",
    text_response="Tank pump off (PANEL). Empty CONTAINMENT from edge. Keep clear.",
    text_afterwards="If it moved: keep clear, its pipes may be torn.",
    respond_within="until it floats, as the text says",
    on_delay_seconds=60.0,
    off_delay_seconds=300.0,
    basis="Archimedes' principle: raised where the liquid outside lifts 80 % of what the tank and "
    "its contents weigh, or will lift all of it within two hours at the rates of now (15 minutes "
    "while a pump loads, since a load ends). That a hopper falls counts under half of its brim, or "
    "where the depot is being drained: it falls to its outlet by itself, and no further. The "
    "liquid outside is taken for saturated brine, the one inside for water: so it errs early. "
    "Empty the outer space first: common practice, no source.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Uplift(Finding):
    """A tank that floats once the liquid outside, now at `value` m, is at `limit` m."""

    inside_m: float
    floats_below_m: float | None = None
    """With the liquid outside as it is, it floats drained to under this; None: not even empty."""
    falls: bool = False
    seconds_left: float | None = None
    """Until it floats at the rates of now; None where it won't."""


class _Now(NamedTuple):
    """The levels, m, and how fast each rises, m/s."""

    outside_m: float
    inside_m: float
    salt_m: float
    outside_m_per_s: float
    inside_m_per_s: float


class TankMayFloat(Condition[Uplift]):
    """The liquid in the containment lifts most of a tank's weight, or soon will."""

    def __init__(self, site: Site, outside: SlowLevel, inside: SlowLevel) -> None:
        self._vessel = inside.level.vessel
        self._outside, self._inside = outside, inside
        self._dry_m = DRY_ACCURACIES * accuracy_m(outside.level)
        self._mode = site.trackers.mode
        self._pumps = [
            site.trackers.pumps.get(pump.id)
            for pump in site.plan.pumps.values()
            if pump.draws_from == self._vessel.id
        ]
        """None for a pump of which nobody knows whether it runs."""
        salt = site.plan.sensor_of(Measure.SALT_LEVEL, self._vessel.id)
        self._salt = None if salt is None else site.trackers.sensors[salt.id]
        after = (outside.level.sensor, inside.level.sensor)
        super().__init__(site, self._vessel.id, Uplift, judged_after=after, unit="m", side=1)
        self.value_from = (outside.level.sensor,)

    def at_rest(self) -> bool:
        """The containment's floor is dry, and both levels are to be believed."""
        outside, inside = self._outside.level.sensor, self._inside.level.sensor
        if outside.implausible or inside.implausible:
            return False
        return outside.value is not None and outside.value <= self._dry_m

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does it float, or nearly, or soon?"""
        for level in (self._outside.level, self._inside.level):
            if level.sensor.believed(now) is None or level.course.level is None:
                name = level.sensor.plan.id
                return Verdict.unknown(f"{self.units.name_of(name)} is silent or implausible", name)
        state = self._state(now)
        if state.outside_m <= self._dry_m:
            return CLEAR
        lift = lift_kg(self._vessel, state.outside_m)
        weight = weight_kg(self._vessel, state.inside_m, state.salt_m)
        within = LOAD_SECONDS if self._loads(now) else FORECAST_SECONDS
        within *= CALM if active else 1.0
        left = 0.0 if lift >= weight else _seconds_left(self._vessel, state, within)
        if left is None and lift < (SAFE_SHARE if active else SHARE) * weight:
            return CLEAR
        return Verdict(True, self._finding(state, left, now))

    def _state(self, now: Instant) -> _Now:
        salt = None if self._salt is None else self._salt.believed(now)
        return _Now(
            _middle(self._outside.level),
            max(0.0, _middle(self._inside.level)),
            salt or 0.0,
            self._outside.rise_m_per_s or 0.0,
            self._inside_m_per_s(),
        )

    def _inside_m_per_s(self) -> float:
        """How fast it rises; a hopper that falls to its own outlet falls no further."""
        rise, vessel = self._inside.rise_m_per_s or 0.0, self._vessel
        if vessel.kind is not VesselKind.HOPPER or self._mode.mode is Mode.DRAINING:
            return rise
        emptied = _middle(self._inside.level) < AT_WORK_SHARE * vessel.brim_m
        return rise if emptied else max(0.0, rise)

    def _loads(self, now: Instant) -> bool:
        """May it fall because a truck is, or was just, loaded? Not while the depot is drained."""
        if self._mode.mode is Mode.DRAINING:
            return False
        return any(
            pump is None or pump.running is not False or now - pump.since < LOADED
            for pump in self._pumps
        )

    def _finding(self, state: _Now, left: float | None, now: Instant) -> Uplift:
        vessel, afloat = self._vessel, left is not None and left < AFLOAT_SECONDS
        lift = lift_kg(vessel, state.outside_m)
        weight = weight_kg(vessel, state.inside_m, state.salt_m)
        limit = _least(vessel.raised_m + vessel.brim_m, lambda m: lift_kg(vessel, m) >= weight)
        below = _least(vessel.brim_m, lambda m: weight_kg(vessel, m, state.salt_m) > lift)
        return Uplift(
            value=round(state.outside_m, 3),
            limit=None if limit is None else round(limit, 3),
            unit="m",
            inside_m=round(state.inside_m, 3),
            floats_below_m=None if not below else round(below, 3),
            falls=state.inside_m_per_s < 0,
            seconds_left=None if left is None else round(left, 0),
            names=("afloat",) if afloat else (),
            harm_soon_at=None if afloat or left is None else now + round(left * SECOND),
        )

    def words(self, finding: Uplift, now: Instant) -> Words:
        """The margin: how far it may still be drained, or how much more outside lifts it."""
        units, past = self.units, f"{self.name} might have floated"
        outside, inside = finding.value or 0.0, units.depth(finding.inside_m)
        if finding.seconds_left is not None and finding.seconds_left < AFLOAT_SECONDS:
            both = f"{units.depth(outside)} outside it, {inside} inside"
            return Words(f"{self.name} may be afloat", both, past=past)
        left = "" if finding.seconds_left is None else f"{duration(finding.seconds_left)} left"
        if finding.falls and finding.floats_below_m is not None:
            margin = f"floats at {units.depth(finding.floats_below_m)}, now {inside.split()[0]}"
        else:
            more = max(0.0, (outside if finding.limit is None else finding.limit) - outside)
            margin = f"{units.depth(more)} more outside lifts it"
        return Words(f"{self.name} may float", margin, left, past=past)


def _middle(level: LevelTracker) -> float:
    return level.course.middle(SPAN_SECONDS)[0]


def _seconds_left(vessel: Vessel, state: _Now, within: float) -> float | None:
    """Seconds until it floats at the rates of now; None where it won't within so many."""
    if state.inside_m_per_s >= 0.0 and state.outside_m_per_s <= 0.0:
        return None

    def margin_kg(seconds: float) -> float:
        inside = max(0.0, state.inside_m + state.inside_m_per_s * seconds)
        outside = state.outside_m + state.outside_m_per_s * seconds
        return weight_kg(vessel, inside, state.salt_m) - lift_kg(vessel, outside)

    step = within / _STEPS
    falls = state.inside_m_per_s <= 0.0 <= state.outside_m_per_s
    if falls and margin_kg(_STEPS * step) > 0.0:
        return None  # both bring it nearer: where it doesn't float at the end it never does
    before = margin_kg(0.0)
    for place in range(1, _STEPS + 1):
        after = margin_kg(place * step)
        if after <= 0.0:
            return step * (place - 1 + before / (before - after))
        before = after
    return None


def _least(most_m: float, holds: Callable[[float], bool]) -> float | None:
    """The least level up to `most_m` at which something holds from there on; None: nowhere."""
    if not holds(most_m):
        return None
    low, high = 0.0, most_m
    if holds(low):
        return low
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _conditions(site: Site) -> Iterator[TankMayFloat]:
    slow, containment = site.trackers.slow_levels, containment_of(site.plan)
    outside = None if containment is None else slow.get(containment.id)
    for vessel in standing_in_containment(site.plan):
        if outside is not None and vessel.id in slow:
            yield TankMayFloat(site, outside, slow[vessel.id])


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    containment = containment_of(plan)
    if containment is None:
        helps = "the containment in the config, and a level in it"
        yield Coverage(RECORD.id, VesselKind.CONTAINMENT.value, "blind", (), helps)
        return
    outside = plan.sensor_of(Measure.LEVEL, containment.id)
    for vessel in standing_in_containment(plan):
        inside = plan.sensor_of(Measure.LEVEL, vessel.id)
        salt = plan.sensor_of(Measure.SALT_LEVEL, vessel.id)
        by = tuple(one.id for one in (outside, inside, salt) if one is not None)
        missing = [
            name
            for name, level in ((containment.id, outside), (vessel.id, inside))
            if level is None
        ]
        if missing:
            helps = f"a level in {' and one in '.join(missing)}"
            yield Coverage(RECORD.id, vessel.id, "blind", (), helps)
        else:
            yield Coverage(RECORD.id, vessel.id, "covered", by)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
