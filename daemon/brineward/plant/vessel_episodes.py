"""What a vessel is used for, as episodes: filled, blended, loaded from, drained, idle.

Mutable, but pure. One tracker a vessel; it hands each point of the level to the loads, the drains
and what is made, and says what they find as changes of episodes.
"""

import math
from collections.abc import Sequence
from functools import partial
from typing import Any

from brineward.plant import making
from brineward.plant.drains import Drained, Drains
from brineward.plant.level_points import LevelPoints, Point
from brineward.plant.levels import LevelTracker
from brineward.plant.loads import LEAST_M3, Begun, Loads, Settled
from brineward.plant.loads import News as LoadNews
from brineward.plant.making import Blended, Filled, Making
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.pumps import PumpTracker
from brineward.plant.relearned import Relearned
from brineward.plant.seen_strength import Seen
from brineward.plant.sensors import SensorTracker
from brineward.plant.strengths import StrengthTracker
from brineward.plant.tracker import Taker, Tracker
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import EpisodeChanged, Output

IDLE = HOUR
"""A vessel without movement for this long is idle."""
TRANSFERS_SHARE = 0.5
"""If another tank takes in this share of what was drawn, it went there."""
LOADING_SPAN_SECONDS, RESTING_SPAN_SECONDS = 180.0, 600.0


