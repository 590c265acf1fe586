"""The fields of a message that a gateway hands in: JSON or a form, bounded and checked."""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

_MOST_FIELDS = 200


class Unreadable(Exception):
    """The gateway hands in something else than the config says."""


def fields_of(content_type: str, body: bytes) -> dict[str, Any]:
    """The message's fields, from JSON or a form. Raises: Unreadable."""
    form = (
        content_type.split(";", maxsplit=1)[0].strip().lower()
        == "application/x-www-form-urlencoded"
    )
    try:
        if form:
            pairs = parse_qsl(
                body.decode("utf-8"), keep_blank_values=True, max_num_fields=_MOST_FIELDS
            )
            return dict(pairs)
        found = json.loads(body)
    except (ValueError, RecursionError):
        expected = "a form" if form else "a JSON object"
        raise Unreadable(f"the body is not {expected}") from None
    if not isinstance(found, dict):
        raise Unreadable("the body is not a JSON object")
    return found


def field_at(fields: Mapping[str, Any], key: str) -> str:
    """The field with this name, or at this dotted path. Raises: Unreadable."""
    found: Any = fields.get(key)
    if found is None and "." in key:
        found = fields
        for step in key.split("."):
            found = found.get(step) if isinstance(found, dict) else None
    if isinstance(found, int) and not isinstance(found, bool):
        found = str(found) if abs(found) < 10**30 else None
    if not isinstance(found, str):
        raise Unreadable(f"the field {key} is missing or no text")
    return found


def words_at(fields: Mapping[str, Any], key: str) -> str:
    """What a person wrote, found as `field_at` does, so that it can be recorded.

    JSON may spell half a character, as of a picture that was cut in two; UTF-8 does not have it.
    Raises: Unreadable.
    """
    written = field_at(fields, key)
    return written.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
