"""Why a payload, or one sensor's share of it, was not accepted as a reading."""

from typing import Final

KEPT_BYTES: Final = 256
"""How much of a refused payload is kept."""


class UnreadablePayload(Exception):
    """A payload, or one sensor's share of it, can't be taken; the device must act."""

    def __init__(self, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason
        self.sentence = sentence


def quoted(what: object) -> str:
    """What came, short and safe to print: at most 40 characters, control characters escaped."""
    if isinstance(what, bytes):
        text = what[:41].decode("utf-8", "backslashreplace")
    elif isinstance(what, str):
        text = what
    elif isinstance(what, list):
        return "a list"
    elif isinstance(what, dict):
        return "an object"
    else:
        return _cut(ascii(what))
    return ascii(_cut(text))


def _cut(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
