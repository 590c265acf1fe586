"""What a depot's plant is doing, as far as its sensors tell: a pure function of its readings."""

from typing import Any

from brineward.physics.salinity import NotBrine, Salinity
from brineward.plant.following import Following, followings_of
from brineward.plant.idle_current import idle_currents_of
from brineward.plant.level_state import LevelState
from brineward.plant.noise import Noise
from brineward.plant.plan import DepotPlan, Measure, Pump, SensorPlan, Vessel, VesselKind
from brineward.plant.probes import probes_of
from brineward.plant.pump_run import PumpRun, slowest_fall_m_per_s
from brineward.plant.resting_fall import RestingFall
from brineward.plant.second_witness import second_witness
from brineward.plant.strengths import Strengths
from brineward.plant.tracks import Course, SensorTrack, UsualLow
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Derived, EpisodeChanged, Output
from brineward.readings.values import Reading

COVER_M = 0.05
"""A probe is taken as covered this far under the surface, so that waves don't bare it."""

SHELTER_SPAN_SECONDS = 180.0
"""The shelter's temperature is the median of so many seconds: one wild reading is none."""

NOT_IN_BRINE = "is not in the brine: conductivity does not follow it"
NO_CURRENT = "shows no current though the pump delivers"

_DERIVE_EVERY = MINUTE  # one strength a minute is kept; every one is judged


class PumpState:
    """One pump: does it run, since when, and does the level answer."""

    __slots__ = ("pump", "run", "running", "since")

    def __init__(self, plan: DepotPlan, pump: Pump, level: LevelState | None) -> None:
        self.pump = pump
        self.running: bool | None = None
        self.since: Instant = 0
        self.run = PumpRun(
            noise=level.course.noise if level else Noise(0.0),
            every_seconds=level.sensor.every_seconds if level else 0.0,
            expected_m_per_s=slowest_fall_m_per_s(plan, pump),
        )


