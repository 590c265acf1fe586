"""A tank as it stands: its level, its marks, its strength on the band, and its next test."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from brineward.page.words import say
from brineward.plant.plan import Vessel
from brineward.readings.entries import HandTest
from brineward.readings.instants import DAY, local_from_instant
from brineward.records.depot_now import DepotNow, SensorNow, StrengthNow
from brineward.records.tests_due import LONGEST_DAYS
from brineward.wording.operator_units import duration, percent

_OLD_SECONDS: Final = 120.0
_SCALE: Final = (0.18, 0.27)
"""What the strip of the strength shows at least: a little more than any band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """The strength on its band, in thousandths of the strip's length from its left."""

    band: tuple[int, int]
    interval: tuple[int, int]
    point: int
    picture: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TankView:
    """One tank."""

    id: str
    name: str
    level: str
    """Empty where it is not known."""
    volume: str
    share: int
    """Thousandths of the brim that it stands at."""
    mark_share: int | None
    mark: str
    brim: str
    picture: str
    old: bool
    age: str
    """How old the level is; empty where it is new."""
    strength: str
    strength_short: str
    judged: str
    """Weak, strong or right."""
    band: str
    freezes: str
    strip: Strip | None
    temperature: str
    due: str
    """When it is to be tested next; empty where nothing measures its strength."""


def tank_views(depot: DepotNow, tests: Sequence[HandTest]) -> list[TankView]:
    """Every tank of brine, the main tank first."""
    tanks = [one for one in depot.plan.vessels.values() if one.holds_brine]
    tanks.sort(key=lambda one: one.kind.value != "main")
    return [_view(depot, tank, tests) for tank in tanks]


def _view(depot: DepotNow, tank: Vessel, tests: Sequence[HandTest]) -> TankView:
    plan, units = depot.plan, depot.plan.units
    name = plan.name_of(tank.id)
    level = _sensor(depot, "level", tank.id)
    known = level is not None and level.value is not None
    depth = level.value if level is not None and level.value is not None else 0.0
    strength = next((one for one in depot.strengths if one.vessel == tank.id), None)
    brim = units.level(tank.brim_m)
    mark = "" if tank.fill_mark_m is None else units.level(tank.fill_mark_m)
    deep = units.level(depth) if known else ""
    shown = {"name": name, "level": deep, "brim": brim}
    picture = (
        say("tank.picture", mark=mark, **shown) if mark else say("tank.picture_no_mark", **shown)
    )
    band = plan.strength
    return TankView(
        id=tank.id,
        name=name,
        level=deep,
        volume=units.volume(tank.shape.volume_m3(depth)) if known else "",
        share=_thousandths(depth / tank.brim_m),
        mark_share=None
        if tank.fill_mark_m is None
        else _thousandths(tank.fill_mark_m / tank.brim_m),
        mark=say("tank.mark", level=mark) if mark else "",
        brim=say("tank.brim", level=brim),
        picture=picture if known else say("tank.level_unknown"),
        old=level is None or level.silent or _age(level) != "",
        age=_age(level),
        strength=_strength(strength),
        strength_short=_short(strength),
        judged=_judged(depot, strength),
        band=say("tank.band", low=percent(band.low), high=percent(band.high)),
        freezes=_freezes(depot, strength),
        strip=_strip(depot, strength),
        temperature=_temperature(depot, tank.id),
        due=_due(depot, tank, strength, tests),
    )


def _sensor(depot: DepotNow, measures: str, at: str) -> SensorNow | None:
    return next((one for one in depot.sensors if (one.measures, one.at) == (measures, at)), None)


def _age(sensor: SensorNow | None) -> str:
    if sensor is None or sensor.age_seconds is None:
        return ""
    if not sensor.silent and sensor.age_seconds < _OLD_SECONDS:
        return ""
    return say("tank.age", age=duration(sensor.age_seconds))


