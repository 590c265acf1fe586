"""`brineward settings CONFIG`: valve settings and the strengths they gave, best first."""

import argparse
from collections.abc import Iterator, Sequence
from typing import Any

from brineward.commands import made_lines
from brineward.commands.record_rows import Asked, Table, add_options, show
from brineward.records.made import counted
from brineward.records.settings_used import settings_used
from brineward.wording.operator_units import percent


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `settings` to the command line."""
    parser = subparsers.add_parser(
        "settings",
        help="valve settings and the strengths they gave, the best first",
        description="The marks of the blend valves with which batches were made, as people "
        "entered them ('brineward record CONFIG settings feed=3.5 bypass=2'), and "
        "the strengths they gave: a starting point after the hopper has been drained "
        "and cleaned. Ends with 0; 1 if there are none; 2 if it can't be worked out.",
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print them; 0, 1 where there are none, 2 where it can't be done as asked."""
    return show(arguments, Table(_rows, _lines))


def _rows(asked: Asked) -> Iterator[dict[str, Any]]:
    found = asked.records.made.batches(asked.plan.id, *asked.span)
    batches = counted(found, *asked.span)
    for used in settings_used(batches, asked.plan.strength.target):
        yield {
            "depot": asked.plan.id,
            "vessel": used.vessel,
            "settings": dict(used.marks),
            "batches": list(used.batches),
            "mass_fraction": used.mass_fraction,
            "interval_95": None if used.interval_95 is None else list(used.interval_95),
            "rejected": used.rejected,
        }


def _lines(asked: Asked, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    plan = asked.plan
    if not rows:
        yield f"{plan.name}: no settings were entered with a batch in this time."
        return
    yield f"{plan.name}: settings, the nearest to {percent(plan.strength.target)} % first"
    for row in rows:
        marks = ", ".join(f"{name} {mark:g}" for name, mark in row["settings"].items())
        count = len(row["batches"])
        made = f"{count} batch{'' if count == 1 else 'es'}"
        rejected = f", {row['rejected']} rejected" if row["rejected"] else ""
        vessel = plan.name_of(row["vessel"])
        yield f"  {marks}: {made_lines.strength(row)} in the {vessel}, {made}{rejected}"
