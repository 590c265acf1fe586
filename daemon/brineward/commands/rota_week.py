"""Who is on call in the coming week, as `brineward check` says it, and how old its calendar is."""

from collections.abc import Iterator

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, HOUR, SECOND, Instant, local_from_instant
from brineward.records import Records
from brineward.records.on_call import on_call_at
from brineward.wording.operator_units import duration

_OLD_SECONDS = 13 * HOUR / SECOND
"""What is read is noted twice a day."""


def rota_lines(plan: DepotPlan, now: Instant) -> Iterator[str]:
    """Each turn of the coming seven days by the config alone; nothing where there is no rota."""
    if plan.duty.rota is None:
        return
    yield "  On call in the coming week:"
    at, end = now, now + 7 * DAY
    while at < end:
        found = on_call_at(plan, at)
        local = local_from_instant(at, plan.zone)
        who = plan.duty.names.get(found.on_duty, found.on_duty) or "NOBODY in the config"
        since = "now" if at == now else f"{local:%a} {local.day} {local:%b %H:%M}"
        yield f"    {since:<16}  {who}"
        if found.until is None:
            break
        at = found.until
    if plan.duty.rota.calendar:
        yield "    The calendar overrides this; once it has been read, `brineward who` shows it."


def calendar_age_seconds(plan: DepotPlan, records: Records, now: Instant) -> float | None:
    """How long ago the rota's calendar was last known to be read, to half a day; None where it
    never was, or there is none. Raises: DiskTrouble, JournalUnusable."""
    if plan.duty.rota is None or not plan.duty.rota.calendar:
        return None
    read = records.rota.last_read(plan.id)
    return None if read is None else (now - read) / SECOND


def calendar_lines(plan: DepotPlan, age_seconds: float | None) -> Iterator[str]:
    """Whether the rota's calendar is read now; nothing where the rota has none."""
    if plan.duty.rota is None or not plan.duty.rota.calendar:
        return
    if age_seconds is None:
        yield "The rota's calendar has not been read yet: only the config says who is on call."
    elif age_seconds > _OLD_SECONDS:
        ago = duration(age_seconds)
        yield f"THE ROTA'S CALENDAR was last read {ago} ago: who is on call may be wrong. Ask."
    else:
        yield "The rota's calendar is being read."
