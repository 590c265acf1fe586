"""The balance of a depot: salt, water and chloride delivered, made, loaded, lost, and still there.

What was made is found from the tanks' levels and strengths; what the hopper lost, from the height
of its salt bed. The two are independent: the difference between them is a figure of its own.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from brineward.physics.density import density
from brineward.physics.water import FRESH_KG_PER_M3
from brineward.plant.hopper_salt import BULK_DENSITY
from brineward.plant.loads import SHAPE_STANDARD_SHARE
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.readings.by_hand import SaltDelivered
from brineward.readings.instants import HOUR, MINUTE, Instant
from brineward.records.beds import BED_SECONDS, MEDIAN_OF, rises, seen_until
from brineward.records.made import Batch, counted
from brineward.records.records import Records

CHLORIDE: Final = 35.453 / 58.443
"""Of sodium chloride, by mass (standard atomic weights, IUPAC)."""
BULK_STANDARD_SHARE: Final = 0.06
"""How well the bulk density of a bed of salt is known: 1,100 to 1,300 kg/m3, evenly spread, and a
bed that is no plane (common practice, no source)."""
TANKS_CHANCE_SHARE: Final = 0.003
HOPPER_CHANCE_SHARE: Final = 0.02
"""How far a stock may seem to change by chance: waves, noise, a bed that slides (common practice,
no source)."""
SOLID_KG_PER_M3: Final = 2165.0
"""Sodium chloride itself (CRC Handbook)."""
DISSOLVED_KG_PER_M3: Final = 316.0
"""In a cubic metre of saturated brine at 10 degC: 26.3 % of 1,200 kg/m3 (CRC Handbook)."""
_NEAR: Final = 30 * MINUTE
THINNED_STRENGTH_SHARE: Final = 0.03
"""How well the strength of an hour is known of which only sums are left (as without a test; common
practice, no source)."""
_AROUND: Final = 12 * HOUR
"""How long before and after a period the bed is looked at: a rise at its edge must last, too."""
_COLDEST_C, _WARMEST_C = -20.0, 45.0


class Figure(NamedTuple):
    """An amount and its standard uncertainty; kg of salt, or kg of water."""

    amount: float
    standard_uncertainty: float

    def __add__(self, other: object) -> "Figure":
        """Both together, as independent ones."""
        if not isinstance(other, Figure):
            return NotImplemented
        doubt = math.hypot(self.standard_uncertainty, other.standard_uncertainty)
        return Figure(self.amount + other.amount, doubt)

    def __neg__(self) -> "Figure":
        """The same, taken away."""
        return Figure(-self.amount, self.standard_uncertainty)

    def minus(self, other: "Figure") -> "Figure":
        """What is left of it."""
        return self + -other


NOTHING: Final = Figure(0.0, 0.0)


WEIGHED_STANDARD_SHARE: Final = 0.01
"""How well a delivery's own weight is known (common practice, no source)."""


class Delivery(NamedTuple):
    """Salt that somebody entered as delivered."""

    at: Instant
    salt_kg: float
    standard_uncertainty_kg: float


