"""Opening the file: is it ours, how old is it, is it whole, is a service using it."""

import fcntl
import os
import sqlite3
from pathlib import Path

from brineward.journal import schema
from brineward.journal.trouble import JournalUnusable

_BUSY_TIMEOUT_SECONDS = 10.0
_SHOWN_BYTES = 16


class ServiceLock:
    """Held by the one service that writes a journal, in a small file beside it."""

    def __init__(self, journal: Path) -> None:
        """Raises: JournalUnusable where another service holds it."""
        path = journal.with_name(journal.name + ".lock")
        self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(self._file)
            raise JournalUnusable(
                f"{journal} is in use by another brineward service; stop that one first, "
                "or give this one a journal of its own"
            ) from None

    def release(self) -> None:
        """Let the next service have the journal."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


def connect_to_write(path: Path) -> sqlite3.Connection:
    """A connection that may write, its file made or brought forward.

    Raises: JournalUnusable; sqlite3.DatabaseError, to be watched.
    """
    _refuse_folder(path)
    if not path.parent.is_dir():
        raise JournalUnusable(f"the folder of {path} does not exist; make it, or name another")
    db = sqlite3.connect(path, timeout=_BUSY_TIMEOUT_SECONDS, isolation_level=None)
    try:
        version = _version(db, path)
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        # Zeroing what is thinned would double the writing; nothing in here is secret.
        db.execute("PRAGMA secure_delete = OFF")
        if version < schema.VERSION:
            db.execute("BEGIN IMMEDIATE")
            # Another handle may have done it while this one waited.
            schema.bring_forward(db, _version(db, path))
            db.execute("COMMIT")
    except BaseException as error:
        db.close()
        _refuse_other_kinds(path, error)
        raise
    return db


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that can't write.

    Raises: JournalUnusable, also for a file that an older version made and no service has
    brought forward yet; sqlite3.DatabaseError, to be watched.
    """
    if not path.is_file():
        raise JournalUnusable(f"{path} does not exist; has the service ever run?")
    _refuse_folder(path)
    address = path.absolute().as_uri() + "?mode=ro"
    if not os.access(path.parent, os.W_OK) and not _beside(path, "-wal").exists():
        # SQLite needs its two side files, and this reader may not make them; no writer is alive.
        address += "&immutable=1"
    db = sqlite3.connect(address, uri=True, timeout=_BUSY_TIMEOUT_SECONDS, isolation_level=None)
    try:
        version = _version(db, path)
        _refuse_older(version, path)
    except BaseException as error:
        db.close()
        _refuse_other_kinds(path, error)
        raise
    return db


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise JournalUnusable(f"{path} is a folder; the journal is a file")


def _refuse_other_kinds(path: Path, error: BaseException) -> None:
    """Say what the file is instead, where SQLite found that it is no database.

    The file itself is never opened but here: closing any handle on it gives up the locks of all
    of this program's connections to it, another program's last close then takes the write-ahead
    file away under them, and what they commit from then on is lost (How To Corrupt An SQLite
    Database File, section 2.2, https://www.sqlite.org/howtocorrupt.html).

    Raises: JournalUnusable.
    """
    if getattr(error, "sqlite_errorcode", None) != sqlite3.SQLITE_NOTADB:
        return
    with path.open("rb") as file:
        start = file.read(_SHOWN_BYTES)
    raise JournalUnusable(
        f"{path} is no journal: it starts with {start!r}; name another file, or set it aside"
    ) from error


def check_whole(db: sqlite3.Connection, path: Path) -> None:
    """Read every page once. Raises: JournalUnusable where the file is damaged."""
    found = [row[0] for row in db.execute("PRAGMA quick_check(3)")]
    if found != ["ok"]:
        raise JournalUnusable(
            f"{path} is damaged ({'; '.join(found)}); stop the service, set the file aside, "
            "and put back a copy made by brineward backup"
        )


def _version(db: sqlite3.Connection, path: Path) -> int:
    """The version of the tables; 0 for a new file. Raises: JournalUnusable."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    application = int(db.execute("PRAGMA application_id").fetchone()[0])
    tables = int(db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if application != schema.APPLICATION_ID and tables:
        raise JournalUnusable(f"{path} is the database of another program; name another file")
    if version > schema.VERSION:
        raise JournalUnusable(
            f"{path} was written by a newer brineward (version {version} of its tables, "
            f"this one knows {schema.VERSION}); run the newer one, or put back an older copy"
        )
    return version


def _refuse_older(version: int, path: Path) -> None:
    if version < schema.VERSION:
        raise JournalUnusable(
            f"{path} was written by an older brineward (version {version} of its tables, "
            f"this one reads {schema.VERSION}); start the service once to bring it forward"
        )


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)
