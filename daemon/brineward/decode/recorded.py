"""Recorded runs: a readings file and its acts file, as entries for the engine.

A readings file is CSV with the header `time,depot,sensor,value` (UTC, RFC 3339; values as the
sensor publishes them, in its config's unit), or one SenML pack a line with records named
`<depot>/<sensor>` and absolute times. A CSV may have a fifth column, `received`: when the reading
arrived. An acts file has one JSON object a line: `time`, `depot`, `act`, and the act's own
`fields`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final, TextIO

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from brineward.config.settings import SensorSource
from brineward.decode.acts import RefusedAct, act_from_fields
from brineward.decode.refusals import UnreadablePayload
from brineward.decode.senml import PackReader
from brineward.decode.sensors import WantedSensor, wanted_sensor
from brineward.decode.times import instant_from_json
from brineward.readings.entries import Act, Tick
from brineward.readings.instants import DAY, MINUTE, Instant
from brineward.readings.values import Quality, Reading, Refusal, TimedBy

HEADER: Final = "time,depot,sensor,value"
HEADER_WITH_ARRIVALS: Final = f"{HEADER},received"
LINE_LIMIT: Final = 65_536
_KEPT: Final = 20
_TICKS_EVERY: Final = MINUTE
"""So long without an arrival the service would have looked whether anything is due."""
_LONGEST_GAP: Final = DAY
"""A longer one was no watch, or its end is wrong: the time in it is not played."""
_TEXTS_KNOWN: Final = 20_000
"""How many values are remembered as they were written; then all are forgotten."""


_Read = tuple[str, str, float | None, Quality]
"""Depot, sensor, value in SI, and how good it is."""


class UnreadableRecording(Exception):
    """A file that is no recording at all; the operator must act."""


class ActLine(BaseModel):
    """One line of an acts file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    time: str
    depot: str = Field(min_length=1, max_length=100)
    act: str = Field(min_length=1, max_length=100)
    fields: dict[str, str | float | int | bool] = Field(default_factory=dict)


class _Clock:
    """Reads the times of a file: a minute's date and hour once, its seconds as they come again.

    A recording's times rise, and seconds have few texts: to read each in full costs four times as
    much.
    """

    _MINUTE = len("2026-01-12T22:07:")

    def __init__(self) -> None:
        self.head, self.minute = "", 0
        """The text of the minute under way, in UTC, and when it begins."""
        self._others: dict[str, Instant] = {}
        """By what stands after the minute, where that is not seconds to the millisecond."""

    def instant(self, stamp: str) -> Instant:
        """As `instant_from_json`, of text. Raises: UnreadablePayload."""
        head, tail = stamp[: self._MINUTE], stamp[self._MINUTE :]
        into = self._others.get(tail)
        if into is not None and head == self.head:
            return self.minute + into
        found = instant_from_json(stamp)
        if tail[-1:] == "Z" and head[-1:] == ":":
            if head != self.head:
                self.head, self.minute = head, instant_from_json(f"{head}00Z")
            if len(self._others) >= _TEXTS_KNOWN:
                self._others.clear()
            self._others[tail] = found - self.minute
        return found


_SECONDS = {f"{second:02}.": second * 1000 for second in range(60)}
_THOUSANDTHS = {f"{thousandth:03}Z": thousandth for thousandth in range(1000)}
"""What most stamps end with, and how many milliseconds that is."""


