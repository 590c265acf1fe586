"""`brineward calibrate CONFIG --strike TIME`: which test is meant, and how it is taken back."""

import argparse
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from brineward.commands.take import login
from brineward.plant.plan import DepotPlan
from brineward.plant.probes import Probe
from brineward.plant.recorded_test import RecordedTest
from brineward.quantities import parse_quantity
from brineward.readings.entries import StruckTest
from brineward.readings.instants import Instant, local_from_instant
from brineward.wording.operator_units import percent

_WRITTEN: Final = re.compile(
    r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(?P<seconds>:\d\d)?(\.\d+)?(Z|[+-]\d\d:\d\d)?", re.ASCII
)
OF_A_TEST: Final = (
    "hydrometer", "salometer", "temperature", "uncertainty", "time", "cleaned", "sure",
)  # fmt: skip
_ALIKE: Final = (0.0005, 0.00005)
"""A strength is the one that was named if it reads the same to one decimal of a percent; of
several, to two."""


class NotStruck(ValueError):
    """No test can be struck as it was asked; the text says why."""


def strike_of(
    arguments: argparse.Namespace, plan: DepotPlan, probe: Probe, now: Instant
) -> StruckTest:
    """The act that strikes the one test that --strike and --strength name.

    Raises: NotStruck, UnreadableQuantity.
    """
    more = [name for name in OF_A_TEST if getattr(arguments, name)]
    if more:
        raise NotStruck(f"--strike enters no test: leave out --{more[0]}, and enter one afterwards")
    found = _named(arguments, plan, probe.records)
    if len(found) > 1:
        each = [f"{_when(plan, one.at, ':%S')}, {_two_decimals(one)} %" for one in found]
        raise NotStruck(
            f"{len(found)} tests are of that time: {'; '.join(each)}. Say which, with the seconds"
            f' or with --strength "{_two_decimals(found[0])} %"'
        )
    if not found:
        raise NotStruck(_why_none(arguments, plan, probe))
    return StruckTest(
        depot=plan.id, time=now, received=now, vessel=probe.vessel, at=found[0].at,
        mass_fraction=found[0].mass_fraction, by=(arguments.by or login())[:60],
        why=(arguments.why or "").strip()[:200],
    )  # fmt: skip


def _named(
    arguments: argparse.Namespace, plan: DepotPlan, tests: Sequence[RecordedTest]
) -> Sequence[RecordedTest]:
    """Those of the minute that was named, or the second, and of the strength. Raises: NotStruck."""
    written = _WRITTEN.fullmatch(arguments.strike.strip())
    try:
        begins = datetime.fromisoformat(written[0] if written else "").replace(microsecond=0)
    except ValueError:
        raise NotStruck(
            f"--strike {arguments.strike[:40]!r} is not a time as tests are listed; expected "
            '"2026-01-15 06:40"'
        ) from None
    lasts = timedelta(seconds=1) if written and written["seconds"] else timedelta(minutes=1)

    def is_then(at: Instant) -> bool:
        local = local_from_instant(at, plan.zone)
        local = local if begins.tzinfo else local.replace(tzinfo=None)
        return begins <= local < begins + lasts

    then = [one for one in tests if is_then(one.at)]
    if arguments.strength is None:
        return then
    asked = parse_quantity(arguments.strength, expected="ratio", where="--strength")
    alike, same = (
        [one for one in then if abs(one.mass_fraction - asked) <= off + 1e-9] for off in _ALIKE
    )
    return same or alike


def _why_none(arguments: argparse.Namespace, plan: DepotPlan, probe: Probe) -> str:
    struck = _named(arguments, plan, [one.test for one in probe.struck])
    for one in reversed(probe.struck):
        if one.test in struck:
            by = f" by {plan.name_of(one.by)}" if one.by else ""
            at = _when(plan, one.test.at)
            return f"The test of {at} was struck already{by}, {_when(plan, one.struck)}"
    newest = [
        f"{_when(plan, one.at)} ({percent(one.mass_fraction)} %)" for one in probe.records[-3:]
    ]
    there = f"the last are {', '.join(newest)}" if newest else "there is none"
    return f"There is no such test of the {plan.name_of(probe.vessel)}; {there}"


def _when(plan: DepotPlan, at: Instant, more: str = "") -> str:
    return f"{local_from_instant(at, plan.zone):%Y-%m-%d %H:%M{more}}"


def _two_decimals(test: RecordedTest) -> str:
    return f"{test.mass_fraction * 100.0:.2f}"
