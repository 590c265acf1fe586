"""A depot's mode for the status and for `brineward mode`, as plain data and as a line."""

from typing import Any

from brineward.commands.local_clock import LocalClock
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import instant_from_rfc3339, rfc3339_from_instant
from brineward.records import ModeNow


def mode_status(known: ModeNow) -> dict[str, Any]:
    """What is shown of it, as plain data."""
    return {
        "mode": known.mode.value,
        "since": None if known.since is None else rfc3339_from_instant(known.since),
        "by": known.by,
        "single_batch": known.single_batch,
    }


def mode_line(plan: DepotPlan, row: dict[str, Any], clock: LocalClock) -> str:
    """The same for a person: "Laid up since Apr 30, set by Yard lead."."""
    said = f"{row['mode'][:1].upper()}{row['mode'][1:]}"
    if row["single_batch"]:
        said += ", one batch"
    if row["since"] is None:
        return f"{said}; nobody has set another mode."
    by = plan.duty.names.get(row["by"], row["by"]) or "its schedule"
    since = clock.time(instant_from_rfc3339(row["since"]))
    printable = "".join(sign if sign.isprintable() else "?" for sign in by)
    return f"{said} since {since}, set by {printable}."
