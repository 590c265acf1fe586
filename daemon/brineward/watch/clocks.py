"""Whether the clocks of sensors and gateways, and this machine's own, can be trusted."""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, Instant

TRUSTED_AFTER = 5 * MINUTE
"""How long after its last wrong time a clock is trusted again."""


class ClockTracker(Tracker):
    """A clock, or all clocks of one kind: when one last showed itself wrong, and how."""

    lasting = True

    def __init__(self, whose: str) -> None:
        self.whose = whose
        self.name = f"clock/{whose}"
        self._doubted: Instant | None = None
        self._why = ""

    def doubt(self, why: str, now: Instant) -> None:
        """It has shown itself wrong."""
        self._doubted, self._why = now, why

    def wrong(self, now: Instant) -> str:
        """How it is wrong; empty while it is trusted."""
        trusted = self.trusted_at
        return self._why if trusted is not None and now < trusted else ""

    @property
    def trusted_at(self) -> Instant | None:
        """When it is trusted again, should nothing come; None where it was never doubted."""
        return None if self._doubted is None else self._doubted + TRUSTED_AFTER

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        if self._doubted is not None:
            self._doubted += by

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._doubted, self._why]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._doubted, self._why = data
