"""`brineward loads CONFIG`: what was loaded, when, how much, how strong."""

import argparse
from collections.abc import Iterator, Sequence
from typing import Any

from brineward.commands import made_lines
from brineward.commands.record_rows import Asked, Table, add_options, show, written
from brineward.records import Load
from brineward.records.made import counted


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `loads` to the command line."""
    parser = subparsers.add_parser(
        "loads",
        help="what was loaded: when, how much, how strong, how warm",
        description="Every load that ended in a period, or goes on, found from the pump, "
        "the meter and the tank's level, even while the tank was refilling. Volumes are "
        "shown with twice their standard uncertainty. Ends with 0; 1 if there was none; 2 if it "
        "can't be worked out.",
    )
    add_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Print them; 0, 1 where there are none, 2 where it can't be done as asked."""
    return show(arguments, Table(_rows, _lines))


def _rows(asked: Asked) -> Iterator[dict[str, Any]]:
    found = asked.records.made.loads(asked.plan.id, *asked.span)
    for load in counted(found, *asked.span):
        yield as_json(load)


def as_json(load: Load) -> dict[str, Any]:
    """A load for a program: SI, UTC, null where something is not known."""
    return {
        "depot": load.depot,
        "number": load.number,
        "began": written(load.began),
        "ended": written(load.ended),
        "source": load.source,
        "volume_m3": load.volume_m3,
        "volume_standard_uncertainty_m3": load.volume_standard_uncertainty_m3,
        "mass_fraction": load.mass_fraction,
        "interval_95": None if load.interval_95 is None else list(load.interval_95),
        "temperature_c": load.temperature_c,
        "salt_kg": load.salt_kg,
        "how": load.how,
    }


def _lines(asked: Asked, rows: Sequence[dict[str, Any]]) -> Iterator[str]:
    plan = asked.plan
    yield made_lines.heading(plan, len(rows), "load", "loads")
    for row in rows:
        parts = [
            f"{row['number']:>5}  {made_lines.when(plan, row)}",
            plan.name_of(row["source"]),
            made_lines.volume(plan, row),
            made_lines.strength(row),
        ]
        if row["temperature_c"] is not None:
            parts.append(plan.units.temperature(row["temperature_c"]))
        parts.append(made_lines.salt(plan, row))
        if row["how"]:
            parts.append(row["how"])
        yield "  ".join(parts)
    yield from made_lines.totals(plan, list(rows))
