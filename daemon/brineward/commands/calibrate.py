"""`brineward calibrate CONFIG`: enter a hydrometer test, see what the tests say of the probe."""

import argparse
import getpass
import json
import sys
from pathlib import Path

from brineward.clock import MachineClock
from brineward.commands import calibrate_picture
from brineward.commands.calibrate_history import Asked, History, as_json, history_of
from brineward.commands.calibrate_lines import lines, taken_line
from brineward.commands.config_file import add_config
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.physics.hydrometer import USUAL_SCALE
from brineward.plant.hand_tests import HandTest, RefusedTest, hand_test
from brineward.plant.plan import DepotPlan
from brineward.quantities import UnreadableQuantity, parse_number, parse_quantity
from brineward.readings.entries import Act
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
        "that stands still; the service compares it with what the probe said then. Always shows "
        "the tests so far, what the probe's readings are multiplied by, and when the next test "
        "is worth the walk.",
        epilog="Below zero, put a space before the unit or an equals sign before the number:"
        ' --temperature "-5 degC", --temperature=-5C.',
    )
    add_config(parser)
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
    parser.add_argument("--by", metavar="NAME", help="who tested; default: your login")
    parser.add_argument("--json", action="store_true", help="the same as JSON, in SI units")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="also draw the history: .png, .svg, .pdf"
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Enter and show; 0, 1 where there is no such probe, 2 where it can't be read or taken."""
    settings = load_settings(arguments.config)
    plan = _depot(settings, arguments.depot)
    if plan is None:
        return _fail(f"which depot? --depot {' or '.join(settings.depots)}")
    now = MachineClock().now()
    try:
        act = _act(arguments, plan.id, now)
        asked = Asked(plan, arguments.vessel, now)
        history, test = _enter_and_look(settings, asked, act)
        if history is None:
            return _fail(
                f"{plan.name} has no conductivity beside a temperature in {arguments.vessel!r}",
                NO_PROBE,
            )
        if arguments.output is not None:
            calibrate_picture.draw(history, plan, arguments.output)
    except (RefusedTest, UnreadableQuantity, JournalUnusable, DiskTrouble) as why:
        return _fail(str(why))
    except calibrate_picture.NotDrawn as why:
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
        print(taken_line(test))
    print("\n".join(lines(plan, history)))
    if arguments.output is not None:
        print(f"Drawn: {arguments.output}")


def _depot(settings: Settings, name: str | None) -> DepotPlan | None:
    if name is not None:
        return settings.depots.get(name)
    plans = list(settings.depots.values())
    return plans[0] if len(plans) == 1 else None


def _act(arguments: argparse.Namespace, depot: str, now: Instant) -> Act | None:
    """The test as an act, checked as the service will check it; None where none was entered.

    Raises: RefusedTest, UnreadableQuantity.
    """
    fields: dict[str, str | float | int | bool] = {"vessel": arguments.vessel}
    if arguments.hydrometer is not None:
        fields["specific_gravity"] = parse_number(arguments.hydrometer, where="--hydrometer")
        fields["scale"] = arguments.scale
    if arguments.salometer is not None:
        fields["salometer"] = parse_number(arguments.salometer, where="--salometer")
    if arguments.strength is not None:
        value = parse_quantity(arguments.strength, expected="ratio", where="--strength")
        fields["percent"] = round(value * 100.0, 6)
    marked = len(fields) > 1
    if arguments.temperature is not None:
        value = parse_quantity(arguments.temperature, expected="temperature", where="--temperature")
        fields["temperature_c"] = round(value, 4)
    if arguments.uncertainty is not None:
        fields["standard_uncertainty"] = parse_number(
            arguments.uncertainty.rstrip(" %"), where="--uncertainty"
        )
    if arguments.time is not None:
        fields["at"] = arguments.time
    if arguments.cleaned:
        fields["cleaned"] = True
    if not marked:
        if len(fields) > 1:
            raise RefusedTest("what did it show? --hydrometer, --salometer or --strength")
        return None
    fields["by"] = arguments.by or getpass.getuser()
    hand_test(fields, now)
    return Act(depot=depot, time=now, received=now, act="test", fields=fields)


def _enter_and_look(
    settings: Settings, asked: Asked, act: Act | None
) -> tuple[History | None, HandTest | None]:
    """Post the test, and look at what the engine makes of it; it takes the same step as ours."""
    with Journal.open(settings.journal.path, read_only=act is None) as journal:
        engine = resumed_engine(settings.depots, journal)
        if asked.vessel not in engine.plant(asked.plan.id).probes:
            return None, None
        for _, waiting in journal.inbox():
            engine.step(waiting)
        if act is None:
            return history_of(asked, engine, journal), None
        journal.post(act)
        engine.step(act)
        return history_of(asked, engine, journal), hand_test(act.fields, act.time)
