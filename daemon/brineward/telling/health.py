"""The state of a depot in one segment: what its sensors show, and what its people should know."""

from collections.abc import Iterable, Iterator

from brineward.alarms.condition import Site
from brineward.book.booked_alarm import BookedAlarm
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.telling.first_text import in_daily_line
from brineward.watch.unwatched import listed
from brineward.wording.gsm import Part, fit_segment
from brineward.wording.operator_units import amount

_MIDDLE_SECONDS = 600.0
_CODES_NAMED = 4


def health_text(
    site: Site, alarms: Iterable[BookedAlarm], now: Instant, *, reader: str = ""
) -> str:
    """What the daily line says, in the units of who reads it: the gravest first, where there is no
    room for all of it.

    Requests for routine work are in it with what to do. All is well if no alarm is active
    or held back by a person, no danger is unwatched, every text arrived, and there are fresh
    readings.
    """
    booked = list(alarms)
    held = [b for b in booked if b.life.shelved is not None or b.life.out_of_service is not None]
    # What its cause already tells of, and so has no number, is no line of its own.
    active = [b for b in booked if b.life.active and not b.life.suppressed and b not in held]
    asked = [b for b in active if in_daily_line(b, now)]
    codes = [site.plan.code(b.life.number) for b in active if b not in asked]
    blind = listed([one.danger for one in site.watch.unwatched])
    failed = [
        site.plan.name_of(person) for person, reach in site.watch.reach.items() if reach.why_not
    ]
    plan = site.plan.as_read_by(reader)
    figures = ", ".join(_figures(site, now, us=plan.us_units))
    tests = list(_tests_due(site))
    fresh = any(sensor.fresh(now) for sensor in site.trackers.sensors.values())
    calm = fresh and not (codes or held or blind or failed)
    if asked and not codes:
        codes = [] if calm else [site.plan.code(b.life.number) for b in asked]
    first = _active(codes)
    if calm:
        first = "nothing urgent." if asked else "all well."
    return fit_segment(
        [
            Part(text=f"{site.plan.name}:", rank=0, name=True),
            Part(text=first, rank=0, whole=True),
            Part(text=_to_do(plan, asked, now), rank=0, whole=True),
            Part(text=f"Not watched: {blind}." if blind else "", rank=1),
            Part(text=f"Texts don't reach {', '.join(failed)}." if failed else "", rank=1),
            Part(text="" if fresh else "No fresh readings.", rank=1),
            Part(text=f"{len(held)} shelved or out of service." if held else "", rank=1),
            Part(text=f"{figures[:1].upper()}{figures[1:]}." if figures else "", rank=2),
            Part(
                text=f"Hydrometer test due: {', '.join(tests)}." if tests and not asked else "",
                rank=3,
            ),
        ]
    )


def _to_do(plan: DepotPlan, asked: list[BookedAlarm], now: Instant) -> str:
    """The first piece of routine work with what to do, and how many more there are."""
    if not asked:
        return ""
    first, more = asked[0], len(asked) - 1
    code, words = plan.code(first.life.number), first.words(now)
    response = words.response or first.configured.record.text_response
    others = f" And {more} more to do." if more else ""
    return f"{code} {words.headline}. {plan.units.in_units(response)}{others}"


def weekly_test_text(plan: DepotPlan) -> str:
    """What tests the way to who is on call, and back where people can reply."""
    reply = "Reply TEST to show that your texts come back." if plan.duty.replies else ""
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=0, name=True),
            Part(text="weekly test text, nothing is wrong.", rank=0, whole=True),
            Part(text=reply, rank=1),
        ]
    )


def _active(codes: list[str]) -> str:
    if not codes:
        return "no alarm is active."
    more = len(codes) - _CODES_NAMED
    named = ", ".join(codes[:_CODES_NAMED]) + (f" and {more} more" if more > 0 else "")
    return f"active: {named}."


def _figures(site: Site, now: Instant, *, us: bool) -> Iterator[str]:
    for vessel in site.plan.vessels.values():
        if not vessel.holds_brine:
            continue
        name = site.plan.name_of(vessel.id)
        strength = site.trackers.strengths.get(vessel.id)
        shown = strength.lately.middle(_MIDDLE_SECONDS) if strength is not None else None
        if strength is not None and shown is not None and strength.probe.sensor.fresh(now):
            yield f"{name} {shown.mass_fraction * 100:.1f} %"
        level = site.trackers.levels.get(vessel.id)
        value = level.sensor.value if level is not None else None
        if level is not None and value is not None and level.sensor.fresh(now):
            height_m = min(max(value, 0.0), vessel.brim_m)
            left = amount(vessel.shape.volume_m3(height_m), us)
            yield f"{left} left" if shown is not None else f"{name} {left}"


def _tests_due(site: Site) -> Iterator[str]:
    """The vessels whose probe was never tested, whose last test asks for another, or that
    have made brine since."""
    wanted = {one.probe.vessel for one in site.trackers.batch_tests if one.wanted() is not None}
    for vessel, probe in site.trackers.probes.items():
        if not probe.calibrated or probe.question() or vessel in wanted:
            yield site.plan.name_of(vessel)
