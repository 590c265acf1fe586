"""Strengths seen before a test by hand corrected the probe, as it would show them now.

A batch is computed from the salt before and after it. If there is a test between the two, they were
measured with different corrections: a tank at 24 % that the test corrects to 22 % would seem to
have lost salt. Pure but for what it remembers.
"""

from typing import Any

from brineward.physics.conductivity import conductivity
from brineward.physics.salinity import NotBrine, mass_fraction_from_conductivity
from brineward.plant.seen_strength import Seen
from brineward.plant.strengths import StrengthTracker
from brineward.readings.instants import MINUTE, Instant

LONGEST = 30 * MINUTE
"""A probe that shows nothing for so long after a test says nothing of what was before it."""


class Relearned:
    """Watches one probe for tests, and says by how much its strengths have shifted."""

    def __init__(self, strength: StrengthTracker | None) -> None:
        self._strength = strength
        self._tests: list[Any] | None = None
        """When the probe's tests were made, and what became of them; None before the first look."""
        self.since: Instant = 0
        """When the last of them was learned."""
        self.waits = False
        """Was a test learned, and is what the probe shows since not known yet?"""

    def look(self, time: Instant, before: Seen) -> float | None:
        """The factor by which a test has raised the probe's conductivity; None if there was none.

        `before` is what was seen last.
        """
        if self._strength is None:
            return None
        tests = [[record.at, record.finding] for record in self._strength.probe.records]
        if tests != self._tests:
            known, self._tests = self._tests is not None, tests
            if known:
                self.since, self.waits = time, True
        if not self.waits:
            return None
        shown = self._strength.lately.middle_since(self.since)
        if shown is None:
            self.waits = time - self.since < LONGEST
            return None
        self.waits = False
        if before.mass_fraction is None:
            return None
        try:
            was = conductivity(before.mass_fraction, before.warmth)
            return round(conductivity(shown.mass_fraction, before.warmth) / was, 6)
        except NotBrine:
            return None

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._tests, self.since, self.waits]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._tests, self.since, self.waits = data


def as_shown_now(seen: Seen, factor: float) -> Seen:
    """What was seen, as the probe shows it with its conductivity multiplied by `factor`."""

    def shown(strength: float | None) -> float | None:
        if strength is None:
            return None
        try:
            read = conductivity(strength, seen.warmth) * factor
            return round(mass_fraction_from_conductivity(read, seen.warmth), 6)
        except NotBrine:
            return strength

    return Seen(shown(seen.mass_fraction), shown(seen.low), shown(seen.high), seen.temperature_c)
