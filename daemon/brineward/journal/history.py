"""Reading back: what was measured, concluded, told, refused, and how the service is."""

from dataclasses import dataclass, fields
from typing import cast

from brineward.journal import bodies
from brineward.journal.boxes import OutboxText, text_from_row
from brineward.journal.ordering import Ordering
from brineward.readings.entries import Act
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived, EpisodeChanged
from brineward.readings.values import Reading, Refusal

_NEVER = 1 << 62


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingAlarm:
    """An alarm that is not normal now."""

    change: AlarmChanged
    """Its last change."""
    since: Instant
    """When it left normal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How often a sensor's payloads were refused, or contradicted each other, for one reason."""

    depot: str
    sensor: str
    reason: str
    count: int
    last: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceRow:
    """What the service last said of itself; None where it never did."""

    pid: int | None = None
    version: str | None = None
    config_hash: str | None = None
    started: Instant | None = None
    beat: Instant | None = None
    """When it last showed that reader and writer make progress."""
    last_commit: Instant | None = None
    link_up: bool | None = None
    link_changed: Instant | None = None
    link_why: str | None = None


_SERVICE_COLUMNS = ", ".join(field.name for field in fields(ServiceRow))
_SELECT_SERVICE = f"SELECT {_SERVICE_COLUMNS} FROM service"  # noqa: S608 - our own field names
_READING = "SELECT series, time, value, mark, lag FROM reading WHERE series = ? AND time "
_DERIVED = "SELECT series, time, value, uncertainty, calibrated FROM derived WHERE series = ? "