class VesselEpisodes(Tracker):
    """The episodes of one vessel whose level is measured."""

    def __init__(
        self,
        plan: DepotPlan,
        level: LevelTracker,
        *,
        mode: ModeTracker,
        pumps: Sequence[PumpTracker],
        meters: dict[str, SensorTracker],
        strength: StrengthTracker | None,
        thermometer: SensorTracker | None,
    ) -> None:
        self.level = level
        self.vessel = level.vessel
        self.name = f"episodes/{self.vessel.id}"
        self._depot = plan.id
        self._mode, self._strength, self._thermometer = mode, strength, thermometer
        self._meters = meters
        self.points = LevelPoints(self.vessel.shape, level.sensor.plan)
        drawing = [one for one in plan.pumps.values() if one.draws_from == self.vessel.id]
        by_switch = bool(drawing) and len(pumps) == len(drawing)
        self.loads = Loads(plan, level, self.points, by_switch=by_switch)
        self.making = Making(plan, self.vessel, self.points, self.loads)
        self._drains = Drains(self.points)
        self._relearned = Relearned(strength)
        self._seen_last = Seen(None, None, None, None)
        self._idle_since: Instant = 0
        """Since when it is reported idle; 0 while it isn't."""
        self.others: Sequence[VesselEpisodes] = ()
        """The depot's other tanks of brine: brine may go there."""
        self._levels_of_others: list[float] = []
        """Their volumes when the load under way began."""
        self._told_as = ""
        """What the load under way was reported as; empty if it wasn't yet."""
        self._running: set[str] = set()
        """The pumps that run."""
        self._open: dict[str, bool] = {}
        """By pump: is its valve open? Where a switch has said."""
        takes: dict[str, Taker] = {level.sensor.plan.id: self._take}
        if by_switch:
            takes |= {one.switch.plan.id: partial(self._switched, one.pump.id) for one in pumps}
            takes |= {
                meter.plan.id: partial(self._metered, pump, meter.silent_after)
                for pump, meter in meters.items()
            }
            for one in pumps:
                for valve in one.pump.valves:
                    switch = plan.sensor_of(Measure.OPEN, valve)
                    if switch is not None:
                        takes[switch.id] = partial(self._valve, one.pump.id)
        self.takes = takes

    # -- readings

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if time < self.points.until:
            self.points.add(time, value)
            return ()
        point = self.points.add(time, value)
        return () if point is None else self._point(point, time)

    def _switched(self, pump: str, time: Instant, value: float) -> Sequence[Output]:
        if (value != 0.0) == (pump in self._running):
            # A load is settled in its time also where the level has fallen silent.
            return () if self.loads.now is None else self._load_news(self.loads.look(time), time)
        outputs: list[Output] = []
        point = self.points.close()
        if point is not None:
            outputs += self._point(point, time)
        if value:
            self._running.add(pump)
            if len(self._running) == 1:
                outputs += self._load_news(self.loads.started(time, pump), time)
                self._levels_of_others = [other.volume_m3 for other in self.others]
        else:
            self._running.discard(pump)
            if not self._running:
                self.loads.stopped(time)
        return outputs

    def _valve(self, pump: str, time: Instant, value: float) -> Sequence[Output]:
        is_open = value != 0.0
        was = self._open.get(pump)
        if was == is_open:
            return ()
        self._open[pump] = is_open
        load = self.loads.now
        if was is None or pump not in self._running or load is None or load.source != pump:
            return ()
        point = self.points.close()
        outputs = [] if point is None else self._point(point, time)
        if not is_open:
            self.loads.stopped(time)
        elif load.running:
            self.loads.opened(time)
        else:
            outputs += self._load_news(self.loads.started(time, pump), time)
        return outputs

    def _metered(
        self, pump: str, longest: Instant, time: Instant, value: float
    ) -> Sequence[Output]:
        load = self.loads.now
        if load is not None and load.source == pump and load.running:
            load.metered.add(time, value, longest)
        return ()

    @property
    def volume_m3(self) -> float:
        """What it holds by its last point; 0 before the first."""
        return self.points.points[-1].volume_m3 if self.points.points else 0.0

    # -- one point

    def _point(self, point: Point, time: Instant) -> list[Output]:
        noise = math.sqrt(self.level.course.noise.variance)
        sigma = self.points.uncertainty_m3(noise)
        loads = self.loads
        factor = self._relearned.look(time, self._seen_last)
        if factor is not None:
            self.making.relearned(factor)
        seen = self._seen(time)
        outputs: list[Output] = self._load_news(loads.look(time), time)
        outputs += self._load_news(loads.point(point, sigma), time)
        if loads.now is not None and loads.now.running:
            loads.now.strength.add(self._shown(LOADING_SPAN_SECONDS), seen.temperature_c)
            outputs += self._drain_news(self._drains.disturbed(time), seen, time)
        outputs += self._made_news(self.making.point(point, sigma, seen), time)
        if loads.now is None and self.making.fill is None:
            since = max(loads.ended, self.making.moved)
            outputs += self._drain_news(self._drains.point(point, sigma, since), seen, time)
        return outputs + self._idle(point.time, time)

    def _shown(self, span: float) -> Any:
        strength = self._strength
        if strength is None or strength.probe.covered() is False:
            return None
        return strength.lately.middle(span)

    def _seen(self, time: Instant) -> Seen:
        shown = self._shown(RESTING_SPAN_SECONDS)
        thermometer = self._thermometer
        warmth = None if thermometer is None else thermometer.believed(time)
        if self._relearned.waits:
            return self._seen_last._replace(temperature_c=warmth)
        if shown is not None and time - self._relearned.since < RESTING_SPAN_SECONDS * SECOND:
            strength = self._strength
            since_test = strength and strength.lately.middle_since(self._relearned.since)
            shown = since_test or shown
        seen = Seen(None, None, None, warmth)
        if shown is not None:
            seen = Seen(shown.mass_fraction, shown.low, shown.high, warmth)
        self._seen_last = seen
        return seen

    def _idle(self, seen_at: Instant, time: Instant) -> list[Output]:
        making, loads = self.making, self.loads
        busy = loads.now is not None or making.fill is not None or self._drains.now is not None
        moved = max(making.moved, loads.ended)
        if self._idle_since:
            announced = loads.now is not None and loads.now.announced
            if announced or making.fill is not None or self._drains.now is not None:
                began, self._idle_since = self._idle_since, 0
                return [self._changed("idle", time, began=began, ended=max(began, seen_at))]
            return []
        if busy or moved == 0 or seen_at - moved < IDLE:
            return []
        self._idle_since = moved
        return [self._changed("idle", time, began=moved)]

    # -- what they find, as changes of episodes

    def _load_news(self, news: Sequence[LoadNews], time: Instant) -> list[Output]:
        outputs: list[Output] = []
        for one in news:
            if isinstance(one, Begun):
                self._told_as = self._drawn_as(LEAST_M3)
                outputs.append(
                    self._changed(self._told_as, time, source=one.source, began=one.began)
                )
            else:
                outputs += self._settled(one, time)
        return outputs

    def _settled(self, one: Settled, time: Instant) -> list[Output]:
        told, self._told_as = self._told_as, ""
        name = told or (self._drawn_as(one.volume_m3) if one.kind == "load" else one.kind)
        known = one.seen.mass_fraction is not None
        mass = one.mass_kg * one.volume_m3 / one.left_m3 if one.left_m3 else 0.0
        change = self._changed(
            name,
            time,
            source=one.source,
            began=one.began,
            ended=one.ended,
            volume=(one.volume_m3, one.standard_uncertainty_m3),
            seen=one.seen,
            salt_kg=one.seen.or_nominal(0.0) * mass if known else None,
            how=one.how,
        )
        return [change, *self._made_news(self.making.left(one), time)]

    def _drawn_as(self, volume_m3: float) -> str:
        """What is drawn is a load, unless the depot is drained or another tank takes it in."""
        if self._mode.mode is Mode.DRAINING:
            return "drain"
        came = [
            other.volume_m3 - before
            for other, before in zip(self.others, self._levels_of_others, strict=False)
        ]
        return "transfer" if max(came, default=0.0) > TRANSFERS_SHARE * volume_m3 else "load"

    def _made_news(self, news: Sequence[making.News], time: Instant) -> list[Output]:
        outputs: list[Output] = []
        for one in news:
            if isinstance(one, Blended):
                outputs.append(self._changed("blend", time, began=one.began, ended=one.ended))
                continue
            volume = None
            if one.volume_m3 is not None and one.standard_uncertainty_m3 is not None:
                volume = (one.volume_m3, one.standard_uncertainty_m3)
            how = "by level and loads" if one.with_loads else "by level"
            if isinstance(one, Filled):
                change = self._changed(
                    "fill", time, began=one.began, ended=one.ended, volume=volume, how=how
                )
            else:
                change = self._changed(
                    "batch",
                    time,
                    began=one.began,
                    ended=one.ended,
                    volume=volume,
                    seen=one.seen,
                    salt_kg=one.salt_kg,
                    water_m3=one.water_m3,
                    how=how,
                )
            outputs.append(change)
        return outputs

    def _drain_news(self, news: Sequence[Drained], seen: Seen, time: Instant) -> list[Output]:
        outputs: list[Output] = []
        for one in news:
            volume = None
            if one.volume_m3 is not None and one.ended is not None:
                volume = (one.volume_m3, 0.02 * one.volume_m3)
                self.making.drained(one.volume_m3, seen, one.ended)
            outputs.append(
                self._changed(
                    "drain",
                    time,
                    began=one.began,
                    ended=one.ended,
                    volume=volume,
                    seen=seen if volume else None,
                    how="by level",
                )
            )
        return outputs

    def _changed(
        self,
        episode: str,
        time: Instant,
        *,
        began: Instant,
        source: str = "",
        ended: Instant | None = None,
        volume: tuple[float, float] | None = None,
        seen: Seen | None = None,
        salt_kg: float | None = None,
        water_m3: float | None = None,
        how: str = "",
    ) -> EpisodeChanged:
        seen = seen or Seen(None, None, None, None)
        return EpisodeChanged(
            time=time,
            depot=self._depot,
            episode=episode,
            source=source or self.vessel.id,
            began=began,
            ended=ended,
            amount_m3=None if volume is None else round(volume[0], 6),
            amount_uncertainty_m3=None if volume is None else round(volume[1], 6),
            mass_fraction=_rounded(seen.mass_fraction, 6),
            low_95=_rounded(seen.low, 6),
            high_95=_rounded(seen.high, 6),
            temperature_c=_rounded(seen.temperature_c, 2) if volume else None,
            salt_kg=_rounded(salt_kg, 3),
            water_m3=_rounded(water_m3, 6),
            how=how if volume else None,
        )

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            self.points.snapshot(),
            self.loads.snapshot(),
            self.making.snapshot(),
            self._drains.snapshot(),
            [self._idle_since, list(self._levels_of_others), self._told_as],
            [sorted(self._running), dict(self._open)],
            [self._relearned.snapshot(), list(self._seen_last)],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        points, loads, made, drains, rest, pumps, *tested = data
        self.points.restore(points)
        self.loads.restore(loads)
        self.making.restore(made)
        self._drains.restore(drains)
        self._idle_since, others, self._told_as = rest
        self._levels_of_others = list(others)
        self._running, self._open = set(pumps[0]), dict(pumps[1])
        if tested:  # older snapshots have none
            ((relearned, seen),) = tested
            self._relearned.restore(relearned)
            self._seen_last = Seen(*seen)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def vessel_episodes(
    plan: DepotPlan,
    sensors: dict[str, SensorTracker],
    levels: dict[str, LevelTracker],
    pumps: dict[str, PumpTracker],
    *,
    mode: ModeTracker,
    strengths: dict[str, StrengthTracker],
) -> list[VesselEpisodes]:
    """One for each vessel whose level is measured, but for the containment."""
    found = []
    for name, level in levels.items():
        if not level.vessel.holds_brine:
            continue
        thermometer = plan.sensor_of(Measure.TEMPERATURE, name)
        drawing = [one for one in pumps.values() if one.pump.draws_from == name]
        meters = {
            one.pump.id: sensors[meter.id]
            for one in drawing
            if (meter := plan.sensor_of(Measure.FLOW, one.pump.id)) is not None
        }
        found.append(
            VesselEpisodes(
                plan,
                level,
                mode=mode,
                pumps=drawing,
                meters=meters,
                strength=strengths.get(name),
                thermometer=None if thermometer is None else sensors[thermometer.id],
            )
        )
    for one in found:
        one.others = [other for other in found if other is not one and other.vessel.holds_brine]
    return found
