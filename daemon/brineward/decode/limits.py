"""How much of a payload is read, by its kind: in bytes, and in what it unfolds to.

The limits are common practice, no source: many times what a sensor sends, and low enough that no
payload can keep the service from reading the others.
"""

from typing import Final

from brineward.decode.refusals import UnreadablePayload

PLAIN_BYTES: Final = 256
"""A bare number or word."""

OBJECT_BYTES: Final = 16_384
"""A JSON object."""

OBJECT_VALUES: Final = 1_000
"""What stands in a JSON object, at any depth."""

PACK_BYTES: Final = 65_536
"""A SenML pack."""

PACK_VALUES: Final = 5_000
"""The labels of all records of a SenML pack, and the records."""

PACK_RECORDS: Final = 500
"""The records of one SenML pack."""

NAME_CHARACTERS: Final = 1_000
"""A SenML record's name, its base name before it."""

LONGEST_BYTES: Final = PACK_BYTES
"""A payload that is longer is none of any kind."""


def refuse_longer(payload: bytes, most: int, kind: str) -> None:
    """Refuse a payload of more than `most` bytes. Raises: UnreadablePayload."""
    if len(payload) > most:
        raise UnreadablePayload(
            "too-long", f"more than {most} bytes came; expected no more for {kind}"
        )


def refuse_more_values(payload: bytes, most: int, kind: str) -> None:
    """Refuse JSON of more than `most` values. Raises: UnreadablePayload.

    Counted in the bytes, before they are parsed: an empty object of three bytes takes 64 in
    memory. Signs inside of texts count too, which no sensor's payload has by the hundred.
    """
    if payload.count(b",") + payload.count(b"{") + payload.count(b"[") > most:
        raise UnreadablePayload(
            "too-many-values", f"more than {most} values came; expected no more for {kind}"
        )
