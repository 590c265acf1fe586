"""Salt low: the hopper's bed is nearly gone, or will be before the working week begins."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from brineward.alarms.condition import (
    CLEAR,
    Alarm,
    Condition,
    Finding,
    Site,
    Verdict,
    Words,
    blind_without_hopper,
    covered_by_one,
)
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.physics.density import density
from brineward.plant.hopper_salt import HopperSalt
from brineward.plant.plan import DepotPlan, Measure, VesselKind
from brineward.plant.recent_use import WEEKEND
from brineward.plant.salt_balance import SaltBalance
from brineward.readings.instants import DAY, SECOND, Instant, local_from_instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

FRIDAY, MONDAY = 4, 0
WEEKEND_FROM, WORK_ENDS, WEEK_BEGINS = time(12), time(16), time(6)
"""The depot's working week ends on Friday afternoon (common practice, no source). Until then a
forecast is a call to fill the hopper before people go; after that the bed itself calls."""
GONE_M = 0.05
"""Of a bed that is so low nothing can be counted on: it lies in heaps and corners."""
WEAK_M = 0.25
"""From about there on the mix is under 22 % (simulated, as the limit is)."""
_DENSITY_AT_C = 10.0
FORECAST_CLEARS_AT = 1.5
"""While nobody fills the hopper, a forecast clears where the salt would last at so many times the
use: the use of the last days slides by the hour, and a forecast that came and went with it would be
texted twice without a shovel of salt in between (common practice, no source)."""
SOON_SECONDS = 12 * 3600.0
"""Gone within this it is of medium priority: it can't wait for the morning."""

RECORD = AlarmRecord(
    id="salt-low",
    title="SALT LOW",
    place=44,
    priority=Priority.LOW,
    danger="low salt",
    cause="Loads have used the salt up, and nobody has filled the hopper.",
    consequence="The fill makes weak brine, a little weaker with each batch, until it is water.",
    response="Fill the hopper with salt, from outside: nobody leans in or climbs in. If no salt "
    "can be had in time, shut the fill's water, so that no weak brine is made; where a pump feeds "
    "the tank from the hopper, stop that pump at the panel first. The tank then lasts for what is "
    "in it. Test the next batch by hydrometer.",
    text_response="Add salt from outside. None? Shut the water.",
    respond_within="before the next load",
    on_delay_seconds=600.0,
    off_delay_seconds=600.0,
    limit_quantity="length",
    limit=0.42,
    limit_unit="m",
    deadband=0.05,
    basis="A bed under {0.42 m}: from {0.45 m} down water leaves the hopper before it is saturated "
    "(simulated, at {2 m} of width and the fill's usual flow; set your own), and a sensor that "
    "reads a little low must not ask at each filling. Or, on Friday from "
    "noon to 16:00, when somebody can still fill it and nobody has since noon, a bed that at the "
    "use of the last 66 h is gone by Monday 06:00; while nobody fills it, that clears only where "
    "the bed would last at one and a half times the use. "
    "The bed is the median of nine readings. Medium where it is gone within 12 h. Where the mix "
    "stays good until 12 h after a morning's or a day's work (10:00, 16:00), that may settle it "
    "first, but not the weekend's salt on a Friday. Where no sensor sees the bed, by the "
    "balance: what was recorded as delivered, less the salt in all brine made since and a tenth of "
    "that.",
    clears_unsaid=True,
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.DRAINING, Mode.LAID_UP),
)

WHERE_PUMPED = "Add salt from outside. None? Pump off (PANEL), THEN shut water."
"""What to do in a text where a pump draws from the hopper: nothing is shut while that runs."""
NOT_FILLED = "Add salt from outside."
"""Where nothing fills a tank by itself, and no pump does: there is nothing to shut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltLow(Finding):
    """How high the bed is, m, and what it is good for."""

    brine_m3: float
    """About how much brine at the depot's target can still be made from it."""
    seconds_left: float | None = None
    """At the use of the last day, for a weekend of as long before it; None if that isn't known."""
    weekend: bool = False
    """It is not low yet, but will be gone before the working week begins."""
    left_kg: float | None = None
    """What is left by the salt balance, where no sensor sees the bed."""


