"""Units: what they are called, what they measure, and how they turn into SI."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One unit; SI value = `factor` * number + `offset`."""

    name: str
    quantity: str
    factor: float = 1.0
    offset: float = 0.0

    def to_si(self, number: float) -> float:
        """The number in this unit as SI."""
        return self.factor * number + self.offset

    def from_si(self, value: float) -> float:
        """The SI value as a number in this unit."""
        return (value - self.offset) / self.factor
