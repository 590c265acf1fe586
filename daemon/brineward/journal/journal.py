"""The journal: every side of it in one handle."""

from pathlib import Path
from types import TracebackType
from typing import Self

from brineward.journal import opening
from brineward.journal.boxes import Boxes
from brineward.journal.committing import Committing
from brineward.journal.copying import Copying
from brineward.journal.history import History
from brineward.journal.thinning import Thinning
from brineward.journal.trouble import watched


class Journal(Committing, History, Boxes, Thinning, Copying):
    """One handle on the journal, for one thread."""

    @classmethod
    def open(
        cls, path: Path, *, read_only: bool = False, service: bool = False, check: bool = False
    ) -> Self:
        """Open the journal, made or brought forward where need be.

        `service` also holds it against a second service; `check` reads every page once to see
        whether the file is whole.

        Raises: JournalUnusable where the file is no journal, newer, damaged or in use by another
        service; DiskTrouble where the disk refuses.
        """
        with watched(path):
            lock = opening.ServiceLock(path) if service else None
            try:
                connect = opening.connect_to_read if read_only else opening.connect_to_write
                db = connect(path)
                if check:
                    opening.check_whole(db, path)
            except BaseException:
                if lock is not None:
                    lock.release()
                raise
        return cls(path, db, lock)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
