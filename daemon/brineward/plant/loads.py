"""Loads: what was drawn from a vessel, from when to when, how much, how strong, how certain.

Mutable, but pure. If a switch shows when the pump runs, a load is what it took between two pauses
of three minutes or more; if none does, it is a fall too fast for anything else. The volume is that
of a meter and of the level, weighed by their uncertainty; see `drawn` for the level's.
"""

import math
from typing import Any, Literal, NamedTuple

from brineward.physics.density import density
from brineward.plant import load_balance
from brineward.plant.drawn import Drawn, Known, Prior, Run, around, drawn
from brineward.plant.level_points import LevelPoints, Point
from brineward.plant.levels import LevelTracker
from brineward.plant.load_under_way import LoadUnderWay, fallen_m3
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.seen_strength import Seen
from brineward.readings.instants import MINUTE, SECOND, Instant

LEAST_M3 = 0.08
"""Less is no load: a hose that is flushed, a bucket (common practice, no source)."""
SHAPE_STANDARD_SHARE = load_balance.SHAPE_SHARE / math.sqrt(3.0)
METER_STANDARD_SHARE = load_balance.METER_SHARE / math.sqrt(3.0)
"""How good a tank's declared shape and a meter in a hose are, as standard uncertainties: their
plus-or-minus evenly spread (JCGM 100:2008, 4.3.7)."""
RATIO_DRIFT = 0.001
"""Between two loads a meter may have drifted by this share."""
BY_PUMP = "by pump curve and level"
CIRCULATES_SHARE = 0.3
"""A pump whose tank gives less than this share of what the meter shows gives it back."""
STOP_AND_GO = 3 * MINUTE
"""A pump that is stopped for less goes on with the same load: a hose was moved (common practice,
no source; the next truck takes longer to connect)."""
AFTER = 8 * MINUTE
"""How long after its end a load's volume is settled, or when the next load begins: the levels
afterwards tell how fast the fill ran meanwhile."""
BEFORE = 6 * MINUTE
"""Levels before a load that help to tell where it began."""
WAVES = 15 * SECOND
"""How long after a stop the surface still swings (common practice, no source)."""
FLOW_SCATTER = 0.01
"""How far a pump's flow differs from load to load, by hose, nozzle and level (common practice, no
source)."""
FILL_SCATTER = 0.03
"""How far a fill's does, by the mains' pressure (common practice, no source)."""
LEARNS_LATELY = 0.003
"""Between two loads a flow may have drifted by this share of it."""
DECLARED_SHARE = 0.15
"""A flow as the config declares it is so good (common practice, no source)."""
TAPERS_M = 0.06
"""How near its mark the float lets in less than its full flow."""
TRUE_FALL_SIGMAS = 6.0
"""A fall of so many standard uncertainties of a point within two of them is no noise."""
LEAST_FALL_M3_PER_S = 5e-4
"""A slower fall is no load if there is no switch (common practice, no source: 0.5 L/s is a garden
hose)."""
AGREE = 3.0
"""Where meter and level differ by more of their standard uncertainties, brine was lost on the way:
then the meter alone shows what reached the truck."""


class Begun(NamedTuple):
    """A load shows: the pump draws, and the level falls."""

    source: str
    began: Instant


Kind = Literal["load", "circulation"]


class Settled(NamedTuple):
    """What became of a run of the pump, once that is known."""

    kind: Kind
    source: str
    began: Instant
    ended: Instant
    volume_m3: float
    standard_uncertainty_m3: float
    left_m3: float
    """What left the tank: more than `volume_m3` where some was lost on the way, none of what
    circulates."""
    mass_kg: float
    """Of what left it."""
    seen: Seen
    how: str
    fill_from: Instant | None
    """When a fill began in it, its own start where it ran before; None where none ran."""


News = Begun | Settled