def _strength(known: StrengthNow | None) -> str:
    if known is None:
        return say("tank.strength_unknown")
    if known.interval_95 is None:
        said = say("tank.strength_point", percent=percent(known.mass_fraction))
    else:
        low, high = (percent(end) for end in known.interval_95)
        said = say("tank.strength_is", percent=percent(known.mass_fraction), low=low, high=high)
    if known.age_seconds < _OLD_SECONDS:
        return said
    return say("tank.old", value=said, age=duration(known.age_seconds))


def _short(known: StrengthNow | None) -> str:
    """With the wider half of its interval, so that it promises no more than is known."""
    if known is None or known.age_seconds > _OLD_SECONDS:
        return ""
    value = percent(known.mass_fraction)
    if known.interval_95 is None:
        return say("state.strength_loose", percent=value)
    low, high = known.interval_95
    half = max(known.mass_fraction - low, high - known.mass_fraction)
    return say("state.strength", percent=value, half=percent(half))


def _judged(depot: DepotNow, known: StrengthNow | None) -> str:
    if known is None:
        return ""
    band, value = depot.plan.strength, known.mass_fraction
    low, high = known.interval_95 or (value, value)
    # Where the interval reaches into the band, nobody knows that it is off.
    if value < band.low:
        return say("tank.too_weak" if high < band.low else "tank.perhaps_weak")
    if value > band.high:
        return say("tank.too_strong" if low > band.high else "tank.perhaps_strong")
    inside = band.low <= low and high <= band.high
    return say("tank.within") if inside else say("tank.likely")


def _freezes(depot: DepotNow, known: StrengthNow | None) -> str:
    if known is None:
        return ""
    name = "tank.freezes" if known.first_solid == "ice" else "tank.freezes_salt"
    return say(name, temperature=depot.plan.units.temperature(known.freezing_point_c))


def _strip(depot: DepotNow, known: StrengthNow | None) -> Strip | None:
    if known is None or known.interval_95 is None:
        return None
    band, (low, high) = depot.plan.strength, known.interval_95
    left = min(_SCALE[0], low - 0.005, band.low - 0.01)
    right = max(_SCALE[1], high + 0.005, band.high + 0.01)

    def place(value: float) -> int:
        return _thousandths((value - left) / (right - left))

    return Strip(
        band=(place(band.low), place(band.high)),
        interval=(place(low), place(high)),
        point=place(known.mass_fraction),
        picture=say(
            "tank.band_picture",
            percent=percent(known.mass_fraction),
            low=percent(low),
            high=percent(high),
            band_low=percent(band.low),
            band_high=percent(band.high),
        ),
    )


def _temperature(depot: DepotNow, vessel: str) -> str:
    sensor = _sensor(depot, "temperature", vessel)
    if sensor is None:
        return ""
    if sensor.value is None or sensor.age_seconds is None:
        return say("tank.none")
    value = depot.plan.units.temperature(sensor.value)
    if not sensor.silent and sensor.age_seconds < _OLD_SECONDS:
        return value
    return say("tank.old", value=value, age=duration(sensor.age_seconds))


def _due(
    depot: DepotNow, tank: Vessel, known: StrengthNow | None, tests: Sequence[HandTest]
) -> str:
    """By the last test's age and by how loosely the strength is known now."""
    plan = depot.plan
    probes = [one for one in depot.sensors if one.at == tank.id]
    if not any(one.measures in ("conductivity", "density") for one in probes):
        return ""
    name = plan.name_of(tank.id)
    done = [one.at for one in tests if one.vessel == tank.id]
    if not done:
        return say("due.none_ever", name=name)
    by = max(done) + LONGEST_DAYS * DAY
    if depot.time > by:
        last = local_from_instant(max(done), plan.zone)
        return say("due.late", name=name, date=f"{last:%b} {last.day}")
    if known is not None and known.interval_95 is not None:
        low, high = (end - known.mass_fraction for end in known.interval_95)
        band = plan.strength
        if band.target + low < band.low or band.target + high > band.high:
            return say("due.loose", name=name)
    day = local_from_instant(by, plan.zone)
    return say("due.by", name=name, date=f"{day:%b} {day.day}")


def _thousandths(share: float) -> int:
    return round(min(1.0, max(0.0, share)) * 1000)
