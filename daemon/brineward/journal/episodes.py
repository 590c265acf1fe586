"""Episodes in their table: what the plant did, from when to when, with its figures.

Each change is kept in its place among the outputs, so that a replay gives exactly what was
concluded; the episode itself holds what was known last.
"""

import sqlite3
from collections.abc import Sequence
from typing import Any, Final

from brineward.readings.outputs import EpisodeChanged

FIGURES: Final = (
    "amount_m3",
    "amount_uncertainty_m3",
    "mass_fraction",
    "low_95",
    "high_95",
    "temperature_c",
    "salt_kg",
    "water_m3",
    "how",
)
"""Fields of `EpisodeChanged` that are columns too, of both tables.

To add one: a field of `EpisodeChanged` that is None by default, its name here, and a step in
`schema.MIGRATIONS` that adds the column to `episode` and to `episode_change`.
"""

_NAMES = ", ".join(("ended", *FIGURES))
_MARKS = ", ".join("?" * (1 + len(FIGURES)))
_LATEST = ", ".join(f"{name} = coalesce(excluded.{name}, {name})" for name in ("ended", *FIGURES))

_UPSERT: Final = (
    f"INSERT INTO episode (depot, episode, source, began, {_NAMES}) VALUES (?, ?, ?, ?, {_MARKS})"  # noqa: S608 - our own column names
    f" ON CONFLICT (depot, episode, source, began) DO UPDATE SET {_LATEST} RETURNING id"
)
_INSERT_CHANGE: Final = (
    f"INSERT INTO episode_change (place, episode, time, {_NAMES}) VALUES (?, ?, ?, {_MARKS})"  # noqa: S608 - as above
    " ON CONFLICT DO NOTHING"
)
_HELD: Final = """SELECT 1 FROM episode_change AS change JOIN episode ON episode.id = change.episode
    WHERE depot = ? AND episode.episode = ? AND source = ? AND began = ? AND change.time = ?
    AND change.ended IS ?"""
_FIGURES_OF_CHANGE = "".join(f", change.{name}" for name in FIGURES)
BETWEEN: Final = f"""SELECT place, change.time, depot, episode.episode, source, began, change.ended
    {_FIGURES_OF_CHANGE}
    FROM episode_change AS change JOIN episode ON episode.id = change.episode
    WHERE place BETWEEN ? AND ? ORDER BY place"""  # noqa: S608 - as above
"""Selects the changes between two places, as `change_from` takes them."""


def store_change(db: sqlite3.Connection, place: int, output: EpisodeChanged) -> None:
    """Keep a change of an episode, inside a write transaction; one that is held changes nothing."""
    which = (output.depot, output.episode, output.source, output.began)
    known = (output.ended, *(getattr(output, name) for name in FIGURES))
    number = db.execute(_UPSERT, (*which, *known)).fetchone()[0]
    db.execute(_INSERT_CHANGE, (place, number, output.time, *known))


def is_held(db: sqlite3.Connection, output: EpisodeChanged) -> bool:
    """Is this change kept already?"""
    which = (output.depot, output.episode, output.source, output.began, output.time, output.ended)
    return db.execute(_HELD, which).fetchone() is not None


def change_from(row: Sequence[Any]) -> EpisodeChanged:
    """The change of a row that `BETWEEN` selected."""
    _, time, depot, episode, source, began, ended, *figures = row
    return EpisodeChanged(
        time=time,
        depot=depot,
        episode=episode,
        source=source,
        began=began,
        ended=ended,
        **dict(zip(FIGURES, figures, strict=True)),
    )
