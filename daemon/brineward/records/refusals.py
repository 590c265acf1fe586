"""What could not be read as a reading, and what contradicted itself."""

from dataclasses import dataclass

from brineward.journal.handle import Handle
from brineward.readings.instants import Instant
from brineward.readings.values import Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How often a sensor's payloads were refused, or contradicted each other, for one reason."""

    depot: str
    sensor: str
    reason: str
    count: int
    last: Instant


class Refusals:
    """Counts for ever, and the last few payloads of each sensor whole."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def counts(self, depot: str | None = None) -> list[Tally]:
        """How many payloads of each sensor were refused, for each reason, since ever."""
        return self._tallies("refusal", depot)

    def conflict_counts(self, depot: str | None = None) -> list[Tally]:
        """How often each sensor gave a second value for one instant, since ever."""
        return self._tallies("conflict", depot)

    def kept(self, depot: str, sensor: str) -> list[Refusal]:
        """The last refused payloads of a sensor, whole, the oldest first."""
        select = """SELECT received, reason, sentence, topic, payload
            FROM refusal_kept JOIN refusal USING (seq)
            WHERE refusal_kept.series = ? ORDER BY seq"""
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, sensor)
            rows = db.execute(select, (series,)).fetchall()
        return [Refusal(depot, sensor, *row) for row in rows]

    def _tallies(self, sort: str, depot: str | None) -> list[Tally]:
        select = """SELECT depot, name, reason, count, last FROM tally JOIN series ON series = id
            WHERE sort = ? AND depot = coalesce(?, depot) ORDER BY depot, name, reason"""
        with self._handle.reading() as db:
            rows = db.execute(select, (sort, depot)).fetchall()
        return [
            Tally(depot=depot, sensor=sensor, reason=reason, count=count, last=last)
            for depot, sensor, reason, count, last in rows
        ]
