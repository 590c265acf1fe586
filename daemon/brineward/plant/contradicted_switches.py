"""A switch that other sensors show to be wrong: of a valve, or of a pump. Mutable, but pure.

A valve that is said to be shut while brine flows through its hose; a pump that is said to run
though its motor draws nothing and nothing comes of it; a pump that is said to be stopped though
its motor draws what it usually does, or brine flows as only a pump makes it. A level that falls
convicts no switch: it may be a leak. Nor does a valve that is said to be open while nothing flows:
that may be ice, or a hose end that is shut.

A switch is believed again once it changes, and also once it is shown to be right: a pump that is
said to run draws current again, as after a power cut; nothing flows from a pump that runs behind a
valve that is said to be shut.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.plan import DELIVERS_SHARE
from brineward.plant.pump_signs import NOTHING, STANDING_MARGIN_PA, PumpSigns
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Taker, Tracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Output

SAYS_SHUT = "says shut, yet brine flows"
SAYS_RUNNING = "says running, yet no current"
SAYS_STOPPED = "says stopped, yet the pump runs"

FLOWS_SECONDS = 30.0
RUNS_SECONDS = 60.0
STANDS_SECONDS = 180.0
"""How long a contradiction must last: it outlasts a meter's lag and a slow report, and a clamp's
(common practice, no source)."""

RUNS_SHARE = 0.5
"""Of its usual current: a motor that draws so much runs (common practice, no source)."""

PUMPED_SHARE = 0.7
"""Of the pump's own flow: so much comes of no tank's own height. From a full tank of 2.4 m a hose
for which a pump needs 20 m of head lets out about a third, as the square root of the two (computed,
turbulent flow)."""


class _Lasting:
    """For how long something has been so without a gap."""

    def __init__(self) -> None:
        self._since: Instant | None = None
        self._last: Instant = 0

    def note(self, time: Instant, so: bool, gap: Instant) -> float:
        """Is it so now? Returns for how many seconds it has been."""
        if not so:
            self._since = None
            return 0.0
        if self._since is None or time - self._last > gap:
            self._since = time
        self._last = time
        return (time - self._since) / SECOND

    def forget(self) -> None:
        self._since = None

    def snapshot(self) -> list[Any]:
        return [self._since, self._last]

    def restore(self, data: list[Any]) -> None:
        self._since, self._last = data


class SwitchWatch(Tracker):
    """A switch and what convicts it; it is believed again once it changes or is shown right."""

    version = 2

    def __init__(self, name: str, switch: SensorTracker, takes: dict[str, Taker]) -> None:
        self.name = f"switch/{name}"
        self.switch = switch
        self.takes = {switch.plan.id: self._said, **takes}
        self._value: float | None = None

    def _said(self, time: Instant, value: float) -> Sequence[Output]:
        if value != self._value:
            self._value = value
            self._believe()
        return ()

    def _believe(self) -> None:
        self._forget()
        if self.switch.contradicted:
            self.switch.contradict("")

    def _forget(self) -> None:
        raise NotImplementedError


class ValveSwitchTracker(SwitchWatch):
    """The switch of one valve, beside the meter in its hose."""

    def __init__(self, signs: PumpSigns, switch: SensorTracker, meter: SensorTracker) -> None:
        super().__init__(
            f"{signs.pump.pump.id}/{switch.plan.at}", switch, {meter.plan.id: self._flows}
        )
        self._pump, self._meter = signs.pump.pump, meter
        self._runs = signs.pump
        self._wrong, self._right = _Lasting(), _Lasting()

    def _forget(self) -> None:
        self._wrong.forget()
        self._right.forget()

    def _flows(self, time: Instant, value: float) -> Sequence[Output]:
        shut = self._value == 0.0 and self.switch.fresh(time) and not self._meter.doubted
        # What a meter shows of a pump that stands may be a ghost of its own.
        runs = None if self._runs.unknown(time) else self._runs.running
        flows, gap = self._pump.delivers(value), self._meter.silent_after
        wrong = self._wrong.note(time, shut and flows and runs is not False, gap)
        right = self._right.note(time, shut and not flows and runs is True, gap)
        if wrong >= FLOWS_SECONDS and not self.switch.contradicted:
            self.switch.contradict(SAYS_SHUT)
        elif right >= FLOWS_SECONDS and self.switch.contradicted:
            self._believe()
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._value, self._wrong.snapshot(), self._right.snapshot()]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._value, wrong, right = data
        self._wrong.restore(wrong)
        self._right.restore(right)


class PumpSwitchTracker(SwitchWatch):
    """The switch that says whether a pump runs, beside its current and the meter in its hose."""

    def __init__(self, signs: PumpSigns) -> None:
        self._signs = signs
        takes: dict[str, Taker] = {}
        if signs.current is not None:
            takes[signs.current.plan.id] = self._drawn
        if signs.meter is not None:
            takes[signs.meter.plan.id] = self._flows
        super().__init__(signs.pump.pump.id, signs.pump.switch, takes)
        self._draws, self._flown, self._idle = _Lasting(), _Lasting(), _Lasting()

    def _forget(self) -> None:
        for one in (self._draws, self._flown, self._idle):
            one.forget()

    def _drawn(self, time: Instant, value: float) -> Sequence[Output]:
        current = self._signs.current
        if current is None or current.doubted or not self.switch.fresh(time):
            self._draws.forget()
            self._idle.forget()
            return ()
        gap = current.silent_after
        none = value <= NOTHING * current.plan.standard_uncertainty
        if self._value:
            idle = none and self._nothing_comes(time)
            lasted = self._idle.note(time, idle, gap)
            if lasted >= STANDS_SECONDS and not self.switch.contradicted:
                self.switch.contradict(SAYS_RUNNING)
            elif not none and self.switch.contradicted:
                self._believe()
        elif self._value is not None:
            usual = self._signs.usual_current.value or self._signs.pump.pump.running_current_a
            draws = not none and usual is not None and value > RUNS_SHARE * usual
            self._convict_stopped(self._draws.note(time, draws, gap))
        return ()

    def _flows(self, time: Instant, value: float) -> Sequence[Output]:
        meter = self._signs.meter
        if meter is None or self._value != 0.0:
            return ()
        pumped = value >= PUMPED_SHARE * self._signs.pump.pump.flow_m3_per_s
        pumped = pumped and self.switch.fresh(time) and not meter.doubted
        self._convict_stopped(self._flown.note(time, pumped, meter.silent_after))
        return ()

    def _convict_stopped(self, lasted: float) -> None:
        if lasted >= RUNS_SECONDS and not self.switch.contradicted:
            self.switch.contradict(SAYS_STOPPED)

    def _nothing_comes(self, now: Instant) -> bool:
        """Is there no flow, no pressure of its own or no mains; and nothing that says otherwise?"""
        signs = self._signs
        pressure = None if signs.pressure is None else signs.pressure.believed(now)
        bare = None if pressure is None else pressure - signs.standing_pa(now) < STANDING_MARGIN_PA
        flow = None if signs.meter is None else signs.meter.believed(now)
        still = None if flow is None else flow < DELIVERS_SHARE * signs.pump.pump.flow_m3_per_s
        mains = None if signs.outlet is None else signs.outlet.believed(now)
        dead = None if mains is None else mains == 0.0
        if bare is False or still is False:
            return False
        return bare is True or still is True or dead is True

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        lasting = [one.snapshot() for one in (self._draws, self._flown, self._idle)]
        return [self._value, *lasting]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._value, draws, flown, idle = data
        self._draws.restore(draws)
        self._flown.restore(flown)
        self._idle.restore(idle)


SwitchTracker = ValveSwitchTracker | PumpSwitchTracker


def switch_trackers(signs: PumpSigns) -> list[SwitchTracker]:
    """Those of one pump whose switch something can contradict: its valves' and its own."""
    found: list[SwitchTracker] = []
    if signs.meter is not None:
        found += [ValveSwitchTracker(signs, switch, signs.meter) for switch in signs.valves]
    if signs.current is not None or signs.meter is not None:
        found.append(PumpSwitchTracker(signs))
    return found
