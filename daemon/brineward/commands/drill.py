"""`brineward drill CONFIG`: a marked mock alarm through the real rota; who takes it, how soon."""

import argparse
import sys
import threading
from collections.abc import Iterator
from typing import Final

from pydantic_core import PydanticCustomError

from brineward.alarms.drill import RECORD, drill_words
from brineward.clock import Clock, MachineClock
from brineward.commands.config_file import add_config
from brineward.commands.take import has_journal
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.config.fields import quantity_in_si
from brineward.config.load import load_settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.journal.outbox import OutboxText
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import ServiceTrouble
from brineward.readings.instants import DAY, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.records import Records
from brineward.wording.operator_units import duration

_LOOK_SECONDS: Final = 0.5
_LOOKS_FOR_START: Final = 120  # a minute of looking: a busy machine may take half of that
_LONGEST_SECONDS: Final = 12 * 3600.0


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `drill` to the command line."""
    parser = subparsers.add_parser(
        "drill",
        help="a mock alarm through the real rota: who takes it, and how soon",
        description="Has the running service raise an alarm that says that it is a drill. People "
        "are called as for a real one of high priority, at any hour, until one takes "
        "it; a siren that is on call sounds. Then it says who took it, how long that "
        "took and what failed. Ctrl-C ends it.",
    )
    add_config(parser)
    parser.add_argument("--depot", metavar="DEPOT", help="by id; needed if there are several")
    parser.add_argument(
        "--for",
        dest="length",
        metavar="TIME",
        default="30 min",
        help='when it ends if nobody takes it; default "30 min"',
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """0: taken, and every text arrived; 1: not taken, or something failed; 2: no drill was held."""
    settings = load_settings(args.config)
    if not has_journal(settings):
        return 2
    try:
        plan = the_depot(settings, args.depot)
        length = quantity_in_si(args.length, "duration")
    except PydanticCustomError as refusal:
        print(f"--for: {refusal.message()}; expected a time such as 30 min", file=sys.stderr)
        return 2
    except WhichDepot as why:
        print(why, file=sys.stderr)
        return 2
    if not 0 < length <= _LONGEST_SECONDS:
        print("--for: expected more than nothing and at most 12 h", file=sys.stderr)
        return 2
    try:
        with Journal.open(settings.journal.path) as journal:
            return Drilling(plan, journal, MachineClock()).hold(length)
    except (JournalUnusable, DiskTrouble) as why:
        print(why, file=sys.stderr)
        return 2


class Drilling:
    """One drill at one depot, followed in the journal."""

    def __init__(self, plan: DepotPlan, journal: Journal, clock: Clock) -> None:
        self._plan, self._journal, self._clock = plan, journal, clock
        self._records = Records(journal.handle)
        self._began, self._begun_seconds = clock.now(), clock.monotonic_seconds()
        self._before = self._known()
        self._texts: dict[str, OutboxText] = {}

    def hold(self, seconds: float) -> int:
        """Raise it, follow it until it is taken or over, and tell of it; the exit code."""
        if not self._records.service().alive(self._began):
            print("The service does not run: start it first.", file=sys.stderr)
            return 2
        until = self._began + round(seconds * SECOND)
        self._post(until)
        print(f"{self._plan.name}: the drill begins; it ends by itself in {duration(seconds)}.")
        try:
            return self._followed(until)
        finally:
            self._post(None)

    def _followed(self, until: Instant) -> int:
        taken: AlarmChanged | None = None
        last: AlarmChanged | None = None
        looks = 0
        while taken is None and self._clock.now() < until:
            looks += 1
            self._clock.wait(threading.Event(), _LOOK_SECONDS)
            for last in self._changes():
                if last.state is AlarmState.ACKNOWLEDGED:
                    taken = last
            # By looks, since a clock that is set, or a machine that slept, shows no stuck service.
            if last is None and looks >= _LOOKS_FOR_START:
                print("The service did not raise it within a minute: is it stuck?", file=sys.stderr)
                return 1
            self._tell_texts(last)
        return self._told(taken, last)

    def _post(self, until: Instant | None) -> None:
        goes_on = until is not None
        sentence = drill_words(self._plan.id, until) if until is not None else "The drill is over."
        now = self._clock.now()
        self._journal.inbox.post(
            ServiceTrouble(time=now, trouble="drill", present=goes_on, sentence=sentence)
        )

    def _changes(self) -> list[AlarmChanged]:
        """What became of the drill, in order."""
        return [one for one in self._known() if one not in self._before]

    def _known(self) -> list[AlarmChanged]:
        """What became of drills lately; not by this command's own clock alone, since the service
        doesn't believe at once a clock that was just set, and counts on by the one before."""
        changes = self._records.alarms.history(self._plan.id, self._began - DAY)
        return [one for one in changes if one.alarm == RECORD.id]

    def _tell_texts(self, drill: AlarmChanged | None) -> None:
        """Print what is new of each text."""
        if drill is None:
            return
        for text in self._records.texts.about(self._plan.id, drill.number):
            before = self._texts.get(text.id)
            self._texts[text.id] = text
            for line in _news_of(self._plan, text, before):
                print(f"{self._plan.units.clock_time(self._clock.now(), self._began)}  {line}")

    def _told(self, taken: AlarmChanged | None, last: AlarmChanged | None) -> int:
        self._tell_texts(last)
        raised = [one for one in self._texts.values() if one.kind == "raised"]
        failed = [one for one in raised if one.state == "dead" or one.why]
        waiting = [one for one in raised if one.state == "open" and not one.why]
        if taken is not None:
            name = self._plan.duty.names.get(taken.by, taken.by)
            soon = duration(self._clock.monotonic_seconds() - self._begun_seconds)
            texts = f"{len(raised)} text{'s' * (len(raised) != 1)}"
            print(f"Taken by {name} {soon} after the drill began, after {texts}.")
        else:
            print("Nobody took it.")
        for text in failed:
            print(f"Failed: the text to {_name(self._plan, text)}: {text.why}.")
        for text in waiting:
            print(f"Still on its way: the text to {_name(self._plan, text)}.")
        return 0 if taken is not None and not failed else 1


def _name(plan: DepotPlan, text: OutboxText) -> str:
    return plan.duty.names.get(text.person, text.person)


def _news_of(plan: DepotPlan, text: OutboxText, before: OutboxText | None) -> Iterator[str]:
    """What has changed of a text since it was last looked at."""
    name = _name(plan, text)
    if before is None:
        yield f"{name} is texted"
    if text.why and (before is None or before.why != text.why):
        yield f"to {name}: {text.why}"
    if text.settled is not None and (before is None or before.settled is None):
        seconds = max(0, text.settled - text.created) / SECOND
        what = "arrived" if text.state == "accepted" else "was given up"
        yield f"the text to {name} {what} after {seconds:.1f} s"
