"""What the demo shows: a line for each change, the texts, who takes them, and a summary."""

import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tqdm import tqdm

from brineward.clock import CompressedClock
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Take
from brineward.readings.instants import (
    HOUR,
    MINUTE,
    SECOND,
    Instant,
    instant_from_rfc3339,
    local_from_instant,
)
from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    Derived,
    EpisodeChanged,
    Step,
    TextDue,
)
from brineward.readings.values import Reading
from brineward.wording.operator_units import duration, percent

TAKEN_AFTER = 4 * MINUTE
"""How long the made-up yard lead needs to find the phone."""

QUIET_SECONDS = 1.5


class Story:
    """Shows what is committed, and plays the person on call."""

    def __init__(self, settings: Settings, clock: CompressedClock) -> None:
        self._settings = settings
        self._clock = clock
        self._plan = next(iter(settings.depots.values()))
        self._raised: dict[int, AlarmChanged] = {}
        self._texts = 0
        self._readings = 0
        self._turn = threading.Event()
        self._over = threading.Event()
        self._naps: list[threading.Thread] = []
        self._strength_hour = -1

    def begin(self, factor: float) -> None:
        """Say what is about to be seen."""
        print(
            f"A night at {self._plan.name}, {factor:.0f} times as fast as it was. Weather and "
            "faults are invented;\nbroker, journal, alarms and texts are the real ones. Times are "
            "the depot's own.\nNothing is controlled: brineward only watches.\n"
        )

    def show(self, steps: Sequence[Step]) -> None:
        """Show one committed batch."""
        self._turn.set()
        for step in steps:
            self._readings += isinstance(step.entry, Reading)
            for output in step.outputs:
                self._show_one(output)

    def _show_one(self, output: object) -> None:
        match output:
            case AlarmChanged() if AlarmState.SUPPRESSED not in (output.state, output.before):
                by = f" by {output.by}" if output.by else ""
                self._line(output.time, f"{output.alarm}: {output.state}{by}, {output.sentence}")
                if output.state is AlarmState.UNACKNOWLEDGED:
                    self._raised.setdefault(output.number, output)
                    self._take_later(output)
            case TextDue():
                self._texts += 1
            case EpisodeChanged():
                self._line(output.time, _episode(output, self._plan))
            case Derived() if output.time // (60 * MINUTE) != self._strength_hour:
                self._strength_hour = output.time // (60 * MINUTE)
                self._line(output.time, f"all watched; main tank {_strength(output)}")
            case _:
                pass

    def _line(self, time: Instant, words: str) -> None:
        local = local_from_instant(time, self._plan.zone)
        tqdm.write(f"{local:%H:%M:%S}  {words}")

    # -- the person on call

    def _take_later(self, change: AlarmChanged) -> None:
        nap = threading.Thread(target=self._take, args=(change,), daemon=True)
        self._naps.append(nap)
        nap.start()

    def _take(self, change: AlarmChanged) -> None:
        due = change.time + TAKEN_AFTER
        if self._clock.wait(self._over, (due - self._clock.now()) / SECOND):
            return
        now = self._clock.now()
        by = self._plan.duty.on_call[0]
        act = Take(depot=change.depot, time=now, received=now, number=change.number, by=by)
        with Journal.open(self._settings.journal.path) as journal:
            journal.inbox.post(act)

    # -- the end

    def wait_until_quiet(self) -> None:
        """Wait until nothing has been committed for a while."""
        while True:
            self._turn.clear()
            if not self._turn.wait(QUIET_SECONDS):
                return

    def end(self) -> None:
        """Nobody takes anything any more."""
        self._over.set()
        for nap in self._naps:
            nap.join(timeout=5)

    def summary(self, folder: Path, truth: dict[str, Any]) -> int:
        """Print what was raised, how long after its cause, and where the data lies."""
        raised = list(self._raised.values())
        print(f"\nThe night is over: {self._readings} readings, {self._texts} texts.\n")
        print(f"{'fault':<28}{'shows from':<13}{'alarm':<19}{'raised':<11}after")
        missed = 0
        for fault in truth["faults"]:
            found = sorted(
                (a for a in raised if a.alarm in fault["alarms"]), key=lambda one: one.time
            )
            missed += not found
            self._sum_up(fault, found)
        faults = {alarm for fault in truth["faults"] for alarm in fault["alarms"]}
        used_up = [a for a in raised if a.alarm not in faults and _salt_was_wanted(a, truth)]
        for change in used_up:
            raised_at = self._clock_time(change.time)
            print(f"{'(salt used up by the night)':<41}{change.alarm:<19}{raised_at}")
        wrong = [a for a in raised if a.alarm not in faults and a not in used_up]
        for change in wrong:
            raised_at = self._clock_time(change.time)
            print(f"{'(none)':<41}{change.alarm:<19}{raised_at:<11}false alarm")
        print(f"\nAll of it is kept in {folder}/: the journal, and the truth to compare it with.")
        journal = self._settings.journal.path
        print(f"See it on the page: {sys.argv[0]} page {self._settings.file} --copy {journal}")
        print(f"Next: {sys.argv[0]} --help, or the ten steps to a real depot in the README.")
        return 1 if missed or wrong else 0

    def _sum_up(self, fault: dict[str, Any], found: list[AlarmChanged]) -> None:
        shows = instant_from_rfc3339(fault["wrong_from"] or fault["onset"])
        row = f"{fault['kind']:<28}{self._clock_time(shows):<13}"
        if not found:
            print(f"{row}{fault['alarm']:<19}NOT RAISED")
        for change in found:
            after = (change.time - shows) / SECOND
            late = f"{duration(after)}" if after >= 0 else f"{duration(-after)} before"
            print(f"{row}{change.alarm:<19}{self._clock_time(change.time):<11}{late}")

    def _clock_time(self, instant: Instant) -> str:
        return f"{local_from_instant(instant, self._plan.zone):%H:%M:%S}"


def _salt_was_wanted(change: AlarmChanged, truth: dict[str, Any]) -> bool:
    """Did the hopper truly want salt when this was raised, or within the hour before?"""
    return change.alarm.startswith("salt-") and any(
        instant_from_rfc3339(begin) <= change.time <= instant_from_rfc3339(end) + HOUR
        for begin, end in truth["salt_wanted"]
    )


def _strength(output: Derived) -> str:
    value = f"{percent(output.value)} %"
    if output.low_95 is None or output.high_95 is None:
        return value
    return f"{value} (95 % sure: {percent(output.low_95)} to {percent(output.high_95)})"


def _episode(episode: EpisodeChanged, plan: DepotPlan) -> str:
    source = plan.name_of(episode.source)
    names = {"fill": f"{source} is filling", "pump-run": f"{source} runs"}
    name = names.get(episode.episode, f"{episode.source}: {episode.episode}")
    if episode.ended is None:
        return name
    amount = f", {episode.amount_m3 * 264.172:.0f} gal" if episode.amount_m3 is not None else ""
    return f"{name}: ended after {duration((episode.ended - episode.began) / SECOND)}{amount}"
