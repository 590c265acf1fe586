"""What a running pump's current, pressure, meter and level show of it. Mutable, but pure.

A pump with liquid in it draws its usual current or, against a closed valve, some two thirds of it,
and builds up pressure. One that runs dry or air-locked idles: it draws well under half, and builds
up and delivers nothing. One that is stopped draws no current at all, whatever its switch says.
"""

from typing import Any, Literal, NamedTuple

from brineward.plant.plan import DepotPlan, Measure, SensorPlan
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.shared_vessel import TOLD_SHARE
from brineward.plant.tracker import Taker, Tracker
from brineward.plant.usual import Usual
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Output

DRY_CURRENT_SHARE = 0.55
"""Of its usual current: a pump that draws less has no liquid to move (common practice, no source;
underload relays of motors are set to between a half and two thirds).
"""

DRY_PRESSURE_SHARE = 0.25
"""Of its usual pressure: less, and it builds up none (common practice, no source)."""

STANDING_MARGIN_PA = 5e3
"""A pressure within this of that of the liquid in the tank is not made by the pump."""

STANDING_PA_PER_M = 1200 * 9.80665
"""The pressure under a metre of brine: 1,200 kg/m3, a little more than any brine that is liquid in
a tank (saturated: 1,197 at 25 degC, in `published/density.csv`), times standard gravity."""

AIR_DRAWN_M = 0.02
"""How far above its suction a pump draws air with the brine (common practice, no source)."""

NOTHING = 4.0
"""A current of so many of its own standard uncertainties or less is none (common practice, no
source)."""

AFTER_START = 5 * SECOND
"""What was measured sooner after a start shows the pump at rest, or while it starts."""

SETTLED = 20 * SECOND
"""From this long after a start on, a load is as usual."""


class Dry(NamedTuple):
    """By what a running pump is found to have no liquid: its value and its limit, SI."""

    by: Literal["current", "pressure", "level", "flow"]
    value: float
    limit: float
    unit: str


