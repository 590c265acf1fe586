"""An alarm that comes and goes: how often it was raised lately, and its longer off-delay then."""

from typing import Any, Final

from brineward.readings.instants import HOUR, Instant

OFTEN: Final = 3
WITHIN: Final = HOUR
"""Raised this often within this time, an alarm comes and goes. Three in a minute is chattering for
an operator at a screen (ISA-18.2, from memory); for a phone it is an hour (common practice, no
source)."""

LINGERS_FOR: Final = HOUR
"""How much longer it must be clear before it clears; by then its raisings no longer count."""


class Chatter:
    """The last raisings of one alarm."""

    __slots__ = ("lingers", "raisings")

    def __init__(self) -> None:
        self.raisings: list[Instant] = []
        """When it was announced, the last few times."""
        self.lingers = False
        """Its off-delay has ended, and it is kept active since it may well come again."""

    def raised(self, now: Instant) -> None:
        """It was announced."""
        self.raisings = [*self.raisings[1 - OFTEN :], now]

    def often_since(self, now: Instant) -> Instant | None:
        """Since when it comes and goes; None where it doesn't."""
        few = len(self.raisings) < OFTEN or now - self.raisings[0] > WITHIN
        return None if few else self.raisings[0]

    def holds_on(self, now: Instant) -> bool:
        """Its off-delay has ended: must it wait longer?"""
        self.lingers = not self.lingers and self.often_since(now) is not None
        return self.lingers

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self.raisings = [one + by for one in self.raisings]

    def snapshot(self) -> list[Any]:
        """As plain data."""
        return [self.raisings, self.lingers]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.raisings, self.lingers = data
