"""Opening the file: is it ours, which version, is it whole, is a service using it?"""

import contextlib
import fcntl
import os
import pwd
import shlex
import sqlite3
from functools import cache
from pathlib import Path
from typing import Final

from brineward.journal import schema
from brineward.journal.trouble import (
    DATABASE_ERRORS,
    JournalDamaged,
    JournalUnusable,
    is_damage,
    primary_code,
)

IN_MEMORY: Final = Path(":memory:")
"""The name of a journal without a file, for tests."""

OWNER_ONLY: Final = 0o600
"""Names and telephone numbers are in it: nobody but the service reads a journal."""

_BUSY_TIMEOUT_SECONDS = 10.0
_HEADER_BYTES = 100  # of an SQLite file, https://www.sqlite.org/fileformat.html section 1.3
_MARK_AT = slice(68, 72)
_SHOWN_BYTES = 16
_MOST_VERSIONS = 1_000  # a higher number was never written by any version: it is damage


class ServiceLock:
    """Held by the one service that writes a journal, in a small file beside it."""

    def __init__(self, journal: Path) -> None:
        """Raises: JournalUnusable where another service holds it, or it may not be opened."""
        path = beside(journal, ".lock")
        try:
            self._file = open_for_owner(path, os.O_RDWR)
        except OSError as error:
            raise _of_another_user(path) or JournalUnusable(
                f"{path}, which shows that a service uses the journal, can't be opened: "
                f"{error.strerror}"
            ) from error
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


def found_at(path: Path) -> Path:
    """The file itself, where the path is a link to it: one file has one lock.

    Raises: JournalUnusable where links go round in a circle, or a folder of it does not exist or
    can't be looked into.
    """
    if path == IN_MEMORY:
        return path
    try:
        real = path.resolve()
        is_folder, in_folder = real.is_dir(), real.parent.is_dir()
    except PermissionError as error:
        raise _closed(path) from error
    except (OSError, RuntimeError) as error:
        raise JournalUnusable(f"{path} can't be followed to a file: {error}") from error
    if is_folder:
        raise JournalUnusable(f"{path} is a folder; the journal is a file")
    if not in_folder:
        raise JournalUnusable(f"the folder of {path} does not exist; make it, or name another")
    return real


def is_there(path: Path) -> bool:
    """Is there a journal yet? Raises: JournalUnusable where this user may not look."""
    try:
        return path.exists()
    except PermissionError as error:
        raise _closed(path) from error


def _closed(path: Path) -> JournalUnusable:
    return JournalUnusable(
        f"{path} is in a folder that this user may not look into; use sudo, as for the service"
    )


def _of_another_user(path: Path) -> JournalUnusable | None:
    """What to do about a file that another user left here; None where it is this user's, or gone.

    Nothing is given away or deleted by ourselves: whoever made it may still be using it.
    """
    try:
        owner, mine = path.lstat().st_uid, os.geteuid()
    except OSError:
        return None
    if owner == mine:
        return None
    me = _user(mine)
    # Not what a link leads to: root is asked to do it, in a folder where others may lay links.
    command = f"sudo chown -h {me} {shlex.quote(str(path))}"
    return JournalUnusable(
        f"{path} belongs to {_user(owner)}, and this user, {me}, may not open it; if {me} is the "
        f"user of the service, this mends it: {command}; else use sudo, as for the service"
    )


def _user(number: int) -> str:
    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return str(number)


