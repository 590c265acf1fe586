"""`brineward batches CONFIG`: what was made, when, how much, how strong, whether it was tested."""

import argparse
from collections.abc import Iterator, Sequence
from typing import Any

from brineward.commands import made_lines
from brineward.commands.record_rows import Asked, Table, add_options, show, written
from brineward.readings.entries import HandTest
from brineward.records import Batch
from brineward.records.made import counted
from brineward.wording.operator_units import percent


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `batches` to the command line."""
    parser = subparsers.add_parser(
        "batches",
        help="what was made: when, how much, how strong, tested or not",
        description="Every batch that ended in a period, or goes on: what was made between "
        "two times when the tank stood still, with the salt dissolved and the water used "
        "according to the balance of the tank, and the last test by hand before the next batch. "
        "Ends with 0; 1 if there was none; 2 if it can't be worked out.",
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print them; 0, 1 where there are none, 2 where it can't be done as asked."""
    return show(arguments, Table(_rows, _lines))


def _rows(asked: Asked) -> Iterator[dict[str, Any]]:
    found = asked.records.made.batches(asked.plan.id, *asked.span)
    for batch in counted(found, *asked.span):
        yield as_json(batch)


def as_json(batch: Batch) -> dict[str, Any]:
    """A batch for a program: SI, UTC, null where something is not known or was not done."""
    return {
        "depot": batch.depot,
        "number": batch.number,
        "began": written(batch.began),
        "ended": written(batch.ended),
        "vessel": batch.vessel,
        "volume_m3": batch.volume_m3,
        "volume_standard_uncertainty_m3": batch.volume_standard_uncertainty_m3,
        "mass_fraction": batch.mass_fraction,
        "interval_95": None if batch.interval_95 is None else list(batch.interval_95),
        "salt_kg": batch.salt_kg,
        "water_m3": batch.water_m3,
        "tested": None if batch.tested is None else _tested(batch.tested),
        "accepted": batch.by_hand.accepted,
        "settings": None if batch.by_hand.settings is None else dict(batch.by_hand.settings),
    }


def _tested(test: HandTest) -> dict[str, Any]:
    return {
        "at": written(test.at),
        "mass_fraction": test.mass_fraction,
        "standard_uncertainty": test.standard_uncertainty,
        "by": test.by,
        "entered": test.entered,
    }


def _lines(asked: Asked, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    plan = asked.plan
    yield made_lines.heading(plan, len(rows), "batch", "batches")
    for row in rows:
        parts = [
            f"{row['number']:>5}  {made_lines.when(plan, row)}",
            plan.name_of(row["vessel"]),
            made_lines.volume(plan, row),
            made_lines.strength(row),
            made_lines.salt(plan, row),
        ]
        if row["water_m3"] is not None:
            parts.append(f"{plan.units.volume(row['water_m3'])} of water")
        tested = row["tested"]
        found = "not tested" if tested is None else f"tested {percent(tested['mass_fraction'])} %"
        verdict = {None: "", True: "accepted", False: "rejected"}[row["accepted"]]
        marks = ", ".join(f"{name} {mark:g}" for name, mark in (row["settings"] or {}).items())
        yield "  ".join(filter(None, [*parts, found, verdict, marks]))
    yield from made_lines.totals(plan, list(rows))
