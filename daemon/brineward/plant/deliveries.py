"""Salt that people recorded as delivered: which of their records count, and what was left after.

Mutable, but pure. A correction takes the place of the record that it names, whichever that is, and
a struck delivery never came. Records are identified by the numbers that people call them by.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from brineward.plant.tracker import shifted
from brineward.readings.by_hand import SaltDelivered
from brineward.readings.entries import HandRecord
from brineward.readings.instants import Instant

PURE = 0.96
"""Of what is weighed so much becomes brine's salt; the rest is water and dirt (95 to 98 %, common
practice, no source)."""
KEPT = 40
"""How many deliveries and corrections are remembered: more than a season has. An older one was used
up long ago, and correcting it changes nothing of what is left."""


class _Place(NamedTuple):
    """A record and all that corrected it: only the last of them counts."""

    numbers: tuple[int, ...]
    """Of all of them, the last one last."""
    salt_kg: float
    """What it brought; 0 where it is struck, or no delivery (any more)."""
    at: Instant
    """When that came."""
    used_kg: float
    """What had been used since the beginning by then."""
    said_at: Instant
    """The same time as its record says it, by the clock as it was then."""


class Left(NamedTuple):
    """What was left when salt was delivered last, with it."""

    salt_kg: float
    used_kg: float
    """What had been used since the beginning by then."""
    at: Instant


class Deliveries:
    """The deliveries of one hopper, in the order in which they were recorded."""

    def __init__(self, holds_kg: float) -> None:
        self._holds_kg = holds_kg
        """The salt that fits into the hopper."""
        self._first = 0
        """The number of the first record that all are known from; 0 before any."""
        self._places: list[_Place] = []

    def recorded(
        self, number: int, entry: HandRecord, used_kg_at: Callable[[Instant], float]
    ) -> bool:
        """Take the record of this number, from 1; does it change what was delivered?

        `used_kg_at` says what had been used since the beginning by a time, kg.
        """
        self._first = self._first or number
        said = entry.record
        salt_kg = round(said.mass_kg * PURE, 3) if isinstance(said, SaltDelivered) else 0.0
        if not 0 < entry.corrects < number:
            if not salt_kg:
                return False
            self._keep(_Place((number,), salt_kg, entry.at, used_kg_at(entry.at), entry.at))
            return True
        for index, was in enumerate(self._places):
            if entry.corrects in was.numbers:
                numbers = (*was.numbers, number)
                if entry.at in (was.said_at, entry.time) and was.salt_kg > 0.0:
                    found = was._replace(numbers=numbers, salt_kg=salt_kg)
                else:
                    found = _Place(numbers, salt_kg, entry.at, used_kg_at(entry.at), entry.at)
                self._places[index] = found
                return bool(salt_kg or was.salt_kg)
        if entry.corrects < self._first:
            return False
        # It was no delivery until now.
        numbers = (entry.corrects, number)
        self._keep(_Place(numbers, salt_kg, entry.at, used_kg_at(entry.at), entry.at))
        return salt_kg > 0.0

    def _keep(self, place: _Place) -> None:
        self._places.append(place)
        while len(self._places) > KEPT:
            dropped = self._places.pop(0)
            self._first = max(self._first, dropped.numbers[0] + 1)

    def left(self) -> Left | None:
        """What was left after the last one that counts; None where none does."""
        left: Left | None = None
        counting = [one for one in self._places if one.salt_kg > 0.0]
        for one in sorted(counting, key=lambda one: (one.used_kg, one.at, one.numbers)):
            before = 0.0 if left is None else left.salt_kg - (one.used_kg - left.used_kg)
            before = max(0.0, before)
            # What doesn't fit lies on a pile, unless all of it went into the hopper.
            room = max(self._holds_kg, before, one.salt_kg)
            left = Left(round(min(before + one.salt_kg, room), 3), one.used_kg, one.at)
        return left

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self._places = [one._replace(at=shifted(one.at, by)) for one in self._places]

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._first, [[list(one.numbers), *one[1:]] for one in self._places]]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        first, places = data
        self._places = [
            _Place(
                tuple(map(int, numbers)),
                float(salt),
                int(at),
                float(used),
                int(said_at[0] if said_at else at),  # older snapshots have none
            )
            for numbers, salt, at, used, *said_at in places
        ]
        self._first = int(first)
