"""What the link keeps between two runs, so that it finds the broker's session again.

It is in a small file beside the journal, not in the journal: what waits in the broker's session
must still be found after the journal was deleted, restored from a copy, or rescued from damage.
"""

import contextlib
import os
import re
import secrets
from pathlib import Path
from typing import Any, Final

import orjson

from brineward.journal.opening import IN_MEMORY, beside, open_for_owner

_MARK: Final = re.compile(r"[0-9a-f]{12}")


class LinkSession:
    """The file `NAME.session` beside a journal; made when it is first needed.

    `mark` is drawn once. The broker knows it, but nobody can guess it: with it in the client id
    nobody can take over the session just by knowing the instance's name.
    """

    def __init__(self, journal: Path) -> None:
        self._path = None if journal == IN_MEMORY else beside(journal, ".session")
        kept = self._read()
        mark, dropped = kept.get("mark"), kept.get("broker_dropped")
        fine = isinstance(mark, str) and _MARK.fullmatch(mark) is not None
        self.mark = str(mark) if fine else secrets.token_hex(6)
        self._dropped = dropped if type(dropped) is int and dropped >= 0 else None
        self._kept = fine
        if not fine:
            self._write()

    @property
    def broker_dropped(self) -> int | None:
        """The broker's count of dropped messages that was reported last; None if there was none."""
        return self._dropped

    def note(self, broker_dropped: int | None) -> None:
        """Keep the count where it is another; a disk that refuses is tried again next time."""
        if broker_dropped == self._dropped and self._kept:
            return
        self._dropped = broker_dropped
        self._write()

    def _read(self) -> dict[str, Any]:
        if self._path is None:
            return {}
        try:
            kept = orjson.loads(self._path.read_bytes())
        except (OSError, ValueError):
            return {}
        return kept if isinstance(kept, dict) else {}

    def _write(self) -> None:
        if self._path is None:
            return
        body = orjson.dumps({"mark": self.mark, "broker_dropped": self._dropped})
        new = beside(self._path, ".new")
        try:
            with open(new, "wb", opener=open_for_owner) as file:
                file.write(body)
                file.flush()
                os.fsync(file.fileno())
            new.replace(self._path)
        except OSError:
            self._kept = False
            with contextlib.suppress(OSError):
                new.unlink(missing_ok=True)
        else:
            self._kept = True
