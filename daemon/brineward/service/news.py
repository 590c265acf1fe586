"""Telling repeats from news, where the engine by itself could not.

A broker sends again what was not acknowledged, a gateway what was not confirmed to it. The engine
passes over a reading that is no newer than the last of its sensor. A reading from a clock that is
ahead is judged by its arrival, and a repeat of it arrives later; one that is long past is judged
by how long such have been coming. Those are looked up in the journal: what changes nothing there
must change nothing in the engine either, or a replay would differ from the live run.
"""

from collections.abc import Sequence

from brineward.journal.journal import Journal
from brineward.readings.entries import Entry
from brineward.readings.instants import MINUTE
from brineward.readings.values import Reading

_LONG_PAST = MINUTE


def only_news(entries: Sequence[Entry], journal: Journal) -> list[Entry]:
    """The entries without repeats that the engine would take for news."""
    seen: set[tuple[str, str, int, float | None]] = set()
    news: list[Entry] = []
    for entry in entries:
        if isinstance(entry, Reading) and not 0 <= entry.received - entry.time <= _LONG_PAST:
            key = (entry.depot, entry.sensor, entry.time, entry.value)
            if key in seen or journal.holds(entry):
                continue
            seen.add(key)
        news.append(entry)
    return news
