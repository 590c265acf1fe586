"""What the plant did."""

from dataclasses import dataclass

from brineward.journal.episodes import FIGURES
from brineward.journal.handle import Handle
from brineward.readings.instants import Instant
from brineward.records.ever import NEVER

_COLUMNS = ", ".join(("depot", "episode", "source", "began", "ended", *FIGURES))


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """Something the plant did, as it is known now."""

    depot: str
    episode: str
    """`fill`, `pump-run`, `mode`, ..."""
    source: str
    """The vessel or pump that it is about; of a mode, which."""
    began: Instant
    ended: Instant | None
    """None: it goes on."""
    amount_m3: float | None = None
    amount_uncertainty_m3: float | None = None
    """Standard uncertainty of the amount."""
    mass_fraction: float | None = None
    low_95: float | None = None
    """The ends of the strength's 95 % interval."""
    high_95: float | None = None
    temperature_c: float | None = None
    salt_kg: float | None = None
    """In what was loaded; dissolved in what was made."""
    water_m3: float | None = None
    """In what was made."""
    how: str | None = None
    """How the amount is known: `by meter and level`, `by level`, ..."""


class Episodes:
    """Episodes of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def between(
        self,
        depot: str,
        start: Instant = 0,
        end: Instant = NEVER,
        *,
        episode: str | None = None,
        limit: int = 10_000,
    ) -> list[Episode]:
        """The last episodes, at most this many, of one kind or all, that overlap `start` to `end`.

        In the order in which they began; those that began before `start`, ended after `end`, or are
        still going on are included.
        """
        select = f"""SELECT {_COLUMNS} FROM episode WHERE depot = ? AND began < ?
            AND (ended IS NULL OR ended >= ?) AND episode = coalesce(?, episode)
            ORDER BY began DESC, id DESC LIMIT ?"""  # noqa: S608 - our own column names
        with self._handle.reading() as db:
            rows = db.execute(select, (depot, end, start, episode, limit)).fetchall()
        names = ("depot", "episode", "source", "began", "ended", *FIGURES)
        return [Episode(**dict(zip(names, row, strict=True))) for row in reversed(rows)]
