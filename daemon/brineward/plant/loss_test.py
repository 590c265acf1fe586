"""Is brine being lost, slowly? Page's sequential test on what a standing tank's level has lost.

Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115: what was lost, less a
background, is summed, and the sum starts again at zero wherever it would fall below. It is
Wald's sequential test of "no loss" against "twice the background", begun again each time that it
accepts "no loss" (Wald, "Sequential tests of statistical hypotheses", Ann. Math. Statist. 16
(1945) 117-186); where the sum last was nothing is its estimate of when the loss began.
"""

from typing import Any

from brineward.readings.instants import DAY, HOUR, Instant

BACKGROUND_M_PER_H = 0.2e-3
"""How fast a standing level may fall by itself: what evaporates through a vent, a plastic wall that
goes on giving way, a sensor that drifts (common practice, no source)."""

KEPT = 14 * DAY
"""Evidence fades over this time: what was seen a fortnight ago says nothing about now."""

_STEPS = 4
"""No single step counts for more than this share of the limit: a bucket drawn, or a sensor that
somebody moved, is no leak."""

_STEP_M = 1e-9
"""Evidence is rounded to this before it is compared, so that all processors agree."""


class LossTest:
    """The evidence for a loss, m of level, and once that is reported, for its end."""

    def __init__(self) -> None:
        self.evidence_m = 0.0
        self.since: Instant = 0
        """When the loss began, as far as the test shows: the evidence was last zero then."""
        self.fell_m = 0.0
        """How far the level has fallen since, temperature allowed for."""
        self.lost_m3 = 0.0
        self.stood_hours = 0.0
        """For how long since it was seen standing."""
        self.losing = False
        self._ended_m = 0.0
        """The evidence against its going on as fast as reported: half of that is the border."""
        self._told_m_per_h = 0.0
        self._last: Instant = 0

    def add(
        self, begin: Instant, end: Instant, loss_m: float, *, area_m2: float, limit: float
    ) -> None:
        """Take what a standing level has lost from `begin` to `end`; below 0: it has risen.

        `loss_m` in m with temperature allowed for, `area_m2` the surface's area there, `limit` in m
        what the evidence must pass. Times must rise.
        """
        hours = (end - begin) / HOUR
        loss = min(loss_m, limit / _STEPS)
        fade = max(0.0, 1.0 - (end - self._last) / KEPT) if self._last else 0.0
        self._last = end
        if not self.losing and self.evidence_m == 0.0:
            self._begin(begin)
        self.fell_m += loss_m
        self.lost_m3 += loss_m * area_m2
        self.stood_hours += hours
        evidence = self.evidence_m * fade + loss - BACKGROUND_M_PER_H * hours
        self.evidence_m = max(0.0, round(evidence / _STEP_M) * _STEP_M)
        if self.losing:
            # Whole: cut off, a fast loss would look slower than what was reported, and ended.
            self._seek_end(loss_m, hours, limit)
        elif self.evidence_m > limit:
            self.losing, self._ended_m = True, 0.0
            self._told_m_per_h = self.fell_m / self.stood_hours

    def _seek_end(self, loss_m: float, hours: float, limit: float) -> None:
        ended = self._ended_m + self._told_m_per_h / 2 * hours - loss_m
        self._ended_m = max(0.0, round(ended / _STEP_M) * _STEP_M)
        if self._ended_m > limit:
            self.forget()

    def forget(self) -> None:
        """Begin again: it has ended, or what was known no longer means anything."""
        self.losing, self.evidence_m, self._ended_m = False, 0.0, 0.0
        self._begin(0)

    def _begin(self, at: Instant) -> None:
        self.since, self.fell_m, self.lost_m3, self.stood_hours = at, 0.0, 0.0, 0.0

    @property
    def rate_m3_per_h(self) -> float:
        """How fast it is lost while the tank is at rest, m3/h."""
        return self.lost_m3 / self.stood_hours if self.stood_hours else 0.0

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        known = [self.evidence_m, self.since, self.fell_m, self.lost_m3, self.stood_hours]
        return [known, self.losing, self._ended_m, self._told_m_per_h, self._last]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        known, self.losing, self._ended_m, self._told_m_per_h, self._last = data
        self.evidence_m, self.since, self.fell_m, self.lost_m3, self.stood_hours = known


def smallest_found_m_per_h(limit_m: float, within_hours: float) -> float:
    """The slowest steady fall, m/h, whose evidence passes the limit within so long, above 0.

    With what fades away in the meantime: half of the time's share of `KEPT`, to first order.
    """
    share = within_hours * HOUR / KEPT
    counts = within_hours * max(0.25, 1.0 - share / 2)
    return BACKGROUND_M_PER_H + limit_m / counts
