"""From version 3 of the tables to the current one: older rows rewritten as this version has them.

In version 3, acts were one type with loose fields, episodes and texts were JSON bodies, and numbers
were part of ids.
"""

import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, Literal

import orjson

from brineward.decode.hand_tests import hand_test
from brineward.journal import bodies
from brineward.readings.entries import Act, Answer, Delivery, Entry, Take

_OPTED: dict[str, Literal["", "out", "in"]] = {"opted out": "out"}


def retold(db: sqlite3.Connection) -> None:
    """Rewrite the rows; one that can't be read is set aside, with why, and costs itself alone."""
    for table in ("happening", "inbox"):
        _retell(db, table, "act", _act, _entry_row)
        _retell(db, table, "delivery", lambda parts: _delivery(db, parts), _entry_row)
    _retell(db, "output", "text", _text_due, lambda text: ("text", bodies.output_body(text)))
    _number(db)
    _episodes(db)


def _retell(
    db: sqlite3.Connection,
    table: str,
    kind: str,
    made: Callable[[dict[str, Any]], Any],
    row_of: Callable[[Any], tuple[str, str]],
) -> None:
    key = {"happening": "seq", "inbox": "id", "output": "place"}[table]
    select = f"SELECT {key}, body FROM {table} WHERE kind = ?"  # noqa: S608 - our own table names
    for number, body in db.execute(select, (kind,)).fetchall():
        try:
            new = row_of(made(orjson.loads(body)))
        except (ValueError, KeyError, TypeError, AttributeError) as why:
            _set_aside(db, table, key, number, str(why))
        else:
            update = f"UPDATE {table} SET kind = ?, body = ? WHERE {key} = ?"  # noqa: S608 - our own table names
            db.execute(update, (*new, number))


def _set_aside(db: sqlite3.Connection, table: str, key: str, number: int, why: str) -> None:
    moved = f"""INSERT INTO set_aside (source, kind, body, why)
        SELECT ?, kind, body, ? FROM {table} WHERE {key} = ?"""  # noqa: S608 - as above
    db.execute(moved, (table, why, number))
    db.execute(f"DELETE FROM {table} WHERE {key} = ?", (number,))  # noqa: S608 - as above


def _entry_row(entry: Entry) -> tuple[str, str]:
    return bodies.entry_kind(entry), bodies.entry_body(entry)


def _act(parts: dict[str, Any]) -> Act:
    """Raises: ValueError, KeyError, TypeError where it is no act."""
    fields = dict(parts["fields"])
    depot, time, received = str(parts["depot"]), int(parts["time"]), int(parts["received"])
    match parts["act"]:
        case "take":
            number = int(fields["number"])
            by = str(fields.get("by", ""))
            return Take(depot=depot, time=time, received=received, number=number, by=by)
        case "answer":
            return Answer(
                depot=depot,
                time=time,
                received=received,
                person=str(fields["person"]),
                body=str(fields.get("body", "")),
                opted=_OPTED.get(str(fields.get("kind", "")), ""),
            )
        case "test":
            return replace(hand_test(fields, depot=depot, now=time), received=received)
        case other:
            raise ValueError(f"{str(other)[:40]!r} is not an act; expected take, test or answer")


def _delivery(db: sqlite3.Connection, parts: dict[str, Any]) -> Delivery:
    """With the number and the person of its text, which stood in the text's own row."""
    row = db.execute("SELECT number, person FROM text WHERE id = ?", (parts["text"],)).fetchone()
    number, person = (0, "") if row is None else row
    return Delivery(**parts | {"number": number, "person": person})


def _text_due(parts: dict[str, Any]) -> bodies.Concluded:
    parts["kind"] = "cleared" if parts["kind"] == "over" else parts["kind"]
    parts["notice"] = {"kind": parts["kind"], "plain": parts.pop("body")}
    return bodies.output_from("text", orjson.dumps(parts).decode())


def _number(db: sqlite3.Connection) -> None:
    """The numbers that each depot has given: this once, those of letters from their ids."""
    given: dict[str, list[int]] = {}
    for depot, body in db.execute("SELECT depot, body FROM output WHERE kind = 'alarm'").fetchall():
        pair = given.setdefault(depot, [0, 0])
        pair[0] = max(pair[0], _number_of(body))
    for depot, id_ in db.execute("SELECT depot, id FROM text WHERE number = 0").fetchall():
        pair = given.setdefault(depot, [0, 0])
        pair[1] = max(pair[1], _count_in(id_.removeprefix(f"{depot}-0-")))
    db.executemany(
        "INSERT INTO given VALUES (?, ?, ?)", [(depot, *pair) for depot, pair in given.items()]
    )


def _number_of(body: str) -> int:
    try:
        return int(orjson.loads(body)["number"])
    except (ValueError, KeyError, TypeError):
        return 0


def _count_in(rest: str) -> int:
    """The count in `<kind>-<count>-<person>`; 0 where there is none."""
    parts = rest.split("-")
    return int(parts[1]) if len(parts) > 2 and parts[1].isdecimal() else 0


def _episodes(db: sqlite3.Connection) -> None:
    """Out of their JSON bodies, each change in the place that it had."""
    select = "SELECT place, depot, time, body FROM output WHERE kind = 'episode' ORDER BY place"
    for place, depot, time, body in db.execute(select).fetchall():
        try:
            parts = orjson.loads(body)
            which = (depot, parts["episode"], parts["source"], int(parts["began"]))
            known = (parts["ended"], parts["amount_m3"])
            _keep_change(db, place, time, which, known)
        except (ValueError, KeyError, TypeError) as why:
            _set_aside(db, "output", "place", place, str(why))
    db.execute("DELETE FROM output WHERE kind = 'episode'")


def _keep_change(
    db: sqlite3.Connection, place: int, time: int, which: Iterable[Any], known: tuple[Any, Any]
) -> None:
    number = db.execute(
        "INSERT INTO episode (depot, episode, source, began, ended, amount_m3)"
        " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (depot, episode, source, began) DO UPDATE SET"
        " ended = coalesce(excluded.ended, ended),"
        " amount_m3 = coalesce(excluded.amount_m3, amount_m3) RETURNING id",
        (*which, *known),
    ).fetchone()[0]
    db.execute(
        "INSERT INTO episode_change (place, episode, time, ended, amount_m3)"
        " VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (place, number, time, *known),
    )
