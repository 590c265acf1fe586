"""What is being worked on, written down so that a message that ends the service can be identified.

A message that ends the process is not acknowledged, so the broker sends it again, and it would end
every run. So a small file beside the journal says, while messages are being read and judged, that
this is going on; a run that finds it like that knows how the last one ended. After the second such
end, messages are read and judged one at a time, and the one that was being processed at the next
end is set aside. The file says so for only a few milliseconds in each batch: an end by other causes
hardly ever falls into them, and never three times.

It also says how far the journal reached, to detect a journal that has lost its end without a
trace.
"""

import contextlib
import hashlib
import logging
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import orjson

from brineward.clock import Clock
from brineward.config.settings import SensorSource
from brineward.journal.opening import open_for_owner
from brineward.link.messages import Message
from brineward.readings.instants import DAY, Instant
from brineward.readings.values import Refusal

_LOG = logging.getLogger(__name__)

ENDS: Final = 2
"""After so many ends in the middle of a batch messages are taken one at a time."""

WELL_SECONDS: Final = 600.0
"""A run that lasts so long is past it; common practice, no source."""

_ASIDE_FOR: Final = DAY
"""The same bytes on the same topic are refused for so long: a sensor may send them again."""
_MOST_ASIDE: Final = 20
_FILE_BYTES: Final = 4_096
_KEPT_BYTES: Final = 256
_BATCH: Final = "batch"
_ENDING: Final = ".under-way"


class UnderWay:
    """The file `NAME.under-way` beside a journal, of one size and written in place: a full disk
    takes it too. Not written through: it is for ends of the process, not of the machine."""

    def __init__(self, journal: Path, clock: Clock, sources: Iterable[SensorSource] = ()) -> None:
        self._clock = clock
        self._sensors: dict[str, list[tuple[str, str]]] = {}
        for source in sources:
            self._sensors.setdefault(source.topic, []).append((source.depot, source.sensor))
        self._began = clock.monotonic_seconds()
        self._file = _opened(journal.with_name(journal.name + _ENDING))
        kept = _read(self._file)
        self._ends = int(kept.get("ends", 0))
        self._aside: dict[str, Instant] = dict(kept.get("aside", {}))
        self.recorded = int(kept.get("recorded", 0))
        """The number of the last entry that was committed to the journal, as the last run noted
        it: one that ends before it has lost what was in it. Noted with the next batch."""
        self._begun = False
        self._count(str(kept.get("now", "")))

    @property
    def one_at_a_time(self) -> bool:
        """Must each message be worked on alone?"""
        if self._ends and self._clock.monotonic_seconds() - self._began >= WELL_SECONDS:
            self._ends = 0
        return self._ends >= ENDS

    def begin(self, messages: list[Message]) -> None:
        """These are read and judged from now on."""
        if messages:
            self._begun = True
            self._write(_mark(messages[0]) if self.one_at_a_time else _BATCH)

    def end(self) -> None:
        """What was begun has been read and judged; nothing is written where nothing was begun."""
        if self._begun:
            self._begun = False
            self._write("")

    def close(self) -> None:
        """The run ends as it should."""
        self._ends = 0
        self._write("")
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def refusals(self, message: Message) -> list[Refusal]:
        """Why a message is set aside, for each sensor of its topic; none where it is not."""
        if not self._aside or _mark(message) not in self._aside:
            return []
        sensors = self._sensors.get(message.topic, [("", "")])
        return [_refusal(message, depot, sensor) for depot, sensor in sensors]

    def _count(self, was: str) -> None:
        now = self._clock.now()
        self._aside = {m: at for m, at in self._aside.items() if abs(now - at) < _ASIDE_FOR}
        if was:
            self._ends += 1
            _LOG.warning("the last run ended in the middle of a batch, the %dth time", self._ends)
        if was and was != _BATCH:
            _LOG.error("the message being processed then is set aside")
            self._aside[was] = now
            self._aside = dict(list(self._aside.items())[-_MOST_ASIDE:])
        if self.one_at_a_time:
            _LOG.warning("messages are read one at a time, to find the one that ends the service")
        self._write("")

    def _write(self, now: str) -> None:
        if self._file is None:
            return
        kept = {
            "now": now,
            "ends": self._ends,
            "aside": self._aside,
            "recorded": self.recorded,
        }
        with contextlib.suppress(OSError):
            os.pwrite(self._file, orjson.dumps(kept).ljust(_FILE_BYTES), 0)


def forget(journal: Path) -> None:
    """What was noted beside a journal that another is put in the place of."""
    journal.with_name(journal.name + _ENDING).unlink(missing_ok=True)


def _refusal(message: Message, depot: str, sensor: str) -> Refusal:
    topic = message.topic[:_KEPT_BYTES]
    sentence = (
        f"a message on the topic {topic!r} has ended the service again and again, and is set aside"
        " unread; expected a reading that can be judged: send these bytes to whoever looks after"
        " brineward"
    )
    return Refusal(
        depot, sensor, message.received, "set-aside", sentence, topic, message.payload[:_KEPT_BYTES]
    )


def _mark(message: Message) -> str:
    named = message.topic.encode("utf-8", "replace") + b"\0" + message.payload
    return hashlib.blake2b(named, digest_size=16).hexdigest()


def _opened(path: Path) -> int | None:
    try:
        return open_for_owner(path, os.O_RDWR)
    except OSError as why:
        _LOG.error(
            "%s can't be opened: a message that ends the service can't be identified (%s)",
            path,
            why,
        )
        return None


def _read(file: int | None) -> dict[str, Any]:
    """What the last run left; nothing where that can't be read."""
    if file is None:
        return {}
    try:
        kept = orjson.loads(os.pread(file, _FILE_BYTES, 0))
        return {
            "now": str(kept["now"]),
            "ends": int(kept["ends"]),
            "recorded": int(kept.get("recorded", 0)),
            "aside": {str(mark): int(at) for mark, at in kept["aside"].items()},
        }
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}