class Recording:
    """A readings file with its acts; iterate it once for its entries, in the file's order.

    A line that can't be read is counted and the first few are kept in `problems`; it never ends
    the run. Where the file has no arrivals, a reading's is the latest time in the file so far, so
    that one out of order is late. Where it has them, time passes while nothing arrives, as it does
    for the service: what a gateway held back was silence until it came.
    """

    def __init__(
        self, readings: Path, sources: Iterable[SensorSource], acts: Path | None = None
    ) -> None:
        self._path = readings
        self._acts_path = acts
        self._wanted = {
            (source.depot, source.sensor): replace(
                wanted_sensor(source), record_name=f"{source.depot}/{source.sensor}"
            )
            for source in sources
        }
        self.problems: list[str] = []
        """The first few lines that could not be read, a sentence each."""
        self.refused = 0
        self.readings = 0
        self.bytes_read = 0
        self._latest: Instant = 0
        self._known: dict[str, _Read] = {}
        """What was read of a line's rest after its time: most come again, as a sensor has steps."""
        self._clock = _Clock()

    def __iter__(self) -> Iterator[Reading | Refusal | Tick | Act]:
        """All entries, acts among the readings by their times.

        Raises: UnreadableRecording where the file is none.
        """
        acts = iter(self._acts())
        act = next(acts, None)
        rows = self._rows()
        if act is not None:
            for found in rows:
                reached = found.time if isinstance(found, Tick) else found.received
                while act is not None and act.time <= reached:
                    yield act
                    act = next(acts, None)
                yield found
                if act is None:
                    break
        yield from rows
        while act is not None:
            yield act
            act = next(acts, None)

    def _rows(self) -> Iterator[Reading | Refusal | Tick]:
        try:
            with self._path.open(encoding="utf-8", errors="replace", newline="") as file:
                first = file.readline(LINE_LIMIT).strip()
                header = first.lstrip("\ufeff")
                if header == HEADER:
                    yield from self._csv(file, arrivals=False)
                elif header == HEADER_WITH_ARRIVALS:
                    yield from self._csv(file, arrivals=True)
                elif first.startswith("["):
                    yield from self._senml(first, file)
                else:
                    raise UnreadableRecording(
                        f"{self._path}: the first line is {first[:60]!r}; expected the header "
                        f"{HEADER!r}, or a SenML pack on every line"
                    )
        except OSError as why:
            raise UnreadableRecording(f"{self._path} can't be read: {why.strerror}") from why

    def _csv(self, file: TextIO, *, arrivals: bool) -> Iterator[Reading | Refusal | Tick]:
        by_sensor = TimedBy.SENSOR
        last_stamp, time = "", 0
        known, clock, made = self._known, self._clock, tuple.__new__
        header = HEADER_WITH_ARRIVALS if arrivals else HEADER
        for number, line in enumerate(file, 2):
            self.bytes_read += len(line)
            # What was read once is known by its text: a line is taken apart where it is new.
            stamp, _, rest = line.partition(",")
            if arrivals:
                rest, _, came = rest.rpartition(",")
            read = known.get(rest)
            try:
                if read is None:
                    _check_columns(line, header)
                if arrivals:
                    yield from self._arrived(instant_from_json(came.strip()))
                if stamp != last_stamp:
                    second, thousandth = _SECONDS.get(stamp[17:20]), _THOUSANDTHS.get(stamp[20:])
                    if second is None or thousandth is None or stamp[:17] != clock.head:
                        time = clock.instant(stamp)
                    else:
                        time = clock.minute + second + thousandth
                    last_stamp = stamp
                    if not arrivals and time > self._latest:
                        self._latest = time
                depot, sensor, value, quality = read or self._read(rest)
            except (ValueError, KeyError, UnreadablePayload) as why:
                yield from self._unread(number, line, header, why)
            else:
                self.readings += 1
                # Without a NamedTuple's own `__new__`, a call of a function for each reading.
                yield made(
                    Reading,
                    (depot, sensor, time, value, self._latest, quality, "", by_sensor, False, None),
                )

    def _arrived(self, now: Instant) -> Iterator[Tick]:
        """Time has come to `now`, which an arrival shows; what passed since the last one."""
        if now - self._latest <= _LONGEST_GAP:
            for time in range(self._latest + _TICKS_EVERY, now, _TICKS_EVERY):
                yield Tick(time=time)
        self._latest = max(self._latest, now)

    def _read(self, rest: str) -> "_Read":
        """Whose value it is, the value, how good it is. Raises: KeyError, UnreadablePayload."""
        depot, sensor, text = rest.split(",")
        value = self._wanted[depot, sensor].conversion.from_text(text)
        if len(self._known) >= _TEXTS_KNOWN:
            self._known.clear()
        read = (depot, sensor, value, Quality.BAD if value is None else Quality.GOOD)
        self._known[rest] = read
        return read

    def _unread(
        self, number: int, line: str, header: str, why: Exception
    ) -> Iterator[Reading | Refusal]:
        """Take note of a line that could not be read; what the engine is to know of it."""
        if isinstance(why, UnreadablePayload):
            refusal = self._refusal(number, line, why)
            if refusal is not None:
                yield refusal
        elif not isinstance(why, KeyError):
            self._problem(number, f"{line.strip()[:60]!r} is not {header}")
        elif line.strip() != header:  # files that were joined have headers
            _, depot, sensor, *_ = line.split(",")
            self._problem(number, f"the config has no sensor {depot[:40]}/{sensor[:40]}")

    def _refusal(self, number: int, line: str, why: UnreadablePayload) -> Refusal | None:
        self._problem(number, why.sentence)
        _, depot, sensor, text = line.split(",")[:4]
        if (depot, sensor) not in self._wanted:
            return None
        return Refusal(
            depot, sensor, self._latest, why.reason, why.sentence, "", text.encode()[:256]
        )

    def _senml(self, first: str, file: TextIO) -> Iterator[Reading | Refusal]:
        reader = PackReader(list(self._wanted.values()), _refusal_of)
        number = 0
        while line := (first if number == 0 else file.readline(LINE_LIMIT)):
            number += 1
            self.bytes_read += len(line)
            if not line.strip():
                continue
            try:
                found = reader.read(line.encode(), self._latest, False)
            except UnreadablePayload as why:
                self._problem(number, why.sentence)
                continue
            yield from self._in_turn(number, found)

    def _in_turn(self, number: int, found: list[Reading | Refusal]) -> Iterator[Reading | Refusal]:
        for one in found:
            if isinstance(one, Reading):
                if one.timed_by is TimedBy.ARRIVAL:
                    self._problem(number, "a time relative to now means nothing in a recording")
                    continue
                self._latest = max(self._latest, one.time)
                self.readings += 1
                yield one._replace(received=self._latest)
            elif one.reason == "no-such-record":
                self._problem(number, "no record is named <depot>/<sensor> as in the config")
                return
            else:
                self._problem(number, one.sentence)
                yield one

    def _acts(self) -> Iterator[Act]:
        if self._acts_path is None:
            return
        try:
            with self._acts_path.open(encoding="utf-8", errors="replace") as file:
                for number, line in enumerate(file, 1):
                    act = self._act(number, line)
                    if act is not None:
                        yield act
        except OSError as why:
            raise UnreadableRecording(f"{self._acts_path} can't be read: {why.strerror}") from why

    def _act(self, number: int, line: str) -> Act | None:
        if not line.strip():
            return None
        try:
            found = ActLine.model_validate_json(line[:LINE_LIMIT])
            time = instant_from_json(found.time)
        except ValidationError as why:
            first = why.errors()[0]
            where = ".".join(map(str, first["loc"])) or "the line"
            self._problem(number, f"acts: {where}: {first['msg'].lower()}")
            return None
        except UnreadablePayload as why:
            self._problem(number, f"acts: {why.sentence}")
            return None
        try:
            return act_from_fields(found.act, found.fields, depot=found.depot, time=time)
        except RefusedAct as why:
            self._problem(number, f"acts: {why}")
            return None

    def _problem(self, number: int, sentence: str) -> None:
        self.refused += 1
        if len(self.problems) < _KEPT:
            self.problems.append(f"line {number}: {sentence}")


def _check_columns(line: str, header: str) -> None:
    """Raises: ValueError where a line has not as many cells as its header."""
    if line.count(",") != header.count(","):
        raise ValueError(line)


def _refusal_of(
    wanted: WantedSensor, reason: str, sentence: str, payload: bytes, received: Instant
) -> Refusal:
    return Refusal(wanted.depot, wanted.sensor, received, reason, sentence, "", payload[:256])
