"""The one refusal of this package: what was measured is no brine that can be given a strength."""

from typing import Literal

Reason = Literal["not-brine", "above-saturation", "slush", "probe-dry", "out-of-range"]
"""Stable codes: alarms and the journal keep them."""


class NotBrine(ValueError):
    """What was measured cannot be sodium chloride brine in the range that is known.

    `reason` is a stable code; the text is one plain sentence for whoever must look at it.
    """

    def __init__(self, reason: Reason, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason
        self.sentence = sentence