def deliveries_of(records: Records, depot: str, start: Instant, end: Instant) -> list[Delivery]:
    """What people entered as delivered from `start` to before `end`."""
    return [
        Delivery(one.entry.at, said.mass_kg, said.mass_kg * WEIGHED_STANDARD_SHARE)
        for one in records.by_hand.between(depot, start, end)
        if isinstance(said := one.entry.record, SaltDelivered)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """From `start` to `end`; None if no sensor shows it. Salt as sodium chloride, kg."""

    depot: str
    start: Instant
    end: Instant
    batches: int
    loads: int
    under_way: bool
    """Does a batch or a load go on at the end? What it brought is not in the figures."""
    made_m3: Figure
    loaded_m3: Figure
    lost_m3: Figure
    """By drains."""
    salt_delivered: Figure | None
    delivered_how: str
    delivered_until: Instant | None
    """What was tipped in after this is not in it yet, where the bed tells; None where all is."""
    salt_made: Figure
    """Dissolved in what was made."""
    salt_loaded: Figure
    salt_lost: Figure
    salt_in_tanks: tuple[Figure, Figure] | None
    """At the start and at the end, in the tanks whose level and strength are known at both."""
    salt_in_hopper: tuple[Figure, Figure] | None
    """The bed, and the brine in it and over it where its level is known at both."""
    water_made: Figure
    water_loaded: Figure
    tanks_open: Figure | None
    """What the tanks' salt doesn't close by: made, less loaded, lost, and what they gained.
    None if one of them is not known at an end."""
    hopper_open: Figure | None
    """What the hopper's salt doesn't close by: delivered, less made, and what it gained. None
    if its bed or its level is known at one end alone."""


def balance_of(
    records: Records,
    plan: DepotPlan,
    start: Instant,
    end: Instant,
    deliveries: Sequence[Delivery] = (),
) -> Balance:
    """The balance of a depot; `deliveries` are those that people entered.

    Without any, what was delivered is by how the hopper's bed rose.
    """
    all_batches = records.made.batches(plan.id, start, end)
    all_loads = records.made.loads(plan.id, start, end)
    batches = [one for one in counted(all_batches, start, end) if one.ended is not None]
    loads = [one for one in counted(all_loads, start, end) if one.ended is not None]
    drains = [
        one
        for one in records.episodes.between(plan.id, start, end, episode="drain")
        if one.ended is not None and start <= one.ended < end
    ]
    target = plan.strength.target
    made_salt = _salt([(one.salt_kg, one.mass_fraction, one.interval_95) for one in batches])
    loaded_salt = _salt([(one.salt_kg, one.mass_fraction, one.interval_95) for one in loads])
    made = _volume([(one.volume_m3, one.volume_standard_uncertainty_m3) for one in batches])
    loaded = _volume([(one.volume_m3, one.volume_standard_uncertainty_m3) for one in loads])
    lost = _volume([(one.amount_m3, one.amount_uncertainty_m3) for one in drains])
    lost_salt = sum(
        (
            _salt_in(one.amount_m3 or 0.0, one.mass_fraction or target, one.temperature_c)
            for one in drains
        ),
        start=0.0,
    )
    salt_lost = Figure(lost_salt, 0.03 * lost_salt)
    before, after = _known(records, plan, start, end)
    tanks, tanks_known = _both(
        _salt_in_tanks(records, plan, before), _salt_in_tanks(records, plan, after), _probed(plan)
    )
    hopper, hopper_known = _both(
        _salt_in_hopper(records, plan, before), _salt_in_hopper(records, plan, after)
    )
    delivered, how, until = _delivered(records, plan, (start, end), deliveries, batches)
    tanks_open = hopper_open = None
    if tanks is not None and tanks_known:
        gained = _gained(*tanks, TANKS_CHANCE_SHARE)
        tanks_open = made_salt.minus(loaded_salt).minus(salt_lost).minus(gained)
    if hopper is not None and hopper_known and delivered is not None:
        gained = _gained(*hopper, HOPPER_CHANCE_SHARE)
        hopper_open = delivered.minus(made_salt).minus(gained)
    return Balance(
        depot=plan.id,
        start=start,
        end=end,
        batches=len(batches),
        loads=len(loads),
        under_way=any(
            ended is None or ended >= end
            for ended in (*(one.ended for one in all_batches), *(one.ended for one in all_loads))
        ),
        made_m3=made,
        loaded_m3=loaded,
        lost_m3=lost,
        salt_delivered=delivered,
        delivered_how=how,
        delivered_until=until,
        salt_made=made_salt,
        salt_loaded=loaded_salt,
        salt_lost=salt_lost,
        salt_in_tanks=tanks,
        salt_in_hopper=hopper,
        water_made=_shared([FRESH_KG_PER_M3 * (one.water_m3 or 0.0) for one in batches], made),
        water_loaded=_shared(
            [
                one.salt_kg * (1.0 / one.mass_fraction - 1.0)
                for one in loads
                if one.salt_kg and one.mass_fraction
            ],
            loaded,
        ),
        tanks_open=tanks_open,
        hopper_open=hopper_open,
    )


# -- sums


def _volume(rows: Sequence[tuple[float | None, float | None]]) -> Figure:
    """Of volumes: what is by chance adds in squares, the tank's shape and the meter as they are."""
    total = sum(volume or 0.0 for volume, _ in rows)
    systematic = SHAPE_STANDARD_SHARE * total
    chance = sum(
        max(0.0, (doubt or 0.0) ** 2 - (SHAPE_STANDARD_SHARE * (volume or 0.0)) ** 2)
        for volume, doubt in rows
    )
    return Figure(total, math.sqrt(systematic**2 + chance))


def _salt(
    rows: Sequence[tuple[float | None, float | None, tuple[float, float] | None]],
) -> Figure:
    """Of salt: a probe is off the same way all the time, and so is a tank's shape."""
    total = doubt = 0.0
    for salt, strength, interval in rows:
        if salt is None or not strength:
            continue
        total += salt
        if interval is not None:
            doubt += abs(salt) * (interval[1] - interval[0]) / 4 / strength
    return Figure(total, math.hypot(doubt, SHAPE_STANDARD_SHARE * total))


def _shared(amounts: Sequence[float], volume: Figure) -> Figure:
    """A sum that is as sure as the volume that it is in."""
    total = sum(amounts)
    share = volume.standard_uncertainty / volume.amount if volume.amount else 0.0
    return Figure(total, share * abs(total))


# -- what is in the tanks and in the hopper


def _gained(before: Figure, after: Figure, chance_share: float) -> Figure:
    """What a stock gained: its sensors' lasting error is the same share of it each time."""
    gained = after.amount - before.amount
    share = after.standard_uncertainty / after.amount if after.amount else 0.0
    return Figure(gained, math.hypot(share * gained, chance_share * after.amount))


_Stock = Mapping[str, Figure]
"""What is known of it, each by its name."""


def _known(
    records: Records, plan: DepotPlan, start: Instant, end: Instant
) -> tuple[Instant, Instant]:
    """The start and the end of what is known of a period."""
    first = records.readings.first(plan.id)
    span = records.readings.span(plan.id)
    return (
        start if first is None else max(start, first + _NEAR),
        end if span is None else min(end, span[1]),
    )


def _both(
    before: _Stock, after: _Stock, needed: Collection[str] = ()
) -> tuple[tuple[Figure, Figure] | None, bool]:
    """The sums of what is known at both ends; and is nothing known at one alone, and all that is
    needed at both? Otherwise their difference says nothing."""
    both = [name for name in before if name in after]
    if not both:
        return None, False
    whole = before.keys() == after.keys() and all(name in before for name in needed)
    first, last = (sum((stock[one] for one in both), start=NOTHING) for stock in (before, after))
    return (first, last), whole


def _probed(plan: DepotPlan) -> list[str]:
    """The tanks whose salt sensors are there to tell."""
    return [
        vessel.id
        for vessel in plan.vessels.values()
        if vessel.holds_brine
        and plan.sensor_of(Measure.LEVEL, vessel.id) is not None
        and any(
            plan.sensor_of(probe, vessel.id) is not None
            for probe in (Measure.CONDUCTIVITY, Measure.DENSITY)
        )
    ]


def _salt_in_tanks(records: Records, plan: DepotPlan, at: Instant) -> _Stock:
    found: dict[str, Figure] = {}
    for vessel in plan.vessels.values():
        if not vessel.holds_brine:
            continue
        level = _mean(records, plan, Measure.LEVEL, vessel, at)
        strength = _strength(records, plan, vessel, at)
        if level is None or strength is None:
            continue
        warmth = _mean(records, plan, Measure.TEMPERATURE, vessel, at)
        volume = vessel.shape.volume_m3(level)
        salt = _salt_in(volume, strength.amount, warmth)
        share = math.hypot(strength.standard_uncertainty / strength.amount, SHAPE_STANDARD_SHARE)
        found[vessel.id] = Figure(salt, share * salt)
    return found


def _salt_in(volume_m3: float, mass_fraction: float, temperature_c: float | None) -> float:
    warmth = 10.0 if temperature_c is None else temperature_c
    warmth = min(max(warmth, _COLDEST_C), _WARMEST_C)
    return volume_m3 * density(mass_fraction, warmth) * mass_fraction


def _salt_in_hopper(records: Records, plan: DepotPlan, at: Instant) -> _Stock:
    """The bed, and what is dissolved in the brine in it and over it; nothing without a bed."""
    hopper = _hopper(plan)
    bed = None if hopper is None else _mean(records, plan, Measure.SALT_LEVEL, hopper, at)
    if hopper is None or bed is None:
        return {}
    solid = hopper.shape.volume_m3(max(0.0, bed)) * BULK_DENSITY
    found = {"bed": Figure(solid, BULK_STANDARD_SHARE * solid)}
    level = _mean(records, plan, Measure.LEVEL, hopper, at)
    if level is not None:
        liquid = hopper.shape.volume_m3(level) - solid / SOLID_KG_PER_M3
        found["brine"] = Figure(max(0.0, liquid) * DISSOLVED_KG_PER_M3, 0.0)
    return found


def _hopper(plan: DepotPlan) -> Vessel | None:
    found = (one for one in plan.vessels.values() if one.kind is VesselKind.HOPPER)
    return next(found, None)


def _mean(
    records: Records, plan: DepotPlan, measures: Measure, vessel: Vessel, at: Instant
) -> float | None:
    """The mean of a sensor's readings in the half hour before, or of the hour where these were
    thinned; None where there are none."""
    sensor = plan.sensor_of(measures, vessel.id)
    if sensor is None:
        return None
    rows = records.readings.between(plan.id, sensor.id, at - _NEAR, at + 1)
    values = [
        row.value
        for row in rows
        if row.value is not None and sensor.low <= row.value <= sensor.high
    ]
    if values:
        return sum(values) / len(values)
    within = (sensor.low, sensor.high)
    return records.readings.hour_mean(plan.id, sensor.id, at - _NEAR // 2, within=within)


def _strength(records: Records, plan: DepotPlan, vessel: Vessel, at: Instant) -> Figure | None:
    name = f"{vessel.id}-strength"
    rows = records.derived.between(plan.id, name, at - _NEAR, at + 1)
    if not rows:
        hour = records.derived.hour_mean(plan.id, name, at - _NEAR // 2)
        return None if hour is None else Figure(hour, THINNED_STRENGTH_SHARE * hour)
    mean = sum(row.value for row in rows) / len(rows)
    return Figure(mean, rows[-1].standard_uncertainty or 0.0)


# -- deliveries


def _delivered(
    records: Records,
    plan: DepotPlan,
    span: tuple[Instant, Instant],
    entered: Sequence[Delivery],
    batches: Sequence[Batch],
) -> tuple[Figure | None, str, Instant | None]:
    """How much, how it is known, and until when where the bed does not tell all of the span yet."""
    start, end = span
    mine = [one for one in entered if start <= one.at < end]
    if mine:
        doubt = math.sqrt(sum(one.standard_uncertainty_kg**2 for one in mine))
        return Figure(sum(one.salt_kg for one in mine), doubt), "as entered", None
    hopper = _hopper(plan)
    sensor = None if hopper is None else plan.sensor_of(Measure.SALT_LEVEL, hopper.id)
    if hopper is None or sensor is None:
        return None, "not known", None
    beds = records.readings.buckets(
        plan.id,
        sensor.id,
        start - _AROUND,
        end + _AROUND,
        BED_SECONDS,
        within=(sensor.low, sensor.high),
    )
    if len(beds) < MEDIAN_OF:
        return None, "not known", None
    salt = 0.0
    for rise in rises(beds):
        if not start <= rise.at < end:
            continue
        low, high = (hopper.shape.volume_m3(max(0.0, bed)) for bed in (rise.low_m, rise.high_m))
        salt += (high - low) * BULK_DENSITY
        salt += sum(_made_meanwhile(batch, rise.began, rise.ended) for batch in batches)
    until = seen_until(beds)
    known = Figure(salt, BULK_STANDARD_SHARE * salt)
    return known, "by the height of the bed", until if until < end else None


def _made_meanwhile(batch: Batch, began: Instant, ended: Instant) -> float:
    """The salt of a batch that was dissolved between two instants, as if steadily."""
    if batch.salt_kg is None or batch.ended is None or batch.ended <= batch.began:
        return 0.0
    both = min(ended, batch.ended) - max(began, batch.began)
    return batch.salt_kg * max(0, both) / (batch.ended - batch.began)
