"""`brineward calibrate CONFIG`: enter a hydrometer test; see what the tests say about the probe."""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

from brineward.commands import calibrate_picture
from brineward.commands.calibrate_history import Asked, History, as_json, history_of
from brineward.commands.calibrate_lines import lines, queued_line, struck_line
from brineward.commands.calibrate_strike import NotStruck, strike_of
from brineward.commands.config_file import add_config
from brineward.commands.take import has_journal, login
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
from brineward.plant.probes import Probe
from brineward.quantities import UnreadableQuantity, parse_number, parse_quantity
from brineward.readings.entries import HandTest, StruckTest
from brineward.readings.instants import Instant
from brineward.service.resume import resumed_engine

WELL, NO_PROBE, MISASKED = 0, 1, 2
Entered = HandTest | StruckTest

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
        "multiplied by, and when to test next. Nothing is ever erased: a test that --strike takes "
        "back stays on record, and teaches nothing.",
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
    parser.add_argument(
        "--strike",
        metavar="TIME",
        help="take back the test of this time, as it is listed; with --strength for one of several",
    )
    parser.add_argument("--why", metavar="TEXT", help="with --strike: why the test was wrong")
    parser.add_argument(
        "--by", metavar="NAME", help="who tested, or strikes it; default: your login"
    )
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
        entering = _entering(arguments, plan, now)
        if entering is not None:
            refuse_entering(arguments)
            if not has_journal(settings):
                return MISASKED
        asked = Asked(plan, arguments.vessel, now)
        found = _enter_and_look(settings, asked, entering)
        if found is None:
            return _fail(
                f"{plan.name} has no conductivity beside a temperature in {arguments.vessel!r}",
                NO_PROBE,
            )
        act, history = found
        if arguments.output is not None:
            calibrate_picture.draw(history, plan, arguments.output)
    except (WhichDepot, OnlyRead, RefusedTest, NotStruck, UnreadableQuantity) as why:
        return _fail(str(why))
    except (JournalUnusable, DiskTrouble, calibrate_picture.NotDrawn) as why:
        return _fail(str(why))
    _tell(arguments, plan, history, act)
    return WELL


def _fail(sentence: str, code: int = MISASKED) -> int:
    print(sentence, file=sys.stderr)
    return code


def _tell(
    arguments: argparse.Namespace, plan: DepotPlan, history: History, act: Entered | None
) -> None:
    if arguments.json:
        print(json.dumps(as_json(history), indent=2, allow_nan=False))
        return
    if act is not None:
        print(struck_line(plan, act) if isinstance(act, StruckTest) else queued_line(act))
    print("\n".join(lines(plan, history)))
    if arguments.output is not None:
        print(f"Drawn: {arguments.output}")


def _entering(
    arguments: argparse.Namespace, plan: DepotPlan, now: Instant
) -> Callable[[Probe], Entered] | None:
    """What is to be entered, once it is known which tests there are; None where nothing is.

    Raises: NotStruck, RefusedTest, UnreadableQuantity.
    """
    if arguments.strike is not None:
        return lambda probe: strike_of(arguments, plan, probe, now)
    if arguments.why is not None:
        raise NotStruck("--why goes with --strike, and says why the test was wrong")
    test = _test(arguments, plan.id, now)
    return None if test is None else lambda probe: test


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
    fields["by"] = arguments.by or login()
    return hand_test(fields, depot=depot, now=now)


def _percentage(written: str) -> float:
    return round(parse_quantity(written, expected="ratio", where="--strength") * 100.0, 6)


_READ: tuple[tuple[str, str, Callable[[str], float]], ...] = (
    ("hydrometer", "specific_gravity", lambda written: parse_number(written, where="--hydrometer")),
    ("salometer", "salometer", lambda written: parse_number(written, where="--salometer")),
    ("strength", "percent", _percentage),
)
"""The flag, what it is among a test's fields, and how it is read."""


def _enter_and_look(
    settings: Settings, asked: Asked, entering: Callable[[Probe], Entered] | None
) -> tuple[Entered | None, History] | None:
    """Post it, and look at what the engine makes of it, which takes the same step as ours; None
    where the vessel has no probe. Raises: NotStruck.
    """
    with Journal.open(settings.journal.path, read_only=entering is None) as journal:
        engine = resumed_engine(settings.depots, journal)
        probe = engine.plant(asked.plan.id).probes.get(asked.vessel)
        if probe is None:
            return None
        for _, waiting in journal.inbox.waiting():
            engine.step(waiting)
        act = None if entering is None else entering(probe)
        if act is not None:
            journal.inbox.post(act)
            engine.step(act)
        return act, history_of(asked, engine)