class Loads:
    """The loads of one vessel."""

    def __init__(
        self, plan: DepotPlan, level: LevelTracker, points: LevelPoints, *, by_switch: bool
    ) -> None:
        self._level, self._points = level, points
        self._nominal = plan.strength.target
        vessel = level.vessel
        pumps = [pump for pump in plan.pumps.values() if pump.draws_from == vessel.id]
        self._flows = {pump.id: pump.flow_m3_per_s for pump in pumps}
        self.by_switch = by_switch
        """Does a switch say when it is drawn from?"""
        self._valves_seen = {
            pump.id
            for pump in pumps
            if any(plan.sensor_of(Measure.OPEN, valve) is not None for valve in pump.valves)
        }
        """The pumps that have a valve whose switch says when it is opened."""
        self._alone = pumps[0].id if len(pumps) == 1 else vessel.id
        self.now: LoadUnderWay | None = None
        self.ended: Instant = 0
        """When the pump last stopped."""
        self._flow: dict[str, Prior] = {}
        self._ratio: dict[str, Prior] = {}
        """By pump: what the levels show for each cubic metre of its meter."""
        declared = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
        self._declared_fill = declared
        self.fill = Prior(declared, DECLARED_SHARE * declared) if declared else None
        self._mark_m3 = math.inf
        if vessel.fill_mark_m is not None:
            self._mark_m3 = vessel.shape.volume_m3(vessel.fill_mark_m - TAPERS_M)

    # -- what begins and ends it

    def started(self, time: Instant, source: str) -> list[News]:
        """A pump began to draw."""
        load, news = self.now, []
        if load is not None and load.source == source and time - load.stopped < STOP_AND_GO:
            load.restart(time)
            return []
        if load is not None:
            news = self.settle(time)
        before = self._points.since(max(time - BEFORE, self.ended + WAVES))
        self.now = LoadUnderWay(time, source, [one for one in before if one.time < time])
        return news

    def stopped(self, time: Instant) -> None:
        """It stopped."""
        if self.now is not None and self.now.running:
            self.now.runs[-1][1] = self.ended = time
            self.now.metered.stop(time)

    def opened(self, time: Instant) -> None:
        """Its valve was opened after the pump was started: nothing had flowed before."""
        load = self.now
        if load is None or not load.running:
            return
        load.runs[-1][0] = time
        load.metered.start(time)
        if not load.announced and len(load.runs) == 1:
            load.began = time

    def point(self, point: Point, sigma_m3: float) -> list[News]:
        """A point is known; what follows from it."""
        news = [] if self.by_switch else self._by_fall(point, sigma_m3)
        load = self.now
        if load is None or point.time <= load.began:
            return news
        if load.running or point.time - load.stopped > WAVES:
            load.add(point)
        if not load.announced and fallen_m3(load) > max(LEAST_M3, 5 * sigma_m3):
            load.announced = True
            news.append(Begun(load.source, load.began))
        return news

    def look(self, time: Instant) -> list[News]:
        """Time has come to `time`: settle what is due."""
        load = self.now
        if load is None or load.running or time - load.stopped < AFTER:
            return []
        return self.settle(time)

    def _by_fall(self, point: Point, sigma_m3: float) -> list[News]:
        """If there is no switch, a fast fall is a load."""
        points = self._points.points
        if len(points) < 3:
            return []
        was, last = points[-3], points[-2]
        seconds = (point.time - was.time) / SECOND
        if seconds > 10 * self._points.length_seconds:
            return []
        least = max(LEAST_FALL_M3_PER_S * seconds, TRUE_FALL_SIGMAS * math.sqrt(2) * sigma_m3)
        load = self.now
        if load is None or not load.running:
            fast = was.volume_m3 - point.volume_m3 > least
            if not fast:
                return []
            news = self.started(was.time, self._alone)
            if self.now is not load and self.now is not None:
                self.now.points += [was, last]
            return news
        if last.volume_m3 - point.volume_m3 < least / 4:
            self.stopped(last.time)
        return []

    # -- its volume

    def settle(self, time: Instant) -> list[News]:
        """The load is over: how much it took."""
        load, self.now = self.now, None
        if load is None:
            return []
        if load.running:
            load.runs[-1][1] = time
            load.metered.stop(time)
        found = None
        if not self._level.sensor.implausible:
            noise = math.sqrt(self._level.course.noise.variance)
            found = self._by_level(load, self._points.uncertainty_m3(noise))
        return self._weighed(load, found)

    def _by_level(self, load: LoadUnderWay, sigma_m3: float) -> Drawn | None:
        points = [one for one in load.points if self._useful(load, one)]
        runs = [Run(start, stop) for start, stop in load.runs]
        flow = self._flow_of(load.source).widened(FLOW_SCATTER)
        fill = None if self.fill is None else self.fill.widened(FILL_SCATTER)
        known = Known(flow, fill, sigma_m3, load.source not in self._valves_seen)
        if sum(1 for one in points if one.time > load.began) < 3:
            return None
        return drawn(points, runs, known) if self.by_switch else around(points, runs, known)

    def _useful(self, load: LoadUnderWay, point: Point) -> bool:
        """Near its mark a float valve gives no steady flow: those levels would mislead."""
        if point.volume_m3 < self._mark_m3:
            return True
        if point.time <= load.began:
            return point.time > load.began - 2 * MINUTE
        stopped = load.stopped
        return point.time <= stopped or point.time < stopped + MINUTE

    def _flow_of(self, source: str) -> Prior:
        known = self._flow.get(source)
        if known is not None:
            return known
        declared = self._flows.get(source, 0.0)
        return Prior(declared, DECLARED_SHARE * declared if declared else math.inf)

    def _weighed(self, load: LoadUnderWay, found: Drawn | None) -> list[News]:
        seconds = sum(stop - start for start, stop in load.runs) / SECOND
        metered = load.metered.volume()
        volume, doubt, how = self._together(load.source, metered, found)
        if not how and self.by_switch and load.announced:
            flow = self._flow_of(load.source)
            volume, doubt = flow.flow * seconds, flow.standard_uncertainty * seconds
            how = "by pump curve"
        by_level = None if found is None else found.volume_m3
        left = volume if by_level is None or how != "by meter" else max(volume, by_level)
        kind: Kind = "load"
        if not load.announced and by_level is not None and by_level < LEAST_M3:
            if metered is None or by_level > CIRCULATES_SHARE * metered[0]:
                return []
            kind, left, (volume, doubt), how = "circulation", 0.0, metered, "by meter"
        if volume < LEAST_M3 and not load.announced:
            return []
        if kind == "load" and found is not None:
            self._learn(load.source, found)
        return [self._settled(load, found, kind, (volume, doubt, left), how)]

    def _together(
        self, source: str, metered: tuple[float, float] | None, found: Drawn | None
    ) -> tuple[float, float, str]:
        """The volume by meter and by level, m3, its standard uncertainty, and by which.

        Both have a relative error that lasts: the meter its own, the level that of the tank's
        shape. What the level shows about the meter is learned from load to load, so that a load's
        own levels add only their random errors, which average out.
        """
        if metered is None:
            if found is None:
                return 0.0, math.inf, ""
            shape = SHAPE_STANDARD_SHARE * found.volume_m3
            doubt = math.hypot(found.standard_uncertainty_m3, shape)
            return found.volume_m3, doubt, BY_PUMP if self.by_switch else "by level"
        volume, chance = metered
        if volume <= 0.0:
            return 0.0, chance, "by meter"
        known = self._ratio.get(source, Prior(1.0, math.inf))
        how = "by meter"
        if found is not None:
            shown = found.volume_m3 / volume
            doubt = found.standard_uncertainty_m3 / volume
            far = math.hypot(doubt, math.hypot(SHAPE_STANDARD_SHARE, METER_STANDARD_SHARE))
            if abs(shown - 1.0) <= AGREE * far:
                how = "by meter and level"
                if found.fits:
                    known = self._ratio[source] = _averaged(known, Prior(shown, doubt))
        of_level = (known.standard_uncertainty**2 + SHAPE_STANDARD_SHARE**2) ** -1
        of_meter = METER_STANDARD_SHARE**-2
        share = (known.flow * of_level + of_meter) / (of_level + of_meter)
        doubt = math.hypot(volume * (of_level + of_meter) ** -0.5, chance)
        return volume * share, doubt, how

    def _settled(
        self,
        load: LoadUnderWay,
        found: Drawn | None,
        kind: Kind,
        volumes: tuple[float, float, float],
        how: str,
    ) -> Settled:
        began, ended = load.began, load.runs[-1][1]
        if not self.by_switch and found is not None:
            ended = found.runs[-1].stop
            began = load.began if load.announced else found.runs[0].start
        seen = load.strength.found()
        volume, doubt, left = volumes
        return Settled(
            kind=kind,
            source=load.source,
            began=began,
            ended=ended,
            volume_m3=volume,
            standard_uncertainty_m3=doubt,
            left_m3=left,
            mass_kg=left * density(seen.or_nominal(self._nominal), seen.warmth),
            seen=seen,
            how=how or "by level",
            fill_from=None if found is None else found.fill_from,
        )

    def _learn(self, source: str, found: Drawn) -> None:
        """Only by loads that nothing disturbed."""
        if not found.fits:
            return
        known = self._flow_of(source)
        taught = known.taught(found.flow, FLOW_SCATTER)
        self._flow[source] = taught.widened(LEARNS_LATELY)
        if found.fill is not None and self.fill is not None:
            taught = self.fill.taught(found.fill, FILL_SCATTER)
            self.fill = taught.widened(LEARNS_LATELY)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        flows = {source: list(prior) for source, prior in self._flow.items()}
        ratios = {source: list(prior) for source, prior in self._ratio.items()}
        now = self.now and self.now.snapshot()
        return [now, self.ended, flows, ratios, self.fill and list(self.fill)]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        now, self.ended, flows, ratios, fill = data
        self._ratio = {source: Prior(*prior) for source, prior in ratios.items()}
        self.now = None if now is None else LoadUnderWay.restored(now)
        self._flow = {source: Prior(*prior) for source, prior in flows.items()}
        self.fill = None if fill is None else Prior(*fill)


def _averaged(known: Prior, shown: Prior) -> Prior:
    """What is known of a ratio after one more load; it may drift slowly."""
    a, b = known.widened(RATIO_DRIFT).standard_uncertainty ** -2, shown.standard_uncertainty**-2
    return Prior(round((known.flow * a + shown.flow * b) / (a + b), 9), round((a + b) ** -0.5, 9))
