"""Whether the plant plainly does otherwise than its mode says."""

from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal, NamedTuple

from brineward.plant.drained import drained_below_m
from brineward.plant.levels import LevelTracker
from brineward.plant.mode import ModeTracker
from brineward.plant.pumps import PumpTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import DAY, MINUTE, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Output

What = Literal["fills", "runs", "all-empty"]

FILLS_FOR: Final[Mapping[Mode, Instant]] = {Mode.LAID_UP: 10 * MINUTE, Mode.DRAINING: 30 * MINUTE}
"""How long a tank fills before that is clear: a tank that is being drained is flushed as well."""

RUNS_FOR: Final[Mapping[Mode, Instant]] = {Mode.LAID_UP: 5 * MINUTE, Mode.STANDING_BY: 10 * MINUTE}
"""How long a pump runs before it is more than a trial."""

EMPTY_FOR: Final = 2 * DAY
"""How long all tanks are empty before it is clear that nobody will fill them soon; all three are
common practice, no source."""

_FILLED = (Mode.IN_SERVICE, Mode.STORM_WATCH, Mode.STANDING_BY)
"""Modes of a depot that holds brine."""


class Doubt(NamedTuple):
    """What the plant does that does not fit its mode."""

    what: What
    source: str
    """The tank or pump; empty where it is all tanks."""
    since: Instant


class ModeFit(Tracker):
    """Finds one doubt a mode: after it has passed, nothing more is said until a mode is set."""

    name = "mode-fit"

    def __init__(
        self, mode: ModeTracker, levels: Sequence[LevelTracker], pumps: Sequence[PumpTracker]
    ) -> None:
        self._mode = mode
        self._levels = tuple(
            (level, drained_below_m(level.vessel)) for level in levels if level.vessel.holds_brine
        )
        self._pumps = tuple(pumps)
        sensors = [level.sensor for level, _ in self._levels]
        self.sensors = (*sensors, *(pump.switch for pump in pumps))
        """By whose readings it is found."""
        self.takes = {sensor.plan.id: self._take for sensor in self.sensors}
        self.doubt: Doubt | None = None
        self._asked = False
        """Was there a doubt in this mode already?"""
        self.of: Instant = 0
        """When the mode began that the doubt is about."""
        self._empty_since: Instant = 0
        """Since when all tanks have been empty; 0 while one is not, or is not known."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        mode = self._mode
        if mode.since != self.of:
            self.of, self._asked, self.doubt = mode.since, False, None
        self._weigh_empty(time)
        if self._asked and self.doubt is None:
            return ()
        self.doubt = self._doubt(time, mode.mode)
        self._asked = self._asked or self.doubt is not None
        return ()

    def _weigh_empty(self, time: Instant) -> None:
        for level, drained in self._levels:
            now = level.course.level
            if now is None or now > drained:
                self._empty_since = 0
                return
        if self._empty_since == 0:
            self._empty_since = time

    def _doubt(self, time: Instant, mode: Mode) -> Doubt | None:
        if mode in _FILLED and self._levels and self._lasts(self._empty_since, time, EMPTY_FOR):
            return Doubt("all-empty", "", self._empty_since)
        if mode in FILLS_FOR:
            for level, _ in self._levels:
                since = level.movement.since if level.movement.direction > 0 else 0
                if self._lasts(since, time, FILLS_FOR[mode]) and level.sensor.fresh(time):
                    return Doubt("fills", level.vessel.id, since)
        if mode in RUNS_FOR:
            for pump in self._pumps:
                since = pump.since if pump.running else 0
                if self._lasts(since, time, RUNS_FOR[mode]) and not pump.unknown(time):
                    return Doubt("runs", pump.pump.id, since)
        return None

    def _lasts(self, since: Instant, now: Instant, span: Instant) -> bool:
        """Has it been so for this long, and in this mode?"""
        return since > 0 and now - max(since, self.of) >= span

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        doubt = None if self.doubt is None else list(self.doubt)
        return [doubt, self._asked, self.of, self._empty_since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        doubt, self._asked, self.of, self._empty_since = data
        self.doubt = None if doubt is None else Doubt(*doubt)
