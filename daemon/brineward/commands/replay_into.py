"""`brineward replay --journal FILE`: a recorded run, kept in its own journal."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from brineward.engine.engine import Engine
from brineward.readings.entries import Entry
from brineward.readings.outputs import Output, Step

_AT_ONCE: Final = 20_000
"""How many entries are committed together: memory stays bounded, and the disk is rarely waited for.
"""


class NotKept(Exception):
    """The journal could not be written; the text says why."""


@contextmanager
def _kept() -> Iterator[None]:
    from brineward.journal import DiskTrouble, JournalUnusable  # noqa: PLC0415 - most replays keep none

    try:
        yield
    except (DiskTrouble, JournalUnusable) as why:
        raise NotKept(str(why)) from why


class ReplayedJournal:
    """A new journal that a recorded run is written into; its texts are never sent."""

    def __init__(self, path: Path, engine: Engine) -> None:
        """Raises: FileExistsError where there is a file already; NotKept."""
        # Here, since most replays keep none, and start a tenth sooner without it.
        from brineward.journal import Journal  # noqa: PLC0415 - most replays keep none

        if path.exists():
            raise FileExistsError(
                f"{path} exists already; a run is replayed into a new journal: name another file"
            )
        self._engine = engine
        with _kept():
            self._journal = Journal.open(path)
        self._steps: list[Step] = []

    def add(self, entry: Entry, outputs: tuple[Output, ...]) -> None:
        """Keep an entry and what was concluded from it. Raises: NotKept."""
        self._steps.append(Step(entry, outputs))
        if len(self._steps) >= _AT_ONCE:
            self._commit()

    def _commit(self, states: dict[str, bytes] | None = None) -> None:
        from brineward.journal.outbox import REPLAYED  # noqa: PLC0415 - most replays keep none

        with _kept():
            self._journal.commit(self._steps, states=states)
            self._steps = []
            self._journal.outbox.close_open(REPLAYED)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Keep what is left, and the engine's state: other commands go on from it.

        Raises: NotKept.
        """
        try:
            self._commit(self._engine.snapshots())
        finally:
            self._journal.close()
