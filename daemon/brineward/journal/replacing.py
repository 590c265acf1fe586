"""Putting another file in the journal's place; the old one is set aside, nothing is deleted."""

import os
import shutil
import sqlite3
from pathlib import Path

from brineward.journal import opening, schema
from brineward.journal.opening import ServiceLock, beside, found_at, open_for_owner
from brineward.journal.trouble import DiskTrouble, JournalUnusable, watched
from brineward.readings.instants import Instant, rfc3339_from_instant

_SIDE_FILES = ("-wal", "-shm")


def restore(path: Path, backup: Path, now: Instant) -> Path | None:
    """Put a copy that `Copying.backup` made in the journal's place; where the one before lies now.

    The journal gets a new mark: ids that it gave since the copy was made are given again, and a
    gateway must not take the new texts for the old ones. None where there was no journal.

    Raises: JournalUnusable while a service runs, and where the copy is not a journal, damaged or
    newer; DiskTrouble.

    Run as root, it leaves the journal and its lock to the owner of their folder, so that the
    service may open them.
    """
    path = found_at(path)
    lock = ServiceLock(path)
    try:
        new = beside(path, ".restored")
        _copy(backup, new)
        try:
            with watched(new):
                db = opening.connect_to_write(new)
                try:
                    opening.check_whole(db, new)
                    draw_mark(db)
                    close_alone(db)
                finally:
                    db.close()
            return put_in_place(new, path, name_aside(path, "replaced", now))
        except BaseException:
            remove(new)
            raise
    finally:
        lock.release()


def name_aside(path: Path, why: str, now: Instant) -> Path:
    """A name beside the journal that no file has: `NAME.damaged-20260114-180000`, in UTC."""
    stamp = rfc3339_from_instant(now // 1000 * 1000).rstrip("Z").replace("T", "-")
    first = beside(path, f".{why}-{stamp[:10].replace('-', '')}-{stamp[11:].replace(':', '')}")
    found, count = first, 1
    while found.exists():
        count += 1
        found = beside(first, f"-{count}")
    return found


def draw_mark(db: sqlite3.Connection) -> None:
    """Give the journal a mark that none had before."""
    db.execute(f"UPDATE identity SET mark = {schema.NEW_MARK}")  # noqa: S608 - our own expression


def close_alone(db: sqlite3.Connection) -> None:
    """Make one file of it, without side files, and written through to the disk."""
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.execute("PRAGMA journal_mode = DELETE")


def put_in_place(new: Path, path: Path, aside: Path) -> Path | None:
    """Give `new` the journal's name, and the file that has it the name `aside`, side files too.

    A stop in the middle leaves one of the two by the journal's name, and the older one whole by
    the other. None where there was no file. Raises: DiskTrouble.
    """
    there = path.exists()
    try:
        with new.open("rb+") as file:
            os.fsync(file.fileno())
        if there:
            for ending in _SIDE_FILES:
                if beside(path, ending).exists():
                    _copy_for_owner(beside(path, ending), beside(aside, ending))
            _link_or_copy(path, aside)
        for ending in _SIDE_FILES:
            beside(path, ending).unlink(missing_ok=True)
        new.replace(path)
        _sync_folder(path.parent)
    except OSError as error:
        raise DiskTrouble(f"{path} can't be replaced: {error}") from error
    return aside if there else None


def remove(path: Path) -> None:
    """Delete a file of ours that was not finished, with its side files."""
    for one in (path, *(beside(path, ending) for ending in _SIDE_FILES)):
        one.unlink(missing_ok=True)


def _copy(backup: Path, new: Path) -> None:
    """Byte by byte: nobody writes to a copy. Raises: JournalUnusable, DiskTrouble."""
    try:
        if not backup.is_file():
            raise JournalUnusable(f"{backup} is not a file; name a copy that brineward backup made")
        remove(new)
        os.close(open_for_owner(new, os.O_WRONLY | os.O_EXCL))
        shutil.copyfile(backup, new)
    except OSError as error:
        raise DiskTrouble(f"{backup} can't be copied to {new}: {error}") from error


def _link_or_copy(path: Path, aside: Path) -> None:
    try:
        aside.hardlink_to(path)
    except OSError:  # a file system without links
        _copy_for_owner(path, aside)


def _copy_for_owner(path: Path, copy: Path) -> None:
    os.close(open_for_owner(copy, os.O_WRONLY | os.O_EXCL))
    shutil.copy2(path, copy)


def _sync_folder(folder: Path) -> None:
    """Names are in the folder: it is written through as well."""
    handle = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
