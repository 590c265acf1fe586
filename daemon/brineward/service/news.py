"""Distinguishes repeats from new readings where the engine alone could not.

A broker sends again what was not acknowledged, a gateway what was not confirmed to it. The engine
passes over a reading that is no newer than the last of its sensor. A reading from a clock that is
ahead is judged by its arrival, and a repeat of it arrives later; one with a time long past is
judged by how long such readings have been arriving. Those are looked up in the journal: what
changes nothing there must change nothing in the engine either, or a replay would differ from the
live run.
"""

from collections.abc import Callable, Sequence

from brineward.readings.entries import Entry
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.values import Reading

_LONG_PAST = MINUTE
"""Older than this against the engine's time, a reading may be judged as late."""


_Key = tuple[str, str, int, float | None]


def same(reading: Reading, entry: Entry) -> bool:
    """Is an entry this reading, come twice?"""
    return isinstance(entry, Reading) and _key(entry) == _key(reading)


def only_news(
    entries: Sequence[Entry], holds: Callable[[Reading], bool], now: Instant
) -> list[Entry]:
    """The entries without repeats that the engine, whose time is `now`, would take for news.

    `holds` says whether a reading is kept already. Raises what `holds` raises.
    """
    oldest = now - _LONG_PAST
    seen: set[_Key] = set()
    news: list[Entry] = []
    for entry in entries:
        if isinstance(entry, Reading) and not oldest <= entry.time <= entry.received:
            key = _key(entry)
            if key in seen or holds(entry):
                continue
            seen.add(key)
        news.append(entry)
    return news


def _key(reading: Reading) -> _Key:
    return (reading.depot, reading.sensor, reading.time, reading.value)
