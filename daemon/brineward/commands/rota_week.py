"""Who is on call in the coming week, as `brineward check` says it."""

from collections.abc import Iterator

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, Instant, local_from_instant
from brineward.records.on_call import on_call_at


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
        yield "The calendar overrides this; once it has been read, `brineward who` shows it."
