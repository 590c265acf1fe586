"""JSON documents: parsed fast, and looked at again only where a key may stand twice."""

import json
from collections.abc import Sequence
from typing import Any, Final

import orjson

from brineward.decode.refusals import Refused, quoted

MISSING: Final = object()
"""What `found_at` returns where a path leads nowhere: null is a value, absence is not."""


def parse(payload: bytes) -> Any:
    """The JSON document in a payload. Raises: Refused; NaN and infinities are not JSON."""
    try:
        return orjson.loads(payload)
    except orjson.JSONDecodeError as mistake:
        raise Refused(
            "not-json", f"{quoted(payload)} is no JSON ({mistake.msg}); expected a JSON document"
        ) from None


def found_at(document: Any, path: Sequence[str]) -> Any:
    """What stands under the keys of a path, or MISSING."""
    for key in path:
        if not isinstance(document, dict) or key not in document:
            return MISSING
        document = document[key]
    return document


class _Pairs(dict[str, Any]):
    """An object that knows which of its keys stood twice."""

    twice: frozenset[str] = frozenset()


def _remembering(pairs: list[tuple[str, Any]]) -> _Pairs:
    made = _Pairs(pairs)
    if len(made) != len(pairs):
        keys = [key for key, _ in pairs]
        made.twice = frozenset(key for key in keys if keys.count(key) > 1)
    return made


def remembering_twice(payload: bytes) -> Any:
    """The same document, its objects remembering which of their keys stood twice.

    Raises: Refused where it is nested too deep to look at.
    """
    try:
        return json.loads(payload, object_pairs_hook=_remembering)
    except RecursionError:
        raise Refused("too-deep", "the JSON is nested too deep; expected a flat object") from None


def refuse_twice(document: Any, path: Sequence[str]) -> None:
    """Refuse a document from `remembering_twice` in which a key of the path stands twice."""
    for key in path:
        if not isinstance(document, _Pairs):
            return
        if key in document.twice:
            raise Refused("key-twice", f"the key {quoted(key)} stands twice; expected it once")
        document = document.get(key)


def twice_in_records(payload: bytes) -> str | None:
    """The first key that stands twice in an object of a JSON array, or None."""
    for record in remembering_twice(payload):
        if isinstance(record, _Pairs) and record.twice:
            return min(record.twice)
    return None
