"""The state of the alarms, and their history."""

from brineward.journal import bodies
from brineward.journal.active_alarms import ActiveAlarm, alarms_active
from brineward.journal.handle import Handle
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged
from brineward.records.ever import NEVER


class Alarms:
    """Alarms of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def active(self, depot: str | None = None) -> list[ActiveAlarm]:
        """Every alarm whose state is not normal, of one depot or all, the longest first."""
        return alarms_active(self._handle, depot)

    def history(
        self, depot: str, start: Instant = 0, end: Instant = NEVER, limit: int = 10_000
    ) -> list[AlarmChanged]:
        """The last alarm changes of a depot, at most this many, from `start` to before `end`, in
        order."""
        select = """SELECT body FROM output WHERE depot = ? AND kind = 'alarm'
            AND time >= ? AND time < ? ORDER BY time DESC, place DESC LIMIT ?"""
        with self._handle.reading() as db:
            rows = db.execute(select, (depot, start, end, limit)).fetchall()
        made = self._handle.readable("output", reversed(rows), lambda r: bodies.alarm_from(r[0]))
        return list(made)

    def story(self, depot: str, number: int, limit: int = 200) -> list[AlarmChanged]:
        """The first changes of one occurrence, at most this many, in order."""
        select = """SELECT body FROM output WHERE depot = ? AND kind = 'alarm'
            AND json_valid(body) AND json_extract(body, '$.number') = ?
            ORDER BY time, place LIMIT ?"""
        with self._handle.reading() as db:
            rows = db.execute(select, (depot, number, limit)).fetchall()
        return list(self._handle.readable("output", rows, lambda r: bodies.alarm_from(r[0])))
