"""A valve's switch that goes on saying open, where the valve is shut after each load.

Mutable, but pure. A switch that is stuck at open agrees with every load, and nothing that is
measured contradicts it; only its own habit does. It is stuck then, or the valve was left open.
Where a crew leaves its valve open as it likes, there is no habit, and this says nothing.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.contradicted_switches import SwitchWatch
from brineward.plant.mode import ModeTracker
from brineward.plant.pump_signs import PumpSigns
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Taker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Output

STAYS_OPEN = "says open, 6 h after loading"

LONG = 6 * HOUR
"""For so long the pump stands with the valve open before that is asked about: a crew that comes
back for the next truck may leave it open for a while (common practice, no source)."""

HABIT = 5
"""After so many loads in a row it was shut before `LONG` (common practice, no source)."""

_LOADS = frozenset({Mode.IN_SERVICE, Mode.STORM_WATCH})


class LeftOpenTracker(SwitchWatch):
    """One valve's switch, beside the switch of the pump that delivers through it."""

    version = 1

    def __init__(self, pump: PumpTracker, switch: SensorTracker, mode: ModeTracker) -> None:
        takes: dict[str, Taker] = {pump.switch.plan.id: self._look}
        super().__init__(f"left-open/{pump.pump.id}/{switch.plan.at}", switch, takes)
        self._pump, self._mode = pump, mode
        self._shut_after = 0
        """After how many loads in a row it was shut in good time, up to `HABIT`."""
        self._loaded = False
        """Has the pump run since it was last shut?"""
        self._stood: Instant = 0
        """For how long the pump is known to have stood since it last ran, the valve said to be
        open."""
        self._looked: Instant = 0

    def _said(self, time: Instant, value: float) -> Sequence[Output]:
        self._look(time, value)
        if self._value == 1.0 and value == 0.0:
            self._closes()
        return super()._said(time, value)

    def _closes(self) -> None:
        if self._stood >= LONG:
            self._shut_after = 0
        elif self._loaded:
            self._shut_after = min(HABIT, self._shut_after + 1)
        self._loaded = False

    def _forget(self) -> None:
        self._stood = 0

    def _look(self, time: Instant, value: float) -> Sequence[Output]:
        last, self._looked = self._looked, time
        if self._pump.running:
            self._loaded, self._stood = True, 0
        elif self._value == 1.0 and self._stood_since(last, time):
            self._stood += time - last
        if self._stood >= LONG and self._shut_after >= HABIT and not self.switch.contradicted:
            self.switch.contradict(STAYS_OPEN)
        return ()

    def _stood_since(self, last: Instant, now: Instant) -> bool:
        """Is the pump known to have stood from `last` to now, in a mode in which people load?"""
        unseen = now - last > self._pump.switch.silent_after or not self.switch.fresh(now)
        return self._mode.mode in _LOADS and not unseen and self._pump.stood(last, now)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._value, self._shut_after, self._loaded, self._stood, self._looked]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._value, shut_after, loaded, stood, looked = data
        # Numbers, or it begins afresh: they are counted on with.
        self._shut_after, self._stood, self._looked = int(shut_after), int(stood), int(looked)
        self._loaded = bool(loaded)


def left_open_trackers(signs: PumpSigns, mode: ModeTracker) -> list[LeftOpenTracker]:
    """One for each switch of the valves that a pump delivers through."""
    return [LeftOpenTracker(signs.pump, switch, mode) for switch in signs.valves]
