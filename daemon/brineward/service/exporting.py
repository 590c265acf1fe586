"""Exports: the journal's contents, followed in order and written to a server that keeps them.

Each export has its own thread, handle on the journal and cursor; a server that fails holds up
nobody else.
"""

import logging
import threading
from collections import deque
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from itertools import chain, islice
from typing import Final

from brineward.clock import Clock
from brineward.config.settings import ExportSettings, Settings
from brineward.export.answers import Lost
from brineward.export.delivery import Delivery, Doubt
from brineward.export.influx import sender_of
from brineward.export.points import line_of_reading, lines_of_entry, lines_of_output
from brineward.followers.cursor import Again, CursorWork, NotNow
from brineward.followers.follower import Follower
from brineward.followers.held_back import HELD_BACK_SECONDS, HeldBack
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.journal.ordering import Placed
from brineward.readings.entries import ServiceTrouble
from brineward.readings.instants import DAY, Instant
from brineward.readings.values import Reading
from brineward.service.backlog import backlog_of, cursor_of

_LOG = logging.getLogger(__name__)

ENTRIES: Final = 5_000
"""How many entries are handed on at once."""
BEHIND: Final = DAY
LOOK_SECONDS: Final = 60.0

Points = tuple[str, ...]


class Following:
    """The journal's entries as points, from any seq on; read a stretch at a time."""

    def __init__(self, journal: Journal, depots: Sequence[str]) -> None:
        self._journal, self._depots = journal, frozenset(depots)
        self._held: deque[tuple[int, Points]] = deque()
        self._from = 0

    def after(self, seq: int, limit: int) -> list[tuple[int, Points]]:
        """The points of the next entries behind a seq, with their seqs.

        Raises: DiskTrouble, JournalUnusable.
        """
        if seq < self._from:  # gone back
            self._held.clear()
        self._from = seq
        while self._held and self._held[0][0] <= seq:
            self._held.popleft()
        if not self._held:
            self._read(seq + 1)
        return list(islice(self._held, limit))

    def read_ahead(self) -> None:
        """Where there is much to send, read the next stretch too.

        Raises: DiskTrouble, JournalUnusable.
        """
        if len(self._held) == ENTRIES:
            self._read(self._held[-1][0] + 1)

    def _read(self, first: int) -> None:
        placed = list(islice(self._journal.ordering.steps(first), ENTRIES))
        if not placed:
            return
        seconds = self._journal.ordering.second_values(first, placed[-1].seq)
        self._held.extend((one.seq, self._points(one, seconds.get(one.seq))) for one in placed)

    def _points(self, placed: Placed, second: bool | None) -> Points:
        """`second`: None where the entry is the first of its time; else is it another value?"""
        entry = placed.entry
        if second is None and not placed.outputs and type(entry) is Reading:  # nearly all of them
            return (line_of_reading(entry),) if entry.depot in self._depots else ()
        found: list[str] = []
        if second is not False and self._wanted(entry):
            found += lines_of_entry(entry, second=bool(second))
        for output in placed.outputs:
            if output.depot in self._depots:
                found += lines_of_output(output)
        return tuple(found)

    def _wanted(self, entry: object) -> bool:
        return getattr(entry, "depot", "") in self._depots


def send_again(
    journal: Journal,
    export: ExportSettings,
    depots: Sequence[str],
    start: Instant,
    end: Instant,
    *,
    clock: Clock,
) -> int:
    """Send the points of a past period, in the journal's order; returns how many. Moves no cursor.

    Raises: NotNow if the server takes no more, which may be repeated; DiskTrouble, JournalUnusable.
    """
    sender = sender_of(export, clock)
    delivery = Delivery(
        sender, lambda points: journal.asides.put(cursor_of(export.id), points), clock
    )
    following = Following(journal, depots)
    seq = count = 0
    try:
        while found := following.after(seq, ENTRIES):
            seq = found[-1][0]
            points = [
                one
                for _, many in found
                for one in many
                if start <= int(one.rpartition(" ")[2]) < end
            ]
            delivery.deliver(points)
            count += len(points)
    finally:
        sender.close()
    return count


class Exporting:
    """The followers of a config's exports, and what is reported about those that are behind."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._settings, self._clock = settings, clock
        self._lock = threading.Lock()
        self._behind: dict[str, str] = {}
        self._posted: str | None = None
        self._followers = [
            Follower(
                cursor_of(name),
                lambda export=export: _Work(self, export),  # type: ignore[misc]  # bound now
                clock,
                lambda sentence: _LOG.error("%s", sentence),
                trouble=f"export {name} can't go on",
            )
            for name, export in settings.exports.items()
        ]

    def start(self) -> None:
        """Begin to follow. An alarm of an export that is no longer in the config is ended."""
        if not self._followers:
            self._end_old_alarm()
        for follower in self._followers:
            follower.start()

    def stop(self) -> None:
        """End; a write under way is waited for, for some seconds."""
        for follower in self._followers:
            follower.stop()

    def say(self, journal: Journal, export: str, sentence: str) -> None:
        """Post how the exports are, where that has changed. From any of their threads.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._lock:
            self._behind[export] = sentence
            if self._posted is None and len(self._behind) < len(self._followers):
                return
            said = "; ".join(one for one in self._behind.values() if one)
            if said != self._posted:
                journal.inbox.post(_trouble(self._clock.now(), said))
                self._posted = said

    def open_journal(self) -> Journal:
        """A handle for one thread. Raises: DiskTrouble, JournalUnusable."""
        return Journal.open(self._settings.journal.path)

    @property
    def clock(self) -> Clock:
        """The service's."""
        return self._clock

    def depots_of(self, export: ExportSettings) -> Sequence[str]:
        """Which depots an export has."""
        return export.depots or tuple(self._settings.depots)

    def _end_old_alarm(self) -> None:
        try:
            with self.open_journal() as journal:
                active = journal.resuming.alarms_active()
                if any(one.change.alarm == "export-behind" for one in active):
                    journal.inbox.post(_trouble(self._clock.now(), ""))
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error(
                "the alarm of an export that is no longer in the config could not be cleared: %s",
                why,
            )


