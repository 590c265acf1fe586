"""`brineward balance CONFIG`: salt, water and chloride, and what doesn't add up."""

import argparse
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

from brineward.commands.record_rows import Asked, Table, add_options, show, written
from brineward.physics.water import FRESH_KG_PER_M3
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, instant_from_rfc3339, local_from_instant
from brineward.records.balance import CHLORIDE, Balance, Figure, balance_of, deliveries_of
from brineward.wording.operator_units import amount_of_salt


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `balance` to the command line."""
    parser = subparsers.add_parser(
        "balance",
        help="salt, water and chloride: delivered, made, loaded, lost, and what doesn't add up",
        description="Adds up a period: what was made and loaded, the salt, water and chloride in "
        "it, what is in the tanks and the hopper, and the difference that remains, "
        "each with twice its standard uncertainty. Ends with 0, or with 2 if it "
        "can't be worked out.",
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print it; 0, or 2 where it can't be done as asked."""
    return show(arguments, Table(_rows, _lines, uncertain=tuple(_FIGURES)))


def _rows(asked: Asked) -> Iterator[dict[str, Any]]:
    deliveries = deliveries_of(asked.records, asked.plan.id, *asked.span)
    yield as_json(balance_of(asked.records, asked.plan, *asked.span, deliveries))


def as_json(balance: Balance) -> dict[str, Any]:
    """A balance for a program: kg and m3, each amount with its standard uncertainty."""
    return {
        "depot": balance.depot,
        "start": written(balance.start),
        "end": written(balance.end),
        "batches": balance.batches,
        "loads": balance.loads,
        "under_way": balance.under_way,
        **{name: _figure(of(balance)) for name, of in _FIGURES.items()},
        "salt_delivered_how": balance.delivered_how,
        "salt_delivered_until": None
        if balance.delivered_until is None
        else written(balance.delivered_until),
    }


_FIGURES: dict[str, Callable[[Balance], Figure | None]] = {
    "made_m3": lambda found: found.made_m3,
    "loaded_m3": lambda found: found.loaded_m3,
    "lost_m3": lambda found: found.lost_m3,
    "salt_delivered_kg": lambda found: found.salt_delivered,
    "salt_made_kg": lambda found: found.salt_made,
    "salt_loaded_kg": lambda found: found.salt_loaded,
    "salt_lost_kg": lambda found: found.salt_lost,
    "salt_in_tanks_at_start_kg": lambda found: _at_start(found.salt_in_tanks),
    "salt_in_tanks_at_end_kg": lambda found: _at_end(found.salt_in_tanks),
    "salt_in_hopper_at_start_kg": lambda found: _at_start(found.salt_in_hopper),
    "salt_in_hopper_at_end_kg": lambda found: _at_end(found.salt_in_hopper),
    "salt_tanks_open_kg": lambda found: found.tanks_open,
    "salt_hopper_open_kg": lambda found: found.hopper_open,
    "chloride_loaded_kg": lambda found: _chloride(found.salt_loaded),
    "chloride_lost_kg": lambda found: _chloride(found.salt_lost),
    "water_made_kg": lambda found: found.water_made,
    "water_loaded_kg": lambda found: found.water_loaded,
}
"""What has a standard uncertainty, by its name in JSON."""


def _at_start(both: tuple[Figure, Figure] | None) -> Figure | None:
    return None if both is None else both[0]


def _at_end(both: tuple[Figure, Figure] | None) -> Figure | None:
    return None if both is None else both[1]


def _chloride(salt: Figure) -> Figure:
    return Figure(CHLORIDE * salt.amount, CHLORIDE * salt.standard_uncertainty)


def _figure(figure: Figure | None) -> list[float] | None:
    if figure is None:
        return None
    return [round(figure.amount, 6), round(figure.standard_uncertainty, 6)]


_Say = Callable[[float], str]

_VOLUMES = (("made", "made_m3"), ("loaded", "loaded_m3"), ("drained", "lost_m3"))
_SALT = (
    ("delivered", "salt_delivered_kg"),
    ("dissolved in what was made", "salt_made_kg"),
    ("loaded", "salt_loaded_kg"),
    ("drained", "salt_lost_kg"),
    ("in the tanks at the start", "salt_in_tanks_at_start_kg"),
    ("in the tanks at the end", "salt_in_tanks_at_end_kg"),
    ("in the hopper at the start", "salt_in_hopper_at_start_kg"),
    ("in the hopper at the end", "salt_in_hopper_at_end_kg"),
    ("difference in the tanks", "salt_tanks_open_kg"),
    ("difference in the hopper", "salt_hopper_open_kg"),
)


def _lines(asked: Asked, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    plan = asked.plan
    for row in rows:
        start, end = (_day(plan, instant_from_rfc3339(row[name])) for name in ("start", "end"))
        yield f"{plan.name}, {start} to {end}"
        yield f"  brine, {row['batches']} batches and {row['loads']} loads"
        if row["under_way"]:
            yield "    (a batch or a load is still going on at the end and is not included)"
        for name, key in _VOLUMES:
            yield _line(name, row[key], plan.units.volume)
        yield "  salt"
        for name, key in _SALT:
            how = _how(plan, row) if key == "salt_delivered_kg" else ""
            yield _line(name, row[key], partial(_salt, plan)) + how
        yield "  chloride"
        yield _line("loaded", row["chloride_loaded_kg"], partial(_salt, plan))
        yield _line("drained", row["chloride_lost_kg"], partial(_salt, plan))
        yield "  water"
        yield _line("in what was made", row["water_made_kg"], partial(_water, plan))
        yield _line("in what was loaded", row["water_loaded_kg"], partial(_water, plan))


def _how(plan: DepotPlan, row: dict[str, Any]) -> str:
    until = row["salt_delivered_until"]
    seen = "" if until is None else f" up to {_day(plan, instant_from_rfc3339(until))}"
    return f", {row['salt_delivered_how']}{seen}"


def _day(plan: DepotPlan, instant: Instant) -> str:
    return f"{local_from_instant(instant, plan.zone):%Y-%m-%d %H:%M}"


def _line(name: str, figure: list[float] | None, say: _Say) -> str:
    if figure is None:
        return f"    {name}: not known"
    amount, doubt = figure
    return f"    {name}: {say(amount)} +/- {say(2 * doubt)}"


def _salt(plan: DepotPlan, kg: float) -> str:
    return amount_of_salt(kg, plan.us_units)


def _water(plan: DepotPlan, kg: float) -> str:
    return plan.units.volume(kg / FRESH_KG_PER_M3)
