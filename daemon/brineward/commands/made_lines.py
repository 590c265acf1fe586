"""Loads and batches as lines for a person, in the depot's units and time zone."""

from collections.abc import Iterator
from typing import Any

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, instant_from_rfc3339, local_from_instant
from brineward.wording.operator_units import amount_of_salt, percent

_UNKNOWN = "?"


def when(plan: DepotPlan, row: dict[str, Any]) -> str:
    """From when to when, on the depot's clock."""
    began = _instant(row["began"])
    start = f"{local_from_instant(began, plan.zone):%Y-%m-%d %H:%M}"
    if row["ended"] is None:
        return f"{start}, still going on"
    return f"{start} to {local_from_instant(_instant(row['ended']), plan.zone):%H:%M}"


def _instant(written: str) -> Instant:
    return instant_from_rfc3339(written)


def volume(plan: DepotPlan, row: dict[str, Any]) -> str:
    """How much, and how sure that is, as an expanded uncertainty with a coverage factor of 2."""
    if row["volume_m3"] is None:
        return _UNKNOWN
    doubt = row["volume_standard_uncertainty_m3"] or 0.0
    units = plan.units
    return f"{units.volume(row['volume_m3'])} +/- {units.volume(2 * doubt)}"


def strength(row: dict[str, Any]) -> str:
    """How strong, with the ends of its 95 % interval."""
    if row["mass_fraction"] is None:
        return "strength not known"
    if row["interval_95"] is None:
        return f"{percent(row['mass_fraction'])} %"
    low, high = row["interval_95"]
    return f"{percent(row['mass_fraction'])} % ({percent(low)} to {percent(high)})"


def salt(plan: DepotPlan, row: dict[str, Any]) -> str:
    """How much salt is in it."""
    kg = row["salt_kg"]
    return "salt not known" if kg is None else f"{amount_of_salt(kg, plan.us_units)} of salt"


def heading(plan: DepotPlan, count: int, what: str, whats: str) -> str:
    """Whose they are, and how many."""
    return f"{plan.name}: {count or 'no'} {what if count == 1 else whats}"


def totals(plan: DepotPlan, rows: list[dict[str, Any]]) -> Iterator[str]:
    """All of them together."""
    if len(rows) < 2:
        return
    volumes = [row["volume_m3"] for row in rows if row["volume_m3"] is not None]
    kg = sum(row["salt_kg"] for row in rows if row["salt_kg"] is not None)
    yield (
        f"  in all {plan.units.volume(sum(volumes))}, {amount_of_salt(kg, plan.us_units)} of salt"
    )