class History(Ordering):
    """Reading back, in short looks."""

    def latest_readings(self, depot: str, not_after: Instant = _NEVER) -> dict[str, Reading]:
        """The newest reading of each sensor of a depot, by time measured, up to an instant."""
        select = _READING + "<= ? ORDER BY time DESC LIMIT 1"
        found: dict[str, Reading] = {}
        with self._reading() as db:
            for series, name in self._series_of(depot):
                row = db.execute(select, (series, not_after)).fetchone()
                if row is not None:
                    found[name] = self._reading_from(*row)
        return found

    def latest_derived(self, depot: str, not_after: Instant = _NEVER) -> dict[str, Derived]:
        """The newest of each derived value of a depot, up to an instant."""
        select = _DERIVED + "AND time <= ? ORDER BY time DESC, place DESC LIMIT 1"
        found: dict[str, Derived] = {}
        with self._reading() as db:
            for series, name in self._series_of(depot):
                row = db.execute(select, (series, not_after)).fetchone()
                if row is not None:
                    found[name] = self._derived(*row)
        return found

    def series(self, depot: str, sensor: str, start: Instant, end: Instant) -> list[Reading]:
        """A sensor's readings from `start` to before `end`, by time measured."""
        select = _READING + ">= ? AND time < ? ORDER BY time"
        with self._reading() as db:
            rows = db.execute(select, (self._find_series(depot, sensor), start, end)).fetchall()
            return [self._reading_from(*row) for row in rows]

    def derived(self, depot: str, name: str, start: Instant, end: Instant) -> list[Derived]:
        """A derived value from `start` to before `end`; the last conclusion of each instant."""
        select = _DERIVED + "AND time >= ? AND time < ? ORDER BY time, place"
        with self._reading() as db:
            rows = db.execute(select, (self._find_series(depot, name), start, end)).fetchall()
            return list({row[1]: self._derived(*row) for row in rows}.values())

    def conflicts(self, depot: str, sensor: str, start: Instant, end: Instant) -> list[Reading]:
        """Second values of instants that had one already, from `start` to before `end`."""
        select = """SELECT series, time, value, mark, lag FROM second_reading
            WHERE series = ? AND time >= ? AND time < ? AND conflict ORDER BY time, seq"""
        with self._reading() as db:
            rows = db.execute(select, (self._find_series(depot, sensor), start, end)).fetchall()
            return [self._reading_from(*row) for row in rows]

    def alarms_standing(self, depot: str | None = None) -> list[StandingAlarm]:
        """Every alarm whose state is not normal, of one depot or all, the longest first."""
        select = """SELECT body, since FROM alarm WHERE state <> ? AND depot = coalesce(?, depot)
            ORDER BY since, depot, alarm, source"""
        with self._reading() as db:
            rows = db.execute(select, (AlarmState.NORMAL.value, depot)).fetchall()
        return [StandingAlarm(change=_alarm(body), since=since) for body, since in rows]

    def alarm_history(
        self, depot: str, start: Instant = 0, end: Instant = _NEVER, limit: int = 10_000
    ) -> list[AlarmChanged]:
        """The last so many alarm changes of a depot from `start` to before `end`, in order."""
        rows = self._concluded("alarm", depot, start, end, limit)
        return [_alarm(body) for body in rows]

    def episodes(
        self, depot: str, start: Instant = 0, end: Instant = _NEVER, limit: int = 10_000
    ) -> list[EpisodeChanged]:
        """The last so many beginnings and ends of a depot's episodes, in order."""
        rows = self._concluded("episode", depot, start, end, limit)
        return [cast(EpisodeChanged, bodies.output_from("episode", body)) for body in rows]

    def _concluded(
        self, kind: str, depot: str, start: Instant, end: Instant, limit: int
    ) -> list[str]:
        select = """SELECT body FROM output WHERE depot = ? AND kind = ? AND time >= ? AND time < ?
            ORDER BY time DESC, place DESC LIMIT ?"""
        with self._reading() as db:
            rows = db.execute(select, (depot, kind, start, end, limit)).fetchall()
        return [body for (body,) in reversed(rows)]

    def acts(self, depot: str, start: Instant = 0, end: Instant = _NEVER) -> list[Act]:
        """What people did at a depot, from `start` to before `end`, in order of time."""
        select = """SELECT body FROM happening WHERE kind = 'act' AND time >= ? AND time < ?
            AND depot = ? ORDER BY time, seq"""
        with self._reading() as db:
            rows = db.execute(select, (start, end, depot)).fetchall()
        return [cast(Act, bodies.entry_from("act", body)) for (body,) in rows]

    def texts(
        self, depot: str | None = None, state: str | None = None, limit: int = 100
    ) -> list[OutboxText]:
        """The newest texts, of one depot or all, in one state (open, accepted, dead) or all."""
        select = """SELECT * FROM text WHERE depot = coalesce(?, depot)
            AND state = coalesce(?, state) ORDER BY created DESC, id DESC LIMIT ?"""
        with self._reading() as db:
            rows = db.execute(select, (depot, state, limit)).fetchall()
        return [text_from_row(row) for row in rows]

    def text_counts(self, depot: str | None = None) -> dict[str, int]:
        """How many texts are open, accepted and dead, of one depot or all."""
        select = "SELECT state, count(*) FROM text WHERE depot = coalesce(?, depot) GROUP BY state"
        with self._reading() as db:
            found = dict(db.execute(select, (depot,)).fetchall())
        return {state: int(found.get(state, 0)) for state in ("open", "accepted", "dead")}

    def last_numbers(self, depot: str) -> tuple[int, int]:
        """The highest number of an occurrence of a depot, and of a text that is about none."""
        alarms = "SELECT same FROM output WHERE depot = ? AND kind = 'alarm'"
        letters = "SELECT id FROM text WHERE depot = ? AND number = 0"
        with self._reading() as db:
            numbers = [int(same.rsplit("|", 3)[1]) for (same,) in db.execute(alarms, (depot,))]
            ids = [row[0].removeprefix(f"{depot}-0-") for row in db.execute(letters, (depot,))]
        counts = [int(parts[1]) for i in ids if len(parts := i.split("-")) > 2]
        return max(numbers, default=0), max(counts, default=0)

    def refusals(self, depot: str | None = None) -> list[Tally]:
        """How many payloads of each sensor were refused, for each reason, since ever."""
        return self._tallies("refusal", depot)

    def conflict_counts(self, depot: str | None = None) -> list[Tally]:
        """How often each sensor gave a second value for one instant, since ever."""
        return self._tallies("conflict", depot)

    def _tallies(self, sort: str, depot: str | None) -> list[Tally]:
        select = """SELECT depot, name, reason, count, last FROM tally JOIN series ON series = id
            WHERE sort = ? AND depot = coalesce(?, depot) ORDER BY depot, name, reason"""
        names = [field.name for field in fields(Tally)]
        with self._reading() as db:
            rows = db.execute(select, (sort, depot)).fetchall()
        return [Tally(**dict(zip(names, row, strict=True))) for row in rows]

    def refusals_kept(self, depot: str, sensor: str) -> list[Refusal]:
        """The last refused payloads of a sensor, whole, the oldest first."""
        select = """SELECT received, reason, sentence, topic, payload
            FROM refusal_kept JOIN refusal USING (seq)
            WHERE refusal_kept.series = ? ORDER BY seq"""
        with self._reading() as db:
            rows = db.execute(select, (self._find_series(depot, sensor),)).fetchall()
        return [Refusal(depot, sensor, *row) for row in rows]

    def service_row(self) -> ServiceRow:
        """What the service last said of itself."""
        with self._reading() as db:
            row = db.execute(_SELECT_SERVICE).fetchone()
        parts = dict(zip((field.name for field in fields(ServiceRow)), row, strict=True))
        if parts["link_up"] is not None:
            parts["link_up"] = bool(parts["link_up"])
        return ServiceRow(**parts)

    def note_service(
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

        Whether the link is up is noted by `commit` from the entries themselves.
        """
        with self._writing() as db:
            db.execute(
                """UPDATE service SET beat = ?, pid = coalesce(?, pid),
                version = coalesce(?, version), config_hash = coalesce(?, config_hash),
                started = coalesce(?, started), last_commit = coalesce(?, last_commit)""",
                (beat, pid, version, config_hash, started, last_commit),
            )

    def _series_of(self, depot: str) -> list[tuple[int, str]]:
        select = "SELECT id, name FROM series WHERE depot = ? ORDER BY name"
        return self._db.execute(select, (depot,)).fetchall()


def _alarm(body: str) -> AlarmChanged:
    return cast(AlarmChanged, bodies.output_from("alarm", body))
