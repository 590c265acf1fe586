"""The journal: its parts, on one handle."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from brineward.journal import opening
from brineward.journal.asides import Asides
from brineward.journal.checking import Checking
from brineward.journal.committing import Committing
from brineward.journal.copying import Copying
from brineward.journal.cursors import Cursors
from brineward.journal.handle import Handle
from brineward.journal.inbox import Inbox
from brineward.journal.ordering import Ordering
from brineward.journal.outbox import Outbox
from brineward.journal.replies_seen import RepliesSeen
from brineward.journal.resuming import Resuming
from brineward.journal.room import Room
from brineward.journal.signs_of_life import SignsOfLife
from brineward.journal.thinning import Thinning
from brineward.journal.trouble import watched
from brineward.readings.outputs import Step
from brineward.readings.values import Reading


class Journal:
    """One handle on the journal, for one thread."""

    def __init__(self, handle: Handle) -> None:
        self.handle = handle
        """For `brineward.records`, which reads back what is in it."""
        self._committing = Committing(handle)
        self.inbox = Inbox(handle)
        self.outbox = Outbox(handle)
        self.ordering = Ordering(handle)
        self.resuming = Resuming(handle, self.ordering)
        self.room = Room(handle)
        self.thinning = Thinning(handle, self.room)
        self.copying = Copying(handle)
        self.checking = Checking(handle, self.ordering)
        self.signs_of_life = SignsOfLife(handle)
        self.cursors = Cursors(handle)
        self.asides = Asides(handle)
        self.replies_seen = RepliesSeen(handle)

    @classmethod
    def open(
        cls, path: Path, *, read_only: bool = False, service: bool = False, check: bool = False
    ) -> Self:
        """Open the journal, made or brought forward where need be.

        `service` also holds it against a second service; `check` reads every page once to see
        whether the file is whole. A link is followed to its file.

        Raises: JournalDamaged; JournalUnusable where the file is not a journal, newer or in use by
        another service; DiskTrouble where the disk refuses.
        """
        path = opening.found_at(path)
        lock = opening.ServiceLock(path) if service else None
        try:
            return cls.open_locked(path, lock, read_only=read_only, check=check)
        except BaseException:
            if lock is not None:
                lock.release()
            raise

    @classmethod
    def open_locked(
        cls,
        path: Path,
        lock: opening.ServiceLock | None,
        *,
        read_only: bool = False,
        check: bool = False,
        thoroughly: bool = False,
    ) -> Self:
        """Open it for whoever holds its lock already; closing gives up the lock.

        Raises: as `open`; the lock is then still the caller's.
        """
        with watched(path):
            connect = opening.connect_to_read if read_only else opening.connect_to_write
            db = connect(path)
            try:
                if check:
                    opening.check_whole(db, path, thoroughly=thoroughly)
            except BaseException:
                db.close()
                raise
        return cls(Handle(path, db, lock, read_only=read_only))

    @property
    def path(self) -> Path:
        """The file."""
        return self.handle.path

    @property
    def unreadable(self) -> Mapping[str, int]:
        """How many rows this handle has passed over because they can't be read, by table."""
        return self.handle.unreadable

    def commit(
        self,
        steps: Sequence[Step],
        *,
        states: Mapping[str, bytes] | None = None,
        inbox_done: Sequence[int] = (),
    ) -> int:
        """Keep a batch in one transaction, or nothing of it; see `Committing.commit`.

        Raises: DiskTrouble (nothing was kept; the same call may be repeated); JournalDamaged;
        JournalReplaced (nobody may rely on what was kept: acknowledge nothing).
        """
        return self._committing.commit(steps, states=states, inbox_done=inbox_done)

    def holds(self, reading: Reading) -> bool:
        """Is a reading of this depot, sensor, time and value kept already?"""
        return self._committing.holds(reading)

    def close(self) -> None:
        """Close the file and give up the service's lock; may be called twice."""
        self.handle.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
