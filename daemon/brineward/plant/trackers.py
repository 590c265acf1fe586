"""All trackers of one depot, and which of them take which sensor's readings."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from brineward.plant.batch_tests import batch_tests_of
from brineward.plant.buoyancy import containment_of
from brineward.plant.cold_ahead import cold_ahead
from brineward.plant.compensation import compensations_of
from brineward.plant.contradicted_switches import switch_trackers
from brineward.plant.door import DoorTracker
from brineward.plant.fast_fall import FastFall
from brineward.plant.fill_mix import fill_mixes
from brineward.plant.fill_wanted import fills_wanted
from brineward.plant.following import followings_of
from brineward.plant.heater import door_switch, heater_of
from brineward.plant.hopper_drains import hopper_drains
from brineward.plant.hopper_salt import hopper_salts
from brineward.plant.idle_current import idle_current_trackers
from brineward.plant.left_open import left_open_trackers
from brineward.plant.levels import level_trackers
from brineward.plant.load_balance import load_balances
from brineward.plant.mode import ModeTracker
from brineward.plant.mode_fit import ModeFit
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.power import PowerTracker
from brineward.plant.probes import probes_of
from brineward.plant.pump_signs import PumpSigns
from brineward.plant.pumps import PumpTracker, pump_trackers
from brineward.plant.record_count import RecordCount
from brineward.plant.salt_at_rest import salts_at_rest
from brineward.plant.salt_balance import salt_balances
from brineward.plant.sensor_pairs import sensor_pairs
from brineward.plant.sensors import Cover, SensorTracker
from brineward.plant.shelter import ShelterTracker
from brineward.plant.single_batch import single_batches
from brineward.plant.slow_levels import SlowLevel
from brineward.plant.standing import StandingTracker
from brineward.plant.strength_at_rest import strengths_at_rest_of
from brineward.plant.strengths import strength_trackers
from brineward.plant.sudden_step import sudden_steps
from brineward.plant.tank_stands import tank_stands
from brineward.plant.thaw import thaw_tracker
from brineward.plant.tracker import Taker, Tracker
from brineward.plant.vessel_episodes import vessel_episodes
from brineward.plant.water_at_rest import waters_at_rest
from brineward.readings.outputs import Output
from brineward.readings.values import Reading


class Trackers:
    """Made in the order in which they build on one another; so they take a reading, too."""

    def __init__(self, plan: DepotPlan) -> None:
        self.plan = plan
        self.mode = ModeTracker()
        self.sensors = {sensor.id: SensorTracker(sensor) for sensor in plan.sensors.values()}
        sensors = self.sensors
        self.levels = {one.vessel.id: one for one in level_trackers(plan, sensors)}
        self.pumps = {one.pump.id: one for one in pump_trackers(plan, sensors, self.levels)}
        currents = idle_current_trackers(plan, sensors, self.pumps)
        self.probes = {one.vessel: one for one in probes_of(plan, sensors, self.levels)}
        followings = followings_of(plan, sensors, self.probes)
        steps = sudden_steps(self.probes, plan.strength.target)
        stands = tank_stands(plan, self.probes, self.levels)
        strengths = strength_trackers(plan, sensors, self.probes)
        self.strengths = {one.probe.vessel: one for one in strengths}
        self.strengths_at_rest = {
            one.vessel: one for one in strengths_at_rest_of(self.strengths, self.levels)
        }
        flows = {fill.into: fill.flow_m3_per_s for fill in plan.fills}
        mixes = fill_mixes(flows, self.strengths, self.levels, plan.strength.low)
        self.mixes = {one.vessel: one for one in mixes}
        self.cold_ahead = cold_ahead(plan, sensors)
        self.compensations = {one.vessel: one for one in compensations_of(plan, self.probes)}
        self.salts = {one.vessel.id: one for one in hopper_salts(plan, sensors)}
        self.shelter = self._shelter()
        levels = tuple(self.levels.values())
        self.mode_fit = ModeFit(self.mode, levels, tuple(self.pumps.values()))
        self.batches = {one.level.vessel.id: one for one in single_batches(self.mode, levels)}
        self.slow_levels = self._slow_levels()
        self.thaw = thaw_tracker(plan, sensors)
        self.signs = {pump: self._signs(one) for pump, one in self.pumps.items()}
        self.switches = [
            one
            for signs in self.signs.values()
            for one in (*switch_trackers(signs), *left_open_trackers(signs, self.mode))
        ]
        self.power = PowerTracker(plan, sensors)
        self.pairs = sensor_pairs(plan, sensors)
        self.standing = {
            name: StandingTracker(
                level,
                plan,
                mode=self.mode,
                pumps=[one for one in self.pumps.values() if one.pump.draws_from == name],
                thermometer=self._thermometer_in(name),
                strength=self.strengths.get(name),
            )
            for name, level in self.levels.items()
            if level.vessel.holds_brine
        }
        self.fast_falls = {
            name: FastFall(
                one.level,
                plan,
                mode=self.mode,
                pumps=[pump for pump in self.pumps.values() if pump.pump.draws_from == name],
            )
            for name, one in self.standing.items()
        }
        self.salts_at_rest = salts_at_rest(
            plan, self.salts, levels=self.levels, pumps=self.pumps, mode=self.mode
        )
        self.waters_at_rest = waters_at_rest(
            plan, sensors, levels=self.levels, pumps=self.pumps, mode=self.mode
        )
        self.load_balances = load_balances(plan, sensors, self.levels, self.pumps)
        self.fills_wanted = fills_wanted(plan, self.levels, self.pumps)
        self.episodes = vessel_episodes(
            plan, sensors, self.levels, self.pumps, mode=self.mode, strengths=self.strengths
        )
        self.records = RecordCount()
        self.salt_balances = salt_balances(plan, self.episodes)
        self.hopper_drains = hopper_drains(plan, self.levels)
        self.batch_tests = batch_tests_of(self.episodes, self.probes, tuple(self.salts.values()))
        self.heater = heater_of(plan, sensors)
        switch = door_switch(plan)
        self.door = None if switch is None else DoorTracker(sensors[switch.id])
        for sensor in sensors.values():
            level = self.levels.get(sensor.plan.at)
            if sensor.plan.mounted_m > 0.0 and level is not None:
                sensor.bared_by = Cover(level.sensor, sensor.plan.mounted_m)
        self._all: tuple[Tracker, ...] = (
            self.mode,
            *sensors.values(),
            *self.levels.values(),
            *self.pumps.values(),
            *currents,
            *self.probes.values(),
            *followings,
            *steps,
            *stands,
            *strengths,
            *self.standing.values(),
            *self.fast_falls.values(),
            *self.fills_wanted,
            *self.load_balances,
            *self.strengths_at_rest.values(),
            *self.compensations.values(),
            *self.mixes.values(),
            *(() if self.cold_ahead is None else (self.cold_ahead,)),
            *self.salts.values(),
            *self.salts_at_rest,
            *self.waters_at_rest,
            *(() if self.shelter is None else (self.shelter,)),
            self.mode_fit,
            *self.batches.values(),
            *self.slow_levels.values(),
            *(() if self.thaw is None else (self.thaw,)),
            *self.signs.values(),
            *self.switches,
            self.power,
            *self.pairs,
            *(() if self.door is None else (self.door,)),
            *self.episodes,
            self.records,
            *self.salt_balances,
            *self.hopper_drains,
            *self.batch_tests,
        )
        self._takes: dict[str, tuple[Taker, ...]] = {
            name: tuple(one.takes[name] for one in self._all if name in one.takes)
            for name in sensors
        }

    def _signs(self, pump: PumpTracker) -> PumpSigns:
        level = self.levels.get(pump.pump.draws_from)
        return PumpSigns(self.plan, pump, self.sensors, None if level is None else level.sensor)

    def _thermometer_in(self, vessel: str) -> SensorTracker | None:
        found = self.plan.sensor_of(Measure.TEMPERATURE, vessel)
        return None if found is None else self.sensors[found.id]

    def _shelter(self) -> ShelterTracker | None:
        inside = self.plan.sensor_of(Measure.TEMPERATURE, "shelter")
        outdoors = self.plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        if inside is None:
            return None
        outside = None if outdoors is None else self.sensors[outdoors.id]
        return ShelterTracker(self.sensors[inside.id], outside)

    def _slow_levels(self) -> dict[str, SlowLevel]:
        """Of every vessel, where the containment's own level is known; else nobody asks."""
        containment = containment_of(self.plan)
        if containment is None or containment.id not in self.levels:
            return {}
        return {name: SlowLevel(level) for name, level in self.levels.items()}

    def __iter__(self) -> Iterator[Tracker]:
        return iter(self._all)

    def take(self, sensor: SensorTracker, reading: Reading) -> Sequence[Output]:
        """Take one reading in its turn; what the plant did by it."""
        value = reading.value
        if not sensor.take(reading) or value is None:
            return ()
        outputs: Sequence[Output] = ()
        time = reading.time
        for take in self._takes[reading.sensor]:
            found = take(time, value)
            if found:
                outputs = (*outputs, *found)
        return outputs


def snapshots(trackers: Iterable[Tracker]) -> dict[str, Any]:
    """What each remembers, by its name and version."""
    return {one.name: [one.version, one.snapshot()] for one in trackers}


def restore(trackers: Iterable[Tracker], data: dict[str, Any]) -> list[str]:
    """Give each its own back; returns the names of those that start again.

    One whose version differs, or whose data is not what it writes, starts again alone.
    """
    afresh = []
    for one in trackers:
        version, kept = data.get(one.name, (None, None))
        if version != one.version:
            afresh.append(one.name)
            continue
        blank = one.snapshot()
        try:
            one.restore(kept)
        except (ValueError, TypeError, KeyError, IndexError, AttributeError):
            one.restore(blank)
            afresh.append(one.name)
    return afresh


def forget(trackers: Iterable[Tracker], blank: Iterable[Tracker]) -> None:
    """Start again, all but those that last: a clock was set, and old times mean nothing."""
    for one, fresh in zip(trackers, blank, strict=True):
        if not one.lasting:
            one.restore(fresh.snapshot())
