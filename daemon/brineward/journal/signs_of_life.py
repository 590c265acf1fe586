"""What the service records about itself, so that others can see whether it is alive."""

from typing import Final

from brineward.journal.handle import Handle
from brineward.readings.instants import Instant

STOPPED: Final = 0
"""In place of the service's process id: it was stopped, and its last sign of life was the end."""


class SignsOfLife:
    """One row, written by the service alone."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def note(
        self,
        *,
        beat: Instant,
        pid: int | None = None,
        version: str | None = None,
        config_hash: str | None = None,
        started: Instant | None = None,
        last_commit: Instant | None = None,
    ) -> None:
        """The service says that it is alive, and what else it has to say; the rest stays.

        Whether the link is up is noted by `Journal.commit` from the entries themselves.
        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.writing() as db:
            db.execute(
                """UPDATE service SET beat = ?, pid = coalesce(?, pid),
                version = coalesce(?, version), config_hash = coalesce(?, config_hash),
                started = coalesce(?, started), last_commit = coalesce(?, last_commit)""",
                (beat, pid, version, config_hash, started, last_commit),
            )

    def note_stopped(self, at: Instant) -> None:
        """The service ends because it was told to, and nobody need wait for another sign.

        Raises: DiskTrouble, JournalUnusable.
        """
        self.note(beat=at, pid=STOPPED)

    def last_beat(self) -> Instant | None:
        """When the service last recorded that it is alive; None if it never did."""
        with self._handle.reading() as db:
            found = db.execute("SELECT beat FROM service").fetchone()[0]
        return None if found is None else int(found)