class SaltIsLow(Condition[SaltLow]):
    """The bed is under its limit, or is gone by Monday morning at the present use."""

    def __init__(self, site: Site, salt: HopperSalt | SaltBalance) -> None:
        self._salt = salt
        self._zone = site.plan.zone
        target = site.plan.strength.target
        self._salt_kg_per_m3 = target * density(target, _DENSITY_AT_C)
        self._deadband = site.deadband(RECORD)
        limit = site.limit(RECORD, RECORD.limit or 0.0)
        self._least_m = limit
        pumps = site.plan.pumps.values()
        pumped = any(one.draws_from == salt.vessel.id for one in pumps)
        filled = "" if site.plan.fills else NOT_FILLED
        self._response = WHERE_PUMPED if pumped else filled
        super().__init__(
            site,
            salt.vessel.id,
            SaltLow,
            judged_after=(salt.sensor,),
            limit=limit,
            unit="m",
            side=-1,
        )

    def at_rest(self) -> bool:
        """Nothing was delivered yet that a balance could begin with."""
        return self._salt.bed_m is None and isinstance(self._salt, SaltBalance)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it low, or gone by Monday morning?"""
        salt = self._salt
        if salt.bed_m is None or not salt.known(now):
            return salt_unknown(salt)
        deadband = self._deadband if active else 0.0
        low = round(salt.bed_m - deadband, 4) < self._least_m
        use = salt.use_m_per_s(now, DAY if low else WEEKEND)
        weekend = not low and self._gone_by_monday(now, salt.bed_m - deadband, use, active)
        if not (low or weekend):
            return CLEAR
        left = None if use is None else max(0.0, salt.bed_m - GONE_M) / use
        to_weak = None if use is None else max(0.0, salt.bed_m - WEAK_M) / use
        soon = left is not None and left < SOON_SECONDS
        finding = SaltLow(
            value=round(salt.bed_m, 3),
            limit=None if weekend else self._least_m,
            unit="m",
            brine_m3=round(salt.salt_kg() / self._salt_kg_per_m3, 3),
            seconds_left=None if left is None else round(left),
            weekend=weekend,
            left_kg=round(salt.salt_kg(), 1) if isinstance(salt, SaltBalance) else None,
            waits_until=None if weekend else _later(now, to_weak, SOON_SECONDS),
            harm_at=_later(now, left, 0.0),
            priority=Priority.MEDIUM if soon else None,
        )
        return Verdict(True, finding)

    def _gone_by_monday(self, now: Instant, bed_m: float, use: float | None, active: bool) -> bool:
        """Will such a bed be gone before the working week begins, and can that still be said?"""
        monday = next_week_begins(now, self._zone)
        if use is None or monday is None:
            return False
        filled = self._salt.filled >= monday - WEEKEND
        if not active and (filled or not self._work_goes_on(now)):
            return False
        times = FORECAST_CLEARS_AT if active and not filled else 1.0
        return round(bed_m - times * use * (monday - now) / SECOND, 4) < GONE_M

    def _work_goes_on(self, now: Instant) -> bool:
        """Is it Friday, and somebody still there who can fill it before the weekend?"""
        local = local_from_instant(now, self._zone)
        return local.weekday() == FRIDAY and local.time() < WORK_ENDS

    def words(self, finding: SaltLow, now: Instant) -> Words:
        """How high the bed is, and for how much brine and how long it lasts."""
        lasts = ""
        if finding.seconds_left is not None:
            lasts = f", {duration(finding.seconds_left)} at this rate"
        says = "salt gone by Mon 06:00" if finding.weekend else "salt low"
        bed = self.units.level(finding.value or 0.0)
        much = f"{bed}, for about {self.units.rough_volume(finding.brine_m3)}"
        if finding.left_kg is not None:
            much = f"{self.units.amount_of_salt(finding.left_kg)} left by records"
        past = f"{self.name} salt was low"
        how_bad = f"{much}{lasts}"
        return Words(f"{self.name} {says}", how_bad, past=past, response=self._response)


def salt_unknown(salt: HopperSalt | SaltBalance) -> Verdict:
    """Why the salt isn't known; nothing is low where nothing was delivered to count from."""
    if isinstance(salt, SaltBalance) and salt.bed_m is None:
        return CLEAR
    if isinstance(salt, SaltBalance):
        return Verdict.not_now("by the records, no delivery of salt explains what is used")
    return Verdict.unknown("the hopper's salt level is not known", salt.sensor.plan.id)


def known_salt(site: Site) -> Iterator[HopperSalt | SaltBalance]:
    """Each hopper's salt, by its sensor or by the balance."""
    yield from site.trackers.salts.values()
    yield from site.trackers.salt_balances


def _later(now: Instant, left_seconds: float | None, less_seconds: float) -> Instant | None:
    return None if left_seconds is None else now + round((left_seconds - less_seconds) * SECOND)


def next_week_begins(now: Instant, zone: tzinfo) -> Instant | None:
    """The Monday morning before which nobody may come; None but for a weekend, Friday noon on."""
    local = local_from_instant(now, zone)
    day, clock = local.weekday(), local.time()
    if day == MONDAY and clock < WEEK_BEGINS:
        days = 0
    elif day > FRIDAY or (day == FRIDAY and clock >= WEEKEND_FROM):
        days = 7 - day
    else:
        return None
    begins = datetime.combine(local.date() + timedelta(days=days), WEEK_BEGINS, tzinfo=zone)
    return round(begins.timestamp() * SECOND)


_BY_HAND = "or each delivery recorded and a level in the tank that it fills"


def salt_coverage(record: AlarmRecord) -> Callable[[DepotPlan], Iterator[Coverage]]:
    """How an alarm that is judged by a hopper's bed is watched."""

    def coverage(plan: DepotPlan) -> Iterator[Coverage]:
        yield from blind_without_hopper(record, plan, f"a salt-level sensor in it, {_BY_HAND}")
        filled = {fill.into for fill in plan.fills}
        tanks = (plan.sensor_of(Measure.LEVEL, one) for one in filled if one in plan.vessels)
        levels = tuple(sorted(one.id for one in tanks if one is not None))
        for vessel in plan.vessels.values():
            if vessel.kind is not VesselKind.HOPPER:
                continue
            helps = f"a salt-level sensor in {vessel.id}"
            if levels and plan.sensor_of(Measure.SALT_LEVEL, vessel.id) is None:
                by_hand = f"{helps}; without it, each delivery recorded"
                yield Coverage(record.id, vessel.id, "indirect", levels, by_hand)
                continue
            helps = f"{helps}, {_BY_HAND}"
            yield covered_by_one(record, plan, Measure.SALT_LEVEL, vessel.id, helps)

    return coverage


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [SaltIsLow(site, salt) for salt in known_salt(site)],
    coverage=salt_coverage(RECORD),
)
