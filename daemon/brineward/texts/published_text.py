"""A received text as a phone gateway publishes it: JSON, pinned; or refused with a sentence."""

from dataclasses import dataclass
from typing import Final

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from brineward.readings.instants import SECOND, Instant
from brineward.texts.reply_fields import Unreadable

LARGEST_BYTES: Final = 8192
"""A text of the longest sort with all its escapes, and what else a gateway may say of it."""

_EXPECTED: Final = {
    "from": "the sender's number as a text of up to 100 characters",
    "text": "what it says, as a text of up to 2000 characters",
    "id": "the message's own id as a text of up to 200 characters",
    "received": 'when it came, with its zone, such as "2026-01-20T03:14:00Z"',
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedText:
    """One text that somebody sent to the gateway's number."""

    sender: str
    text: str
    id: str
    """The gateway's own; the same each time that the message is published."""
    received: Instant
    """When the gateway got it."""


class _Fields(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)

    sender: str = Field(alias="from", min_length=1, max_length=100)
    text: str = Field(max_length=2000)
    id: str = Field(min_length=1, max_length=200)
    received: AwareDatetime


def received_text(payload: bytes) -> PublishedText:
    """What the gateway published. Fields of other names are passed over.

    Raises: Unreadable, with a sentence that quotes nothing of what people wrote.
    """
    if len(payload) > LARGEST_BYTES:
        raise Unreadable(f"it has {len(payload)} bytes, expected {LARGEST_BYTES} at most")
    try:
        found = _Fields.model_validate_json(payload)
    except ValidationError as wrong:
        place = wrong.errors(include_url=False, include_input=False, include_context=False)[0][
            "loc"
        ]
        field = str(place[0]) if place else ""
        if field not in _EXPECTED:
            raise Unreadable("it is not a JSON object with from, text, id and received") from None
        raise Unreadable(
            f"the field {field} is wrong or missing, expected {_EXPECTED[field]}"
        ) from None
    return PublishedText(
        sender=found.sender,
        text=found.text,
        id=found.id,
        received=round(found.received.timestamp() * SECOND),
    )
