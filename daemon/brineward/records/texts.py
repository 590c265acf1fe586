"""What was texted, and what became of it."""

from typing import Final

from brineward.journal.handle import Handle
from brineward.journal.outbox import SELECT_TEXTS, OutboxText, text_from_row
from brineward.readings.instants import Instant

_ABOUT: Final = f"""{SELECT_TEXTS} WHERE depot = ? AND (number = ? OR
    CASE WHEN kind = 'several' AND json_valid(notice) THEN
        EXISTS (SELECT 1 FROM json_each(notice, '$.also') WHERE value = ?) END)
    ORDER BY created, id"""  # noqa: S608 - our own field names


class Texts:
    """Texts of the outbox, sent or not."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def newest(
        self, depot: str | None = None, state: str | None = None, limit: int = 100
    ) -> list[OutboxText]:
        """The newest texts, of one depot or all, in one state (open, accepted, dead) or all."""
        select = f"""{SELECT_TEXTS} WHERE depot = coalesce(?, depot)
            AND state = coalesce(?, state) ORDER BY created DESC, id DESC LIMIT ?"""
        return self._made(select, (depot, state, limit))

    def about(self, depot: str, number: int) -> list[OutboxText]:
        """The texts about one occurrence, alone or among several, the oldest first."""
        return self._made(_ABOUT, (depot, number, number))

    def between(self, depot: str, start: Instant, end: Instant) -> list[OutboxText]:
        """Every text of a depot that fell due from `start` to before `end`, the oldest first."""
        select = f"{SELECT_TEXTS} WHERE depot = ? AND created >= ? AND created < ? ORDER BY created"
        return self._made(select, (depot, start, end))

    def last_of(self, kind: str, person: str, since: Instant) -> OutboxText | None:
        """The last text of a kind to a person that fell due from `since` on, of any depot."""
        select = f"""{SELECT_TEXTS} WHERE created >= ? AND kind = ? AND person = ?
            ORDER BY created DESC LIMIT 1"""
        return next(iter(self._made(select, (since, kind, person))), None)

    def of_alarms(self, depot: str, start: Instant, end: Instant) -> list[tuple[str, Instant, int]]:
        """Of each text of a raised alarm from `start` to before `end`: to whom, when, which."""
        select = """SELECT person, created, number FROM text WHERE depot = ?
            AND kind IN ('raised', 'again', 'several') AND created >= ? AND created < ?
            ORDER BY created, id"""
        with self._handle.reading() as db:
            return [(p, t, n) for p, t, n in db.execute(select, (depot, start, end))]

    def counts(self, depot: str | None = None) -> dict[str, int]:
        """How many texts are open, accepted and dead, of one depot or all."""
        select = "SELECT state, count(*) FROM text WHERE depot = coalesce(?, depot) GROUP BY state"
        with self._handle.reading() as db:
            found = dict(db.execute(select, (depot,)).fetchall())
        return {state: int(found.get(state, 0)) for state in ("open", "accepted", "dead")}

    def _made(self, select: str, bounds: tuple[object, ...]) -> list[OutboxText]:
        with self._handle.reading() as db:
            rows = db.execute(select, bounds).fetchall()
        return list(self._handle.readable("text", rows, text_from_row))
