"""Disk space: how much there is, checkpoints, and a reserve for the worst day."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from brineward.config.settings import JournalSettings
from brineward.journal.handle import Handle
from brineward.journal.opening import beside, open_for_owner
from brineward.journal.trouble import DiskTrouble

_RESERVE_BYTES: Final = 8_000_000
_CHECKPOINT_PATIENCE: Final = "PRAGMA busy_timeout = 200"  # a reader must not hold up the service
_TO_OPEN_BYTES: Final = 1_000_000
_ZEROS: Final = bytes(1 << 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskState:
    """How much room there is for the journal."""

    free_bytes: int
    """Free on the disk for this user."""
    reusable_bytes: int
    """Inside the journal: pages that thinning freed and that are written to again first."""
    journal_bytes: int
    wal_bytes: int
    reserve_bytes: int
    """Kept back for a full disk, to be given up then; 0: given up, or never laid."""
    verdict: Literal["room", "low", "thin"]
    """`low`: under the warning mark; `thin`: the oldest raw readings must go."""

    @property
    def room_bytes(self) -> int:
        """What can still be written: free on the disk and reusable inside."""
        return self.free_bytes + self.reusable_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """What a checkpoint did."""

    done: bool
    """False: a reader or writer was in the way; the next one will do it."""
    wal_bytes: int


class Room:
    """The file's size and the disk's room."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle
        self._path = handle.path

    def disk_state(self, settings: JournalSettings, *, free_bytes: int | None = None) -> DiskState:
        """How much room there is, and what follows from it; `free_bytes` replaces the disk's own
        figure.

        Raises: DiskTrouble if the disk can't be asked.
        """
        if free_bytes is None:
            free_bytes = _free(self._path)
        reusable = self.reusable_bytes()
        verdict: Literal["room", "low", "thin"] = "room"
        if free_bytes < settings.disk_warn_bytes:
            verdict = "low"
        # What was thinned once is written to again before the file grows: not thinned twice.
        if free_bytes + reusable < settings.disk_thin_bytes:
            verdict = "thin"
        return DiskState(
            free_bytes=free_bytes,
            reusable_bytes=reusable,
            journal_bytes=_size(self._path),
            wal_bytes=self.wal_bytes(),
            reserve_bytes=_size(_reserve(self._path)),
            verdict=verdict,
        )

    def reusable_bytes(self) -> int:
        """Bytes of the pages inside the file that hold nothing now."""
        with self._handle.reading() as db:
            pages = int(db.execute("PRAGMA freelist_count").fetchone()[0])
            return pages * int(db.execute("PRAGMA page_size").fetchone()[0])

    def wal_bytes(self) -> int:
        """The size of the write-ahead file beside the journal; 0 where there is none."""
        return _size(beside(self._path, "-wal"))

    def checkpoint(self) -> Checkpoint:
        """Move what the write-ahead file holds into the journal and cut it to nothing.

        Waits 0.2 s at most for readers. Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.alone() as db:
            usual = int(db.execute("PRAGMA busy_timeout").fetchone()[0])
            db.execute(_CHECKPOINT_PATIENCE)
            try:
                row = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            finally:
                db.execute(f"PRAGMA busy_timeout = {usual}")
        return Checkpoint(done=row[0] == 0, wal_bytes=self.wal_bytes())

    def lay_reserve(self, size_bytes: int = _RESERVE_BYTES) -> bool:
        """Keep a file of zeros beside the journal that can be given up when the disk is full.

        Returns whether it is there now. A disk that has no room for it is not an error.
        """
        reserve = _reserve(self._path)
        if reserve.exists() and reserve.stat().st_size == size_bytes:
            return True
        try:
            with open(reserve, "wb", opener=open_for_owner) as file:
                for start in range(0, size_bytes, len(_ZEROS)):
                    file.write(_ZEROS[: size_bytes - start])
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            reserve.unlink(missing_ok=True)
            return False
        return True

    def give_up_reserve(self) -> bool:
        """Delete the reserve, so that the journal can be thinned; returns whether there was one."""
        return give_up_reserve(self._path)


def _free(path: Path) -> int:
    try:
        state = os.statvfs(path.parent)
    except OSError as error:
        raise DiskTrouble(f"the disk of {path} can't be asked how full it is: {error}") from error
    return state.f_bavail * state.f_frsize


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def is_full(journal: Path) -> bool:
    """Has the journal's disk less room than it takes to open one? Raises: DiskTrouble."""
    return _free(journal) < _TO_OPEN_BYTES


def give_up_reserve(journal: Path) -> bool:
    """Delete the reserve of a journal that can't be opened for want of room; was there one?"""
    reserve = _reserve(journal)
    there = reserve.exists()
    reserve.unlink(missing_ok=True)
    return there


def _reserve(path: Path) -> Path:
    return beside(path, ".reserve")
