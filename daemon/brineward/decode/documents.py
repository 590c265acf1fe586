"""JSON documents: parsed fast, and checked again only if a key might be there twice."""

import json
from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

import orjson

from brineward.decode.refusals import UnreadablePayload, quoted

MISSING: Final = object()
"""What `found_at` returns where a path leads nowhere: null is a value, absence is not."""


def parse(payload: bytes) -> Any:
    """The JSON document in a payload. NaN is none. Raises: UnreadablePayload."""
    try:
        return orjson.loads(payload)
    except orjson.JSONDecodeError as mistake:
        raise UnreadablePayload(
            "not-json", f"{quoted(payload)} is no JSON ({mistake.msg}); expected a JSON document"
        ) from None


def found_at(document: Any, path: Sequence[str]) -> Any:
    """The value under the keys of a path, or MISSING; a place in an array counts from 0."""
    for key in path:
        document = step_into(document, key)
        if document is MISSING:
            return MISSING
    return document


def step_into(document: Any, key: str) -> Any:
    """The value under one key of an object, or at one place of an array; else MISSING."""
    if isinstance(document, dict):
        return document.get(key, MISSING)
    # A place is at most four digits: no array of a payload is longer.
    if isinstance(document, list) and len(key) <= 4 and key.isascii() and key.isdigit():
        place = int(key)
        return document[place] if place < len(document) else MISSING
    return MISSING


class _Pairs(dict[str, Any]):
    """An object that knows which of its keys stood twice."""

    twice: frozenset[str] = frozenset()


def _remembering(pairs: list[tuple[str, Any]]) -> _Pairs:
    made = _Pairs(pairs)
    if len(made) != len(pairs):
        counts = Counter(key for key, _ in pairs)
        made.twice = frozenset(key for key, count in counts.items() if count > 1)
    return made


def remembering_twice(payload: bytes) -> Any:
    """The same document, whose objects remember which of their keys appeared twice.

    Raises: UnreadablePayload if it is nested too deep to be read.
    """
    try:
        return json.loads(payload, object_pairs_hook=_remembering)
    except RecursionError:
        raise UnreadablePayload(
            "too-deep", "the JSON is nested too deep; expected a flat object"
        ) from None


def refuse_twice(document: Any, path: Sequence[str]) -> None:
    """Refuse a document from `remembering_twice` in which a key of the path appears twice."""
    for key in path:
        if isinstance(document, _Pairs) and key in document.twice:
            raise UnreadablePayload(
                "key-twice", f"the key {quoted(key)} appears twice; expected it once"
            )
        document = step_into(document, key)


def twice_in_records(payload: bytes) -> str | None:
    """The first key that appears twice in an object of a JSON array, or None."""
    for record in remembering_twice(payload):
        if isinstance(record, _Pairs) and record.twice:
            return min(record.twice)
    return None