def connect_to_write(path: Path) -> sqlite3.Connection:
    """A connection that may write, its file made or brought forward.

    Raises: JournalUnusable; sqlite3.DatabaseError, to be watched.
    """
    make_for_owner(path)
    if path != IN_MEMORY:
        for file in (path, beside(path, "-wal"), beside(path, "-shm")):
            if not os.access(file, os.W_OK) and file.exists():
                raise _of_another_user(file) or JournalUnusable(
                    f"{file} may not be written by this user; look at its permissions"
                )
    db = _connected(str(path))
    try:
        version = _version(db, path)
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        # Zeroing what is thinned would double the writing.
        db.execute("PRAGMA secure_delete = OFF")
        if version < schema.VERSION:
            db.execute("BEGIN IMMEDIATE")
            # Another handle may have done it while this one waited.
            schema.bring_forward(db, _version(db, path))
            db.execute("COMMIT")
        _check_tables(db, path)
    except BaseException as error:
        db.close()
        _refuse_other_kinds(path, error)
        raise
    if 0 < version < schema.VERSION and path != IN_MEMORY:
        path.chmod(OWNER_ONLY)  # as a new one is made; what somebody sets later stays
    return db


def connect_to_read(path: Path) -> sqlite3.Connection:
    """A connection that can't write.

    Raises: JournalUnusable, also for a file that an older version made and no service has
    brought forward yet; sqlite3.DatabaseError, to be watched.
    """
    if not path.is_file():
        raise JournalUnusable(f"{path} does not exist; has the service ever run?")
    if not os.access(path, os.R_OK):
        raise JournalUnusable(
            f"{path} may not be read by this user; ask its owner, or use sudo as for the service"
        )
    address = path.absolute().as_uri() + "?mode=ro"
    # SQLite needs its two side files. Where this reader may not make them, or the disk has no room
    # for them, the journal is read as it is on the disk: no writer is alive, or there were some.
    if not os.access(path.parent, os.W_OK) and _at_rest(path):
        return _checked(path, address + _AS_IT_IS)
    try:
        return _checked(path, address)
    except sqlite3.OperationalError:
        if not _at_rest(path):
            raise
    return _checked(path, address + _AS_IT_IS)


_AS_IT_IS: Final = "&immutable=1"


def _at_rest(path: Path) -> bool:
    log = beside(path, "-wal")
    return not log.exists() or log.stat().st_size == 0


def _checked(path: Path, address: str) -> sqlite3.Connection:
    db = _connected(address)
    try:
        version = _version(db, path)
        _refuse_older(version, path)
        _check_tables(db, path)
    except BaseException as error:
        db.close()
        _refuse_other_kinds(path, error)
        raise
    return db


def beside(path: Path, ending: str) -> Path:
    """The file beside a journal whose name has this added."""
    return path.with_name(path.name + ending)


def _connected(address: str) -> sqlite3.Connection:
    db = sqlite3.connect(
        address,
        uri=address.startswith("file:"),
        timeout=_BUSY_TIMEOUT_SECONDS,
        isolation_level=None,
    )
    # A flipped bit may leave bytes that are no text: the row that holds them is then refused by
    # itself, where SQLite's own way would be an error for the whole look.
    db.text_factory = _text
    return db


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")


def open_for_owner(path: Path | str, flags: int) -> int:
    """A handle on a file that lies beside the journal, made for its owner alone where need be; an
    opener, as `open` takes one.

    What root makes is given to the owner of the folder: a command under sudo must leave nothing
    behind that the service, which is not root, may not open. A file that was there is given to
    nobody: it may be a link that leads somewhere else.
    Raises: OSError, also where the file is there and `flags` has O_EXCL.
    """
    try:
        new = os.open(path, flags | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, OWNER_ONLY)
    except FileExistsError:
        if flags & os.O_EXCL:
            raise
        return os.open(path, flags | os.O_CREAT | os.O_CLOEXEC, OWNER_ONLY)
    try:
        if os.geteuid() == 0:
            folder = Path(path).parent.stat()
            os.fchown(new, folder.st_uid, folder.st_gid)
    except OSError:
        os.close(new)
        Path(path).unlink(missing_ok=True)
        raise
    return new