class PlantState:
    """All that is remembered of one depot's plant."""

    def __init__(self, plan: DepotPlan) -> None:
        self.plan = plan
        self.tracks = {
            sensor.id: SensorTrack(int(sensor.silent_after_seconds * SECOND), sensor)
            for sensor in plan.sensors.values()
        }
        fills = {fill.into: fill.flow_m3_per_s for fill in plan.fills}
        self.levels = {
            vessel.id: LevelState(vessel, sensor, fills.get(vessel.id))
            for vessel in plan.vessels.values()
            if (sensor := plan.sensor_of(Measure.LEVEL, vessel.id)) is not None
        }
        self.pumps = {
            pump.id: PumpState(plan, pump, self.levels.get(pump.draws_from))
            for pump in plan.pumps.values()
        }
        self.currents = idle_currents_of(plan)
        """By pump: does its current speak when it delivers?"""
        self.probes = probes_of(plan)
        """By vessel: the conductivity probe that its strength is read from."""
        self.followings = followings_of(plan, self.probes)
        """By vessel: does its conductivity follow its thermometer?"""
        self.witnesses = {
            vessel: witness
            for vessel in self.probes
            if (witness := second_witness(plan, vessel)) is not None
        }
        """By vessel: density, where it is measured there too."""
        inside = plan.sensor_of(Measure.TEMPERATURE, "shelter")
        self.shelter = Course(
            window_seconds=max(900.0, 6 * inside.every_seconds if inside else 0.0),
            standard_uncertainty=inside.standard_uncertainty if inside else 0.0,
            gap_seconds=20.0,
        )
        self.shelter_low = UsualLow()
        self.shelter_fall = RestingFall(inside.every_seconds if inside else 0.0)
        self._outdoors = plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        self.strength: dict[str, Salinity | NotBrine] = {}
        """By vessel: the newest strength, or why there is none."""
        self.strengths = {vessel: Strengths() for vessel in self.probes}
        """By vessel: what its covered probe told in the last minutes."""
        self.last_heard: Instant = 0
        """When anything believable was last heard from any sensor."""
        self.listening_since: Instant = 0
        """Since when we could have heard: the last start, or the link's last coming up."""
        self.link_up = True
        """Is there a way for readings to come? While not, silence says nothing."""
        self.clock_doubted: Instant = 0
        """When a sensor's clock last showed itself wrong."""
        self.told: dict[str, str] = {}
        """Troubles that others judge, by alarm and source: a sentence each while present."""
        self._derived: dict[str, Instant] = {}

    def accept(self, reading: Reading, sensor: SensorPlan, now: Instant) -> list[Output]:
        """Take one reading in its turn; what the plant did by it."""
        track = self.tracks[reading.sensor]
        value = reading.value
        if value is None:
            track.bad("it says that it has no value", reading.time)
            return []
        if not sensor.low <= value <= sensor.high:
            track.bad("its value is outside its range", reading.time)
            return []
        if track.habit(value, reading.time):
            # A probe that waves may bare says wild things that are true.
            bared = sensor.mounted_m > 0.0 and self.covered(sensor) is False
            track.jump(value, reading.time, counts=not bared)
        track.good(value, reading.time)
        self.last_heard = max(self.last_heard, reading.time)
        match sensor.measures:
            case Measure.LEVEL:
                return self._level(sensor, reading.time, value)
            case Measure.CONDUCTIVITY:
                return self._conductivity(sensor, reading.time, value)
            case Measure.TEMPERATURE:
                if sensor.at == "shelter":
                    self._shelter(reading.time, value)
            case Measure.RUNNING:
                return self._running(sensor, reading.time, value)
            case Measure.CURRENT:
                self._current(sensor, reading.time, value)
            case _:
                pass
        return []

    def _shelter(self, time: Instant, value: float) -> None:
        self.shelter.add(time, value)
        self.shelter_low.add(time, self.shelter.middle(SHELTER_SPAN_SECONDS)[0])
        self.shelter_fall.add(time, value)

    def outdoors_c(self, now: Instant) -> float | None:
        """The temperature outdoors in degC; None where it isn't known."""
        return None if self._outdoors is None else self.tracks[self._outdoors.id].believed(now)

    # -- levels and pumps

    def _level(self, sensor: SensorPlan, time: Instant, value: float) -> list[Output]:
        state = self.levels.get(sensor.at)
        if state is None or state.sensor is not sensor:
            return []
        outputs = state.take(time, value, self.plan.id)
        for pump in self.pumps.values():
            if pump.pump.draws_from == sensor.at:
                pump.run.add(time, value)
        return outputs

    def _running(self, sensor: SensorPlan, time: Instant, value: float) -> list[Output]:
        state = self.pumps.get(sensor.at)
        if state is None or state.running == bool(value):
            return []
        first = state.running is None
        began = state.since
        state.running = bool(value)
        state.since = time
        if state.running:
            # A pump first seen running may have run for long.
            state.run.start(time, seen=not first)
        else:
            state.run.stop(time)
            if first:
                return []
        return [
            EpisodeChanged(
                time=time,
                depot=self.plan.id,
                episode="pump-run",
                source=state.pump.id,
                began=time if state.running else began,
                ended=None if state.running else time,
            )
        ]

    def _current(self, sensor: SensorPlan, time: Instant, value: float) -> None:
        idle = self.currents.get(sensor.at)
        if idle is None or idle.current is not sensor:
            return
        runs = self.pumps[sensor.at].running
        flow = self.tracks[idle.meter.id].believed(time) if runs else None
        if idle.note(time, value, flow):
            track = self.tracks[sensor.id]
            track.contradicted = NO_CURRENT if idle.idle else ""
            track.reconsider()

    # -- strength

    def covered(self, sensor: SensorPlan) -> bool | None:
        """Is a probe under the surface? None where the level isn't known."""
        state = self.levels.get(sensor.at)
        if state is None:
            return None
        track = self.tracks[state.sensor.id]
        if track.value is None or track.implausible:
            return None
        return track.value >= sensor.mounted_m + COVER_M

    def settled(self, vessel: str, now: Instant) -> bool | None:
        """Has the vessel stood still long enough to be blended? None where it isn't known."""
        state = self.levels.get(vessel)
        if state is None or state.course.slope is None:
            return None
        if not self.tracks[state.sensor.id].fresh(now):
            return None
        return state.settled(now)

    def _conductivity(self, sensor: SensorPlan, time: Instant, value: float) -> list[Output]:
        probe = self.probes.get(sensor.at)
        if probe is None or probe.sensor is not sensor:
            return []
        track = self.tracks[probe.thermometer.id]
        if not track.fresh(time) or track.value is None:
            self.strength.pop(sensor.at, None)
            return []
        if self._testable(sensor, time):
            probe.note(time, value, track.value)
            self._follow(sensor, time, value, track.value)
        try:
            found = probe.strength(time, value, track.value)
        except NotBrine as why:
            self.strength[sensor.at] = why
            return []
        witness = self.witnesses.get(sensor.at)
        if witness is not None:
            found = witness.weighed(
                found,
                self.tracks,
                temperature_c=track.value,
                temperature_standard_uncertainty=probe.thermometer.standard_uncertainty,
                now=time,
            )
        self.strength[sensor.at] = found
        if self.covered(sensor) is False:
            self.strengths[sensor.at].forget()
        else:
            self.strengths[sensor.at].add(time, found)
        return self._derive_strength(sensor.at, time, found, calibrated=probe.calibrated)

    def _follow(self, sensor: SensorPlan, time: Instant, read: float, read_c: float) -> None:
        """A thermometer that the brine's conductivity doesn't follow is not in the brine."""
        following = self.followings.get(sensor.at)
        if following is None or self.tracks[sensor.id].implausible:
            return
        inside = None if following.shelter is None else self.tracks[following.shelter.id]
        shelter_c = inside.value if inside is not None and inside.fresh(time) else None
        if following.note(time, read, read_c, shelter_c):
            self._found(following)

    def _found(self, following: Following) -> None:
        """Write down at the thermometers where they are not."""
        track = self.tracks[following.thermometer.id]
        track.contradicted = NOT_IN_BRINE if following.not_following else ""
        track.reconsider()
        if following.shelter is not None:
            inside = self.tracks[following.shelter.id]
            other = f"seems exchanged with {following.thermometer.id}"
            inside.contradicted = other if following.exchanged else ""
            inside.reconsider()

    def _testable(self, sensor: SensorPlan, time: Instant) -> bool:
        """Does the probe read what a sample would hold? Where no level tells, who tests must."""
        if sensor.at not in self.levels:
            return True
        return bool(self.covered(sensor)) and bool(self.settled(sensor.at, time))

    def _derive_strength(
        self, vessel: str, time: Instant, found: Salinity, *, calibrated: bool
    ) -> list[Output]:
        minute = time // _DERIVE_EVERY
        if self._derived.get(vessel) == minute:
            return []
        self._derived[vessel] = minute
        return [
            Derived(
                time=time,
                depot=self.plan.id,
                name=f"{vessel}-strength",
                value=round(found.mass_fraction, 6),
                standard_uncertainty=round(found.standard_uncertainty, 6),
                calibrated=calibrated,
            )
        ]

    # -- plain data

    def freeze(self) -> dict[str, Any]:
        """The state as plain data, for a snapshot."""
        return {
            "tracks": {name: track.freeze() for name, track in self.tracks.items()},
            "levels": {name: level.freeze() for name, level in self.levels.items()},
            "pumps": {
                name: [pump.running, pump.since, pump.run.freeze()]
                for name, pump in self.pumps.items()
            },
            "currents": {name: current.freeze() for name, current in self.currents.items()},
            "probes": {name: probe.freeze() for name, probe in self.probes.items()},
            "strengths": {name: told.freeze() for name, told in self.strengths.items()},
            "followings": {name: one.freeze() for name, one in self.followings.items()},
            "witnesses": {name: [w.agreed, w.parted] for name, w in self.witnesses.items()},
            "shelter": [
                self.shelter.freeze(),
                self.shelter_low.freeze(),
                self.shelter_fall.freeze(),
            ],
            "heard": [self.last_heard, self.listening_since, self.link_up, self.clock_doubted],
            "told": self.told,
            "derived": self._derived,
        }

    def thaw(self, data: dict[str, Any]) -> None:
        """Become what `freeze` wrote; what the plan no longer names is left behind."""
        for name, track in data["tracks"].items():
            if name in self.tracks:
                self.tracks[name].thaw(track)
        for name, level in data["levels"].items():
            if name in self.levels:
                self.levels[name].thaw(level)
        for name, (running, since, run) in data["pumps"].items():
            if name in self.pumps:
                self.pumps[name].running, self.pumps[name].since = running, since
                self.pumps[name].run.thaw(run)
        for name, current in data["currents"].items():
            if name in self.currents:
                self.currents[name].thaw(current)
        self._thaw_strength(data)
        shelter, low, fall = data["shelter"]
        self.shelter.thaw(shelter)
        self.shelter_low.thaw(low)
        self.shelter_fall.thaw(fall)
        self.last_heard, self.listening_since, self.link_up, self.clock_doubted = data["heard"]
        self.told = dict(data["told"])
        self._derived = dict(data["derived"])

    def _thaw_strength(self, data: dict[str, Any]) -> None:
        for name, probe in data["probes"].items():
            if name in self.probes:
                self.probes[name].thaw(probe)
                self.strengths[name].thaw(data["strengths"][name])
        for name, following in data["followings"].items():
            if name in self.followings:
                self.followings[name].thaw(following)
        for name, (agreed, parted) in data["witnesses"].items():
            if name in self.witnesses:
                self.witnesses[name].agreed, self.witnesses[name].parted = agreed, parted


def main_vessel(plan: DepotPlan) -> Vessel | None:
    """The vessel that the depot's brine is judged in: its first main tank."""
    return next((v for v in plan.vessels.values() if v.kind is VesselKind.MAIN), None)
