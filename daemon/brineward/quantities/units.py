"""Units: their names, what they measure, and how they convert to SI."""

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

    def difference_to_si(self, number: float) -> float:
        """A difference or an uncertainty in this unit as SI: an offset of zero does not count."""
        return self.factor * number

    def difference_from_si(self, value: float) -> float:
        """A difference or an uncertainty in SI as a number in this unit."""
        return value / self.factor
