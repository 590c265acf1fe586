"""What people are told when duty goes from one to the next."""

from collections.abc import Mapping, Sequence

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, Instant, local_from_instant
from brineward.telling.on_duty import Handover
from brineward.wording.gsm import Part, fit_segment

_CODES_NAMED = 4


def codes_named(codes: Sequence[str]) -> str:
    """Codes in a text: the first few by name, the others by their count."""
    named, more = list(codes[:_CODES_NAMED]), len(codes) - _CODES_NAMED
    if more > 0:
        return f"{', '.join(named)} and {more} more"
    return " and ".join(filter(None, (", ".join(named[:-1]), *named[-1:])))


def day_and_time(plan: DepotPlan, at: Instant, now: Instant) -> str:
    """A time ahead on the depot's clock: with its day, and its date from six days on."""
    if at - now < 6 * DAY:
        return plan.units.clock_time(at, now)
    local = local_from_instant(at, plan.zone)
    return f"{local:%a %b} {local.day} {local:%H:%M}"


def begins_text(
    plan: DepotPlan, now: Instant, until: Instant | None, *, active: Sequence[str], had: str
) -> str:
    """To who is on duty from now on, in one segment: until when, and which alarms are active.

    `active` are the codes that nobody has, `had` says who has others.
    """
    end = f" until {day_and_time(plan, until, now)}" if until is not None else ""
    open_ones = f"Nobody has {codes_named(active)}: texts follow." if active else ""
    calm = "" if active or had else "No alarm is active."
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=0, name=True),
            Part(text=f"you are on call now{end}.", rank=0, whole=True),
            Part(text=open_ones, rank=0, whole=True),
            Part(text=had, rank=1),
            Part(text=calm, rank=2),
        ]
    )


def ends_text(plan: DepotPlan, new: str, *, active: Sequence[str], kept: Sequence[str]) -> str:
    """To who was on duty until now: who is, and which alarms they still have."""
    name = plan.duty.names.get(new, new)
    given = f"{codes_named(active)} handed over." if active else ""
    code = kept[0] if kept else ""
    how = f" To hand it over, reply {code} back." if plan.duty.replies and len(kept) == 1 else ""
    still = f"You still have {codes_named(kept)}.{how}" if kept else ""
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=0, name=True),
            Part(text=name, rank=0, name=True),
            Part(text="is on call now, you are off.", rank=0, whole=True),
            Part(text=still, rank=0, whole=True),
            Part(text=given, rank=1),
        ]
    )


def both_texts(
    plan: DepotPlan,
    handover: Handover,
    now: Instant,
    until: Instant | None,
    *,
    active: Sequence[str],
    had: Mapping[str, Sequence[str]],
) -> list[tuple[str, str]]:
    """To each of both, with the text: `had` is who has which alarms, `active` what nobody has."""
    names = plan.duty.names
    said = " ".join(f"{names.get(p, p)} has {codes_named(codes)}." for p, codes in had.items())
    kept = had.get(handover.old, ())
    return [
        (handover.new, begins_text(plan, now, until, active=active, had=said)),
        (handover.old, ends_text(plan, handover.new, active=active, kept=kept)),
    ]
