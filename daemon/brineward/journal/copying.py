"""A copy of the journal, made while the service goes on."""

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Final

from brineward.journal import opening
from brineward.journal.handle import Handle
from brineward.journal.trouble import DiskTrouble, watched

_PAGES_A_STEP: Final = 1_000

Progress = Callable[[int, int], None]
"""Called with the pages copied so far and the pages in all."""


class TargetExists(Exception):
    """A file with the copy's name exists already; whoever asked for the copy must choose."""


class Copying:
    """Making copies."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def backup(self, target: Path, progress: Progress | None = None) -> int:
        """Copy the journal as it is now to a new file and check the copy; returns its bytes.

        Safe while the service runs. On any trouble no file by this name is left behind.

        Raises: TargetExists; DiskTrouble, also for the target's disk; JournalDamaged where the
        copy turns out damaged, which means that the journal is.
        """
        partial = target.with_name(target.name + ".partial")
        try:
            _made_new(target)
        except FileExistsError:
            raise TargetExists(
                f"{target} exists already and is not overwritten; name another file"
            ) from None
        except OSError as error:
            raise DiskTrouble(f"{target} can't be written: {error.strerror}") from error
        try:
            partial.unlink(missing_ok=True)
            _made_new(partial)
            self._copy_to(partial, progress)
            size = _made_safe(partial, target)
        except BaseException:
            partial.unlink(missing_ok=True)
            target.unlink(missing_ok=True)
            raise
        return size

    def _copy_to(self, partial: Path, progress: Progress | None) -> None:
        def step(_status: int, remaining: int, total: int) -> None:
            if progress is not None:
                progress(total - remaining, total)

        with watched(partial):
            copy = sqlite3.connect(partial, isolation_level=None)
            try:
                # Held open, so that commits of the service don't make the copy start again.
                with self._handle.reading() as db:
                    db.execute("SELECT last_seq FROM progress").fetchone()
                    db.backup(copy, pages=_PAGES_A_STEP, progress=step)
                copy.execute("PRAGMA journal_mode = DELETE")  # one file, without side files
                opening.check_whole(copy, partial)
            finally:
                copy.close()


def _made_new(path: Path) -> None:
    """A new file that only its owner may read, as a journal is. Raises: OSError."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, opening.OWNER_ONLY))


def _made_safe(partial: Path, target: Path) -> int:
    """Written through to the disk and given its name; its size."""
    try:
        with partial.open("rb+") as file:
            os.fsync(file.fileno())
        partial.replace(target)
        return target.stat().st_size
    except OSError as error:
        raise DiskTrouble(f"{target} can't be written: {error.strerror}") from error