def make_for_owner(path: Path) -> None:
    """A new file, where there is none, as `open_for_owner`; SQLite's side files follow it.

    Only a file that isn't there yet is opened here, and closed again: closing any handle on a
    journal gives up the locks of all of this program's connections to it, another program's last
    close then takes the write-ahead file away under them, and what they commit from then on is
    lost (How To Corrupt An SQLite Database File, section 2.2,
    https://www.sqlite.org/howtocorrupt.html).
    Raises: JournalUnusable where it can't be made.
    """
    if path == IN_MEMORY or path.exists():
        return
    try:
        os.close(open_for_owner(path, os.O_RDWR | os.O_EXCL))
    except FileExistsError:
        return  # another handle was quicker
    except OSError as error:
        raise JournalUnusable(f"{path} can't be made: {error.strerror}") from error


def _refuse_other_kinds(path: Path, error: BaseException) -> None:
    """Say what the file is instead, where SQLite found that it is no database.

    No connection to it is open then, so it may be opened and closed here.

    Raises: JournalDamaged where it was a journal once, JournalUnusable where it is another file.
    """
    if primary_code(error) != sqlite3.SQLITE_NOTADB:
        return
    with path.open("rb") as file:
        start = file.read(_HEADER_BYTES)
    ours = start[_MARK_AT] == schema.APPLICATION_ID.to_bytes(4)
    if ours or (len(start) == _HEADER_BYTES and not any(start)):
        # A page of zeros is what a power cut leaves of a page that was being written.
        raise JournalDamaged(f"{path} is damaged: its first page can't be read") from error
    raise JournalUnusable(
        f"{path} is not a journal: it starts with {start[:_SHOWN_BYTES]!r}; name another file, "
        "or set it aside"
    ) from error


def check_whole(
    db: sqlite3.Connection, path: Path, table: str = "", *, thoroughly: bool = False
) -> None:
    """Read every page of the file once, or of one table.

    `thoroughly` also looks up every row in every index, which takes several times as long.
    Raises: JournalDamaged.
    """
    check = "PRAGMA integrity_check(3)" if thoroughly else "PRAGMA quick_check(3)"
    if table:
        check = f"PRAGMA quick_check('{table}')"
    try:
        found = [str(row[0]) for row in db.execute(check)]
    except DATABASE_ERRORS as error:
        if not is_damage(error):
            raise
        found = [str(error)]
    if found != ["ok"]:
        found_there = "; ".join(line for one in found for line in one.splitlines() if line)
        raise JournalDamaged(f"{path} is damaged ({found_there})")


def suspect(path: Path) -> None:
    """Damage was found during work: the next start checks every row."""
    with contextlib.suppress(OSError):
        beside(path, _SUSPECT).touch(OWNER_ONLY)


def is_suspect(path: Path) -> bool:
    """Was damage met since the last thorough check?"""
    return beside(path, _SUSPECT).exists()


def clear(path: Path) -> None:
    """It was looked at thoroughly."""
    with contextlib.suppress(OSError):
        beside(path, _SUSPECT).unlink(missing_ok=True)


_SUSPECT: Final = ".suspect"


def _check_tables(db: sqlite3.Connection, path: Path) -> None:
    """Are all tables there as this version makes them? Raises: JournalDamaged."""
    missing = _tables_made() - set(db.execute(_SELECT_TABLES))
    if missing:
        names = ", ".join(sorted(name for name, _ in missing))
        raise JournalDamaged(f"{path} is damaged: {names} is not as it was made")


_SELECT_TABLES: Final = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"


@cache
def _tables_made() -> frozenset[tuple[str, str]]:
    db = sqlite3.connect(":memory:")
    try:
        schema.bring_forward(db, 0)
        return frozenset(db.execute(_SELECT_TABLES))
    finally:
        db.close()


def _version(db: sqlite3.Connection, path: Path) -> int:
    """The version of the tables; 0 for a new file. Raises: JournalUnusable, JournalDamaged."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    application = int(db.execute("PRAGMA application_id").fetchone()[0])
    tables = int(db.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if application != schema.APPLICATION_ID and tables:
        raise JournalUnusable(f"{path} is the database of another program; name another file")
    if version < 0 or version > _MOST_VERSIONS or (version == 0) != (tables == 0):
        raise JournalDamaged(
            f"{path} is damaged: it holds {tables} tables, and says that their version is {version}"
        )
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
