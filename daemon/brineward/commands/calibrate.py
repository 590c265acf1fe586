"""`brineward calibrate CONFIG`: enter a hydrometer test; see what the tests say about the probe."""

import argparse
import getpass
import json
import sys
from collections.abc import Callable
from pathlib import Path

from brineward.commands import calibrate_picture
from brineward.commands.calibrate_history import Asked, History, as_json, history_of
from brineward.commands.calibrate_lines import lines, queued_line
from brineward.commands.config_file import add_config
from brineward.commands.take import has_journal
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.commands.which_journal import (
    OnlyRead,
    add_journal,
    now_in,
    refuse_entering,
    settings_of,
)
from brineward.config.settings import Settings
from brineward.decode.hand_tests import RefusedTest, hand_test
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.physics.hydrometer import USUAL_SCALE
from brineward.plant.plan import DepotPlan
from brineward.quantities import UnreadableQuantity, parse_number, parse_quantity
from brineward.readings.entries import HandTest
from brineward.readings.instants import Instant
from brineward.service.resume import resumed_engine

WELL, NO_PROBE, MISASKED = 0, 1, 2

_MARKS = (
    ("hydrometer", "specific gravity as shown, at the sample's own temperature", "1.171"),
    ("salometer", "salometer degrees as shown", "85"),
    ("strength", "sodium chloride by mass, by a refractometer or a laboratory", "23.1 %"),
)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `calibrate` to the command line."""
    parser = subparsers.add_parser(
        "calibrate",
        help="enter a hydrometer test; see how sure the probe is, and when to test again",
        description="With a mark, enters a test of the brine, taken beside the probe in a tank "
        "that stands still; the service compares it with what the probe read then, and reports "
        "where they disagree. Always shows the tests so far, what the probe's readings are "
        "multiplied by, and when to test next.",
        epilog="Below zero, put a space before the unit or an equals sign before the number:"
        ' --temperature "-5 degC", --temperature=-5C.',
    )
    add_config(parser)
    add_journal(parser)
    parser.add_argument("--depot", metavar="NAME", help="where the config has several")
    parser.add_argument("--vessel", default="main", metavar="NAME", help="default: %(default)s")
    for name, what, example in _MARKS:
        shown = f'{what}, such as "{example}"'.replace("%", "%%")
        parser.add_argument(f"--{name}", metavar="TEXT", help=shown)
    parser.add_argument(
        "--scale", default=USUAL_SCALE.name, metavar="TEXT", help="of the hydrometer: %(default)s"
    )
    parser.add_argument(
        "--temperature", metavar="TEXT", help='of the sample when it was read, such as "41 degF"'
    )
    parser.add_argument(
        "--uncertainty",
        metavar="NUMBER",
        help="standard uncertainty of the mark as read (0.001; 0.5 degrees; 0.3 %%)",
    )
    parser.add_argument(
        "--time", metavar="TIME", help="when, such as 2026-01-14T18:00:00Z; default: now"
    )
    parser.add_argument(
        "--cleaned",
        action="store_true",
        help="the probe was cleaned, moved or replaced since the last test",
    )
    parser.add_argument(
        "--sure",
        action="store_true",
        help="it was read and written as entered, though a slip would explain it",
    )
    parser.add_argument("--by", metavar="NAME", help="who tested; default: your login")
    parser.add_argument("--json", action="store_true", help="the same as JSON, in SI units")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="also draw the history: .png, .svg, .pdf"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Enter and show; 0, 1 where there is no such probe, 2 where it can't be read or taken."""
    settings = settings_of(arguments)
    try:
        plan = the_depot(settings, arguments.depot)
        now = now_in(arguments, settings)
        test = _test(arguments, plan.id, now)
        if test is not None:
            refuse_entering(arguments)
            if not has_journal(settings):
                return MISASKED
        asked = Asked(plan, arguments.vessel, now)
        history = _enter_and_look(settings, asked, test)
        if history is None:
            return _fail(
                f"{plan.name} has no conductivity beside a temperature in {arguments.vessel!r}",
                NO_PROBE,
            )
        if arguments.output is not None:
            calibrate_picture.draw(history, plan, arguments.output)
    except (WhichDepot, OnlyRead, RefusedTest, UnreadableQuantity) as why:
        return _fail(str(why))
    except (JournalUnusable, DiskTrouble, calibrate_picture.NotDrawn) as why:
        return _fail(str(why))
    _tell(arguments, plan, history, test)
    return WELL


def _fail(sentence: str, code: int = MISASKED) -> int:
    print(sentence, file=sys.stderr)
    return code


def _tell(
    arguments: argparse.Namespace, plan: DepotPlan, history: History, test: HandTest | None
) -> None:
    if arguments.json:
        print(json.dumps(as_json(history), indent=2, allow_nan=False))
        return
    if test is not None:
        print(queued_line(test))
    print("\n".join(lines(plan, history)))
    if arguments.output is not None:
        print(f"Drawn: {arguments.output}")


def _test(arguments: argparse.Namespace, depot: str, now: Instant) -> HandTest | None:
    """The test that was entered, as the service takes it; None where none was.

    Raises: RefusedTest, UnreadableQuantity.
    """
    fields: dict[str, str | float | int | bool] = {"vessel": arguments.vessel}
    for name, key, read in _READ:
        written = getattr(arguments, name)
        if written is not None:
            fields[key] = read(written)
    if arguments.hydrometer is not None:
        fields["scale"] = arguments.scale
    if arguments.temperature is not None:
        value = parse_quantity(arguments.temperature, expected="temperature", where="--temperature")
        fields["temperature_c"] = round(value, 4)
    if arguments.uncertainty is not None:
        fields["standard_uncertainty"] = parse_number(
            arguments.uncertainty.rstrip(" %"), where="--uncertainty"
        )
    if arguments.time is not None:
        fields["at"] = arguments.time
    fields |= {flag: True for flag in ("cleaned", "sure") if getattr(arguments, flag)}
    if not any(key in fields for _, key, _ in _READ):
        if len(fields) > 1:
            raise RefusedTest("what did it show? --hydrometer, --salometer or --strength")
        return None
    fields["by"] = arguments.by or getpass.getuser()
    return hand_test(fields, depot=depot, now=now)


def _percentage(written: str) -> float:
    return round(parse_quantity(written, expected="ratio", where="--strength") * 100.0, 6)


_READ: tuple[tuple[str, str, Callable[[str], float]], ...] = (
    ("hydrometer", "specific_gravity", lambda written: parse_number(written, where="--hydrometer")),
    ("salometer", "salometer", lambda written: parse_number(written, where="--salometer")),
    ("strength", "percent", _percentage),
)
"""The flag, what it is among a test's fields, and how it is read."""


def _enter_and_look(settings: Settings, asked: Asked, test: HandTest | None) -> History | None:
    """Post the test, and look at what the engine makes of it; it takes the same step as ours."""
    with Journal.open(settings.journal.path, read_only=test is None) as journal:
        engine = resumed_engine(settings.depots, journal)
        if asked.vessel not in engine.plant(asked.plan.id).probes:
            return None
        for _, waiting in journal.inbox.waiting():
            engine.step(waiting)
        if test is not None:
            journal.inbox.post(test)
            engine.step(test)
        return history_of(asked, engine)
