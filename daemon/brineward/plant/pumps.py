"""One pump: does it run, since when, and does the level that it draws from respond."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.levels import LevelTracker
from brineward.plant.noise import Noise
from brineward.plant.plan import DepotPlan, Measure, Pump
from brineward.plant.pump_run import PumpRun
from brineward.plant.sensors import SensorTracker
from brineward.plant.shared_vessel import SharedVessel
from brineward.plant.tracker import Taker, Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import EpisodeChanged, Output


class PumpTracker(Tracker):
    """A pump whose running is watched, and the level of the vessel that it draws from."""

    version = 3

    def __init__(
        self, plan: DepotPlan, pump: Pump, switch: SensorTracker, level: LevelTracker | None
    ) -> None:
        self._depot = plan.id
        self._switch_name = plan.name_of(switch.plan.id)
        self.name = f"pump/{pump.id}"
        self.pump = pump
        self.switch = switch
        """The sensor that says whether it runs."""
        levelled: dict[str, Taker] = {} if level is None else {level.sensor.plan.id: self._levelled}
        self.takes = {switch.plan.id: self._switched, **levelled}
        self.running: bool | None = None
        self.since: Instant = 0
        """When it last started or stopped."""
        self.start_seen = False
        """Was it known to stand until it started? Else it may have run for longer than is known."""
        self._reported: Instant = 0
        """When its switch last reported."""
        self.shared = SharedVessel(plan, pump)
        """The other pumps that draw from the same vessel."""
        self.run = PumpRun(
            noise=level.course.noise if level else Noise(0.0),
            every_seconds=level.sensor.plan.every_seconds if level else 0.0,
            expected_m_per_s=self.shared.to_be_told_m_per_s,
        )

    def unknown(self, now: Instant) -> str:
        """Why it is not known whether it runs; empty if it is."""
        if self.running is None:
            return f"{self._switch_name} has not reported yet"
        if self.switch.implausible or not self.switch.fresh(now):
            return f"{self._switch_name} is silent or implausible"
        return ""

    def stood(self, since: Instant, now: Instant) -> bool:
        """Is it known to have been stopped from `since` to now?"""
        switch = self.switch
        if self.running is not False or self.since > since or switch.doubted:
            return False
        return now - switch.measured <= switch.silent_after

    def _levelled(self, time: Instant, value: float) -> Sequence[Output]:
        self.run.add(time, value)
        return ()

    def _switched(self, time: Instant, value: float) -> Sequence[Output]:
        reported, self._reported = self._reported, time
        if self.running == bool(value):
            return ()
        first, began = self.running is None, self.since
        self.running = bool(value)
        self.since = time
        self.start_seen = not first and time - reported <= self.switch.silent_after
        if self.running:
            # A pump first seen running may have run for long.
            self.run.start(time, seen=not first)
        else:
            self.run.stop(time)
        if not first:
            for other in self.shared.others:
                other.run.bend(time)
        elif not self.running:
            return ()
        return (
            EpisodeChanged(
                time=time,
                depot=self._depot,
                episode="pump-run",
                source=self.pump.id,
                began=time if self.running else began,
                ended=None if self.running else time,
            ),
        )

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.running, self.since, self.start_seen, self._reported, self.run.snapshot()]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.running, self.since, self.start_seen, self._reported, run = data
        self.run.restore(run)


def pump_trackers(
    plan: DepotPlan, sensors: dict[str, SensorTracker], levels: dict[str, LevelTracker]
) -> list[PumpTracker]:
    """Each pump with a switch that shows whether it runs."""
    found = [
        PumpTracker(plan, pump, sensors[switch.id], levels.get(pump.draws_from))
        for pump in plan.pumps.values()
        if (switch := plan.sensor_of(Measure.RUNNING, pump.id)) is not None
    ]
    for one in found:
        vessel = one.pump.draws_from
        one.shared.others = [
            other for other in found if other is not one and other.pump.draws_from == vessel
        ]
    return found