class PumpSigns(Tracker):
    """One pump, and what is usual for it."""

    lasting = True

    def __init__(
        self,
        plan: DepotPlan,
        pump: PumpTracker,
        sensors: dict[str, SensorTracker],
        level: SensorTracker | None,
    ) -> None:
        at = pump.pump.id

        def of(found: SensorPlan | None) -> SensorTracker | None:
            return None if found is None else sensors[found.id]

        self.name = f"signs/{at}"
        self.pump = pump
        self.current = of(plan.sensor_of(Measure.CURRENT, at))
        self.pressure = of(plan.sensor_of(Measure.PRESSURE, at))
        self.meter = of(plan.sensor_of(Measure.FLOW, at))
        self.outlet = of(plan.sensor_of(Measure.POWER, at))
        self.level = level
        self.valves = tuple(
            sensors[switch.id]
            for valve in pump.pump.valves
            if (switch := plan.sensor_of(Measure.OPEN, valve)) is not None
        )
        self.all_valves_have_switches = len(self.valves) == len(pump.pump.valves) > 0
        self.brim_m = plan.vessels[pump.pump.draws_from].brim_m
        self.low_m = pump.pump.suction_m + AIR_DRAWN_M
        """At this level of its tank it draws air."""
        self.usual_current, self.usual_pressure = Usual(), Usual()
        takes: dict[str, Taker] = {}
        if self.current is not None:
            takes[self.current.plan.id] = self._take_current
        if self.pressure is not None:
            takes[self.pressure.plan.id] = self._take_pressure
        self.takes = takes

    # -- what is usual

    def _take_current(self, time: Instant, value: float) -> tuple[Output, ...]:
        # A clamp that has come off, or one that is stuck, shows nothing usual.
        if self.pump.running and self._serves(time) and self._draws(value):
            self.usual_current.add(self.pump.since, value)
        return ()

    def _take_pressure(self, time: Instant, value: float) -> tuple[Output, ...]:
        if self.pump.running and self._serves(time):
            self.usual_pressure.add(self.pump.since, value)
        return ()

    def _serves(self, now: Instant) -> bool:
        """Does it deliver for sure, and has for a while?"""
        if now - self.pump.since < SETTLED or self.pump.unknown(now):
            return False
        return self.delivers(now) if self.meter is not None else self.falls(now)

    # -- what each shows now

    def delivers(self, now: Instant) -> bool:
        """Does the meter in its hose show that it delivers?"""
        return self.meter is not None and self.pump.pump.delivers(self.meter.believed(now))

    def falls(self, now: Instant) -> bool:
        """Does the level that it draws from show for sure that it delivers?

        While other pumps draw too, it must fall as all of them make it; never where that can't be
        told.
        """
        shared, run = self.pump.shared, self.pump.run
        wanted = shared.wanted_m_per_s()
        if run.drop is None or not run.sure or wanted is None or shared.untold(now):
            return False
        return run.drop - 2 * run.drop_uncertainty > wanted

    def _something_draws(self) -> bool:
        """Does that level fall for sure as one pump makes it, whichever does?"""
        run, alone = self.pump.run, self.pump.shared.alone_m_per_s
        if run.drop is None or not run.surely(alone):
            return False
        return run.drop - 2 * run.drop_uncertainty > TOLD_SHARE * alone

    def _since_start(self, sensor: SensorTracker | None, now: Instant) -> float | None:
        if sensor is None or sensor.measured < self.pump.since + AFTER_START:
            return None
        return sensor.believed(now)

    def _draws(self, current_a: float) -> bool:
        least = 0.0 if self.current is None else self.current.plan.standard_uncertainty
        return current_a > NOTHING * least

    def standing_pa(self, now: Instant) -> float:
        """The most pressure that the liquid in the tank makes by itself, Pa."""
        level = None if self.level is None else self.level.believed(now)
        return STANDING_PA_PER_M * (self.brim_m if level is None else max(0.0, level))

    def is_stopped(self, now: Instant) -> bool:
        """Do two sensors show that it is stopped, whatever its switch says?

        No current, and no mains or no pressure of its own. A meter that shows no flow doesn't
        count: nothing flows against a closed valve, either.
        """
        current = self._since_start(self.current, now)
        if current is None or self._draws(current):
            return False
        if self.outlet is not None and self.outlet.believed(now) == 0.0:
            return True
        pressure = self._since_start(self.pressure, now)
        return pressure is not None and pressure <= self.standing_pa(now) + STANDING_MARGIN_PA

    def dry(self, now: Instant) -> Dry | None:
        """By what a running pump is found to run dry or air-locked; None where it isn't.

        Current and pressure decide where either is known, and must agree where both are. Else the
        level is at the suction and doesn't fall; or, where no level is measured, the meter shows
        nothing though the switch of every valve says open.
        """
        if self.delivers(now) or any(valve.believed(now) == 0.0 for valve in self.valves):
            return None
        current = self._since_start(self.current, now)
        if current is not None and not self._draws(current):
            return None  # a motor that turns draws something: its switch or its clamp is wrong
        found: list[tuple[bool, Dry]] = []
        usual = self.usual_current.value or self.pump.pump.running_current_a
        if current is not None and usual is not None:
            limit = DRY_CURRENT_SHARE * usual
            found.append((current < limit, Dry("current", current, usual, "A")))
        pressure = self._since_start(self.pressure, now)
        if pressure is not None:
            limit = self.standing_pa(now) + STANDING_MARGIN_PA
            if self.usual_pressure.value is not None:
                limit = max(limit, DRY_PRESSURE_SHARE * self.usual_pressure.value)
            found.append((pressure < limit, Dry("pressure", pressure, limit, "Pa")))
        if found:
            return found[0][1] if all(lacks for lacks, _ in found) else None
        return self._by_level(now) if self.level is not None else self._by_flow(now)

    def _by_level(self, now: Instant) -> Dry | None:
        level = None if self.level is None else self.level.believed(now)
        if level is None or level > self.low_m or self._something_draws():
            return None
        return Dry("level", level, self.pump.pump.suction_m, "m")

    def _by_flow(self, now: Instant) -> Dry | None:
        flow = self._since_start(self.meter, now)
        is_open = self.all_valves_have_switches and all(v.believed(now) for v in self.valves)
        return Dry("flow", flow, 0.0, "m3/s") if flow is not None and is_open else None

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self.usual_current.shift(by)
        self.usual_pressure.shift(by)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.usual_current.snapshot(), self.usual_pressure.snapshot()]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        current, pressure = data
        self.usual_current.restore(current)
        self.usual_pressure.restore(pressure)