class _Work:
    """The work of one export, in its thread."""

    def __init__(self, exporting: Exporting, export: ExportSettings) -> None:
        self._exporting, self._export = exporting, export
        self._name = cursor_of(export.id)
        clock = exporting.clock
        self._journal = exporting.open_journal()
        self._sender = sender_of(export, clock)
        self._refused: dict[str, str] = {}
        self._delivery = Delivery(self._sender, self._refused.update, clock)
        self._writing = ThreadPoolExecutor(1, f"{self._name} write")
        self._following = Following(self._journal, exporting.depots_of(export))
        self._well: bool | None = None
        self._looked: float | None = None
        self._last: Sequence[str] = ()
        self._confirm_after = 0.0
        self._held = HeldBack(self._name, self._journal.cursors, clock)
        self._work: CursorWork[Points] = CursorWork(
            self._name,
            self._held,
            self._following.after,
            self._deliver,
            clock,
            on_delay=self._say_delay,
            on_close=self._let_go,
            batch=ENTRIES,
        )

    def turn(self) -> float:
        """Hand on what is due. Raises: DiskTrouble, JournalUnusable."""
        quiet = self._work.turn()
        if quiet > 0.0 and self._held.may_be_confirmed():
            self._confirm()
        now = self._exporting.clock.monotonic_seconds()
        if self._looked is None or now - self._looked >= LOOK_SECONDS:
            self._looked = now
            self._look()
        return min(quiet, LOOK_SECONDS)

    def land(self) -> bool:
        """Nothing is ever under way between two turns."""
        return self._work.land()

    def close(self) -> None:
        """Let go of the journal and the connection."""
        self._work.close()

    def _deliver(self, batch: Sequence[Points]) -> None:
        points = list(chain.from_iterable(batch))
        if not points:
            return
        self._write(points)
        self._held.answered()
        self._last = points[-1:]
        self._say_well()

    def _confirm(self) -> None:
        """Nothing new comes: write the last point again, to see that the server still lives."""
        now = self._exporting.clock.monotonic_seconds()
        if now < self._confirm_after:
            return
        try:
            self._write(self._last)
        except Again:
            return
        except NotNow as why:
            self._confirm_after = now + max(why.wait_seconds, HELD_BACK_SECONDS)
            self._say_delay(f"{self._name}: {why}; trying again")
            return
        self._held.confirmed()
        self._say_well()

    def _say_well(self) -> None:
        if self._well is not True:
            self._journal.asides.say(self._name, "")
            self._well = True

    def _write(self, points: Sequence[str]) -> None:
        """Raises: NotNow; Again where the cursor has gone back."""
        try:
            doubt = self._delivered(points)
        except Lost as why:
            self._held.go_back(surely=why.surely)
            raise
        if self._refused:
            self._journal.asides.put(self._name, self._refused)
            self._refused.clear()
        if (doubt is Doubt.WITHIN or (doubt and self._held.is_unsettled())) and (
            self._held.go_back(surely=False)
        ):
            raise Again

    def _delivered(self, points: Sequence[str]) -> Doubt:
        """Written by a thread of its own: the next are read while the server takes these."""
        writing = self._writing.submit(self._delivery.deliver, points)
        try:
            self._following.read_ahead()
        finally:
            wait([writing])
        return writing.result()

    def _say_delay(self, sentence: str) -> None:
        _LOG.warning("%s", sentence)
        self._journal.asides.say(self._name, sentence)
        self._well = False

    def _look(self) -> None:
        oldest = backlog_of(self._journal, self._export.id).oldest
        behind = oldest is not None and self._exporting.clock.now() - oldest > BEHIND
        name = self._export.id
        sentence = f"export {name}: server took nothing for a day" if behind else ""
        self._exporting.say(self._journal, name, sentence)

    def _let_go(self) -> None:
        self._writing.shutdown()
        self._sender.close()
        self._journal.close()


def _trouble(now: Instant, sentence: str) -> ServiceTrouble:
    return ServiceTrouble(
        time=now,
        trouble="export-behind",
        present=bool(sentence),
        sentence=sentence or "Every export is less than a day behind.",
    )
