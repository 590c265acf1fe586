"""Fills and batches: what a vessel was filled with, from when to when; when it stood.

Mutable, but pure. A fill begins where the level rises for sure, or inside the load that let it in;
it continues through loads, and what they took is added to what the level shows. A batch is all that
was made between two standing periods: its mass is that of the tank after, less that before, plus
all that left meanwhile, each by its own strength and temperature, so that cooling is no loss.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.physics.density import density
from brineward.physics.water import FRESH_KG_PER_M3
from brineward.plant.level_points import LevelPoints, Line, Point, line_through, mean_m3
from brineward.plant.loads import SHAPE_STANDARD_SHARE, WAVES, Loads, Settled
from brineward.plant.plan import DepotPlan, Vessel
from brineward.plant.relearned import as_shown_now
from brineward.plant.seen_strength import Seen
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant

RISES_SHARE = 0.12
"""A level that rises by this share of the declared fill is filled."""
RISES_M3_PER_S = 1e-4
"""The same where no fill is declared (common practice, no source)."""
RESTS_SHARE = 0.05
"""A fill that brings less than this share of its flow has as good as ended."""
RISE_SIGMAS, REST_SIGMAS = 4.0, 2.0
LEAST_FILL_M3 = 0.03
"""Less is no fill: a bucket, foam, warmth (common practice, no source)."""
QUIET = 5 * MINUTE
"""A fill that hasn't risen for so long has ended: a float closes slowly."""
STAND = 10 * MINUTE
"""A vessel without movement for this long is at rest, and a batch is complete (common practice, no
source)."""
BLENDS_FOR = 2 * HOUR
"""How long at most the strength of a new batch is watched until it is steady."""
STEADY_FOR = 20 * MINUTE
STEADY = 4e-4
"""A strength that moved by less, as a mass fraction, in that time is steady."""
_SPANS = (180 * SECOND, 300 * SECOND)
_FEWEST = 4


class Gone(NamedTuple):
    """What has left the vessel since the beginning."""

    volume_m3: float = 0.0
    mass_kg: float = 0.0
    salt_kg: float = 0.0
    variance_m6: float = 0.0


class Stock(NamedTuple):
    """The contents of a vessel at rest."""

    time: Instant
    volume_m3: float
    standard_uncertainty_m3: float
    seen: Seen
    gone: Gone
    """What had left by then."""


class Filled(NamedTuple):
    """A fill has begun, or ended."""

    began: Instant
    ended: Instant | None = None
    volume_m3: float | None = None
    standard_uncertainty_m3: float | None = None
    with_loads: bool = False


class Made(NamedTuple):
    """A batch has begun, is complete, or is known better."""

    began: Instant
    ended: Instant | None = None
    volume_m3: float | None = None
    standard_uncertainty_m3: float | None = None
    seen: Seen = Seen(None, None, None, None)
    salt_kg: float | None = None
    water_m3: float | None = None
    with_loads: bool = False


class Blended(NamedTuple):
    """What a batch was blended: from the end of its fill until its strength was steady."""

    began: Instant
    ended: Instant


News = Filled | Made | Blended


class Under(NamedTuple):
    """A fill or a batch under way: when it began, and what there was before it."""

    began: Instant
    before: Stock


class Blending(NamedTuple):
    """A complete batch whose strength is still watched."""

    batch: Under
    ended: Instant
    looked: Instant
    strength: float | None
    """As it was then."""


class Making:
    """What is made in one vessel."""

    def __init__(self, plan: DepotPlan, vessel: Vessel, points: LevelPoints, loads: Loads) -> None:
        self._points, self._loads = points, loads
        self._nominal = plan.strength.target
        declared = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
        self._rises = RISES_SHARE * declared if declared else RISES_M3_PER_S
        self._rests = RESTS_SHARE / RISES_SHARE * self._rises
        self.gone = Gone()
        self.stood: Stock | None = None
        """As it was when last at rest: what the next batch begins with."""
        self._rested: Stock | None = None
        """As it was when the last fill ended, or since: what the next fill begins with."""
        self.fill: Under | None = None
        self.batch: Under | None = None
        self.blending: Blending | None = None
        self._filled: Instant = 0
        """When the last fill ended."""
        self._last_rise: Instant = 0
        self.moved: Instant = 0
        """When anything moved last."""
        self._rose = False
        """Did it rise while a load waits to be settled?"""

    # -- what left

    def left(self, load: Settled) -> list[News]:
        """A load was settled: what left, and whether a fill began inside it."""
        self._leave(load.left_m3, load.standard_uncertainty_m3**2, load.seen, load.mass_kg)
        self.moved = max(self.moved, load.ended)
        rose, self._rose = self._rose, False
        if self.fill is not None or not rose:
            return []
        return self._begin_fill(max(load.fill_from or 0, load.began))

    def drained(self, volume_m3: float, seen: Seen, ended: Instant) -> None:
        """This much left in another way."""
        mass = volume_m3 * density(seen.or_nominal(self._nominal), seen.warmth)
        self._leave(volume_m3, (SHAPE_STANDARD_SHARE * volume_m3) ** 2, seen, mass)
        self.moved = max(self.moved, ended)

    def _leave(self, volume_m3: float, variance: float, seen: Seen, mass_kg: float) -> None:
        gone = self.gone
        self.gone = Gone(
            round(gone.volume_m3 + volume_m3, 6),
            round(gone.mass_kg + mass_kg, 4),
            round(gone.salt_kg + seen.or_nominal(self._nominal) * mass_kg, 4),
            round(gone.variance_m6 + variance, 9),
        )

    def relearned(self, factor: float) -> None:
        """A test has taught the probe: what was seen before it counts as it would be seen now."""
        share = 1.0
        if self.stood is not None and self.stood.seen.mass_fraction:
            now_shown = as_shown_now(self.stood.seen, factor)
            share = (now_shown.mass_fraction or 0.0) / self.stood.seen.mass_fraction

        def again(stock: Stock) -> Stock:
            gone = stock.gone._replace(salt_kg=round(stock.gone.salt_kg * share, 4))
            return stock._replace(seen=as_shown_now(stock.seen, factor), gone=gone)

        def under_again(under: Under) -> Under:
            return under._replace(before=again(under.before))

        self.gone = self.gone._replace(salt_kg=round(self.gone.salt_kg * share, 4))
        self.stood = self.stood and again(self.stood)
        self._rested = self._rested and again(self._rested)
        self.fill = self.fill and under_again(self.fill)
        self.batch = self.batch and under_again(self.batch)
        if self.blending is not None:
            self.blending = self.blending._replace(batch=under_again(self.blending.batch))

    # -- one point

    def point(self, point: Point, sigma_m3: float, seen: Seen) -> list[News]:
        """A point is known, and what strength and temperature are seen now."""
        if self._rested is None:
            # Seen for the first time, perhaps in the middle of a fill.
            self._rested = Stock(point.time, point.volume_m3, sigma_m3, seen, self.gone)
            self.stood = self._rested
        if self._loads.now is not None and self._loads.now.running:
            self.moved = point.time
            return self._end_blending(point.time) if self._loads.now.announced else []
        rises = self._rises_now(point, sigma_m3)
        if self._loads.now is not None:
            self._rose = self._rose or rises
            return []
        if self.fill is None and rises:
            came = point.volume_m3 - self._rested.volume_m3
            came += self.gone.volume_m3 - self._rested.gone.volume_m3
            if came < max(LEAST_FILL_M3, RISE_SIGMAS * sigma_m3):
                return []
            return self._begin_fill(self._left_level(point, sigma_m3))
        return self._rest(point, sigma_m3, seen)

    def _rises_now(self, point: Point, sigma_m3: float) -> bool:
        """Does it rise for sure?"""
        line: Line | None = None
        rises = False
        for span in _SPANS:
            points = self._points.since(max(point.time - span, self._loads.ended + WAVES))
            line = line_through(points, sigma_m3) if len(points) >= _FEWEST else None
            if line is not None:
                rises = rises or line.slope > max(self._rises, RISE_SIGMAS * line.uncertainty)
        if line is not None and line.slope > max(self._rests, REST_SIGMAS * line.uncertainty):
            self._last_rise = point.time
        if rises:
            self.moved = self._last_rise = point.time
        return rises

    def _left_level(self, point: Point, sigma_m3: float) -> Instant:
        """When a rising level left the one at which it rested."""
        points = self._points.since(max(point.time - _SPANS[0], self._loads.ended + WAVES))
        line = line_through(points, sigma_m3)
        rested = self._rested
        if rested is None or line is None or line.slope <= 0.0:
            return point.time
        seconds = (point.volume_m3 - rested.volume_m3) / line.slope
        earliest = max(rested.time, point.time - 2 * QUIET)
        return max(earliest, point.time - max(0, round(seconds * SECOND)))

    # -- fills

    def _begin_fill(self, began: Instant) -> list[News]:
        rested, stood = self._rested, self.stood
        if rested is None or stood is None:
            return []
        self.fill = Under(began, rested)
        inside = self.gone.volume_m3 > rested.gone.volume_m3
        news: list[News] = [*self._end_blending(began), Filled(began, with_loads=inside)]
        if self.batch is None:
            self.batch = Under(began, stood)
            news.append(Made(began, with_loads=inside))
        return news

    def _end_fill(self, sigma_m3: float, seen: Seen) -> list[News]:
        fill, self.fill = self.fill, None
        if fill is None:
            return []
        self._filled = max(self._last_rise, fill.began)
        points = self._points.since(self._last_rise) or list(self._points.points)[-1:]
        sigma = sigma_m3 / math.sqrt(len(points))
        rested = Stock(points[-1].time, round(mean_m3(points), 6), sigma, seen, self.gone)
        self._rested = rested
        came = rested.volume_m3 - fill.before.volume_m3
        came += self.gone.volume_m3 - fill.before.gone.volume_m3
        return [
            Filled(
                fill.began,
                self._filled,
                round(came, 6),
                round(_doubt(came, fill.before, rested), 6),
                self.gone.volume_m3 > fill.before.gone.volume_m3,
            )
        ]

    # -- standing, and batches

    def _rest(self, point: Point, sigma_m3: float, seen: Seen) -> list[News]:
        """Nothing rises and nothing is drawn: has the fill ended, is the vessel at rest?"""
        since = max(self._last_rise, self._loads.ended)
        news: list[News] = []
        if self.fill is not None:
            if point.time - since < QUIET:
                return []
            news += self._end_fill(sigma_m3, seen)
        quiet = self._points.since(max(self.moved, since) + WAVES)
        if len(quiet) < _FEWEST:
            return news
        sigma = sigma_m3 / math.sqrt(len(quiet))
        stock = Stock(point.time, round(mean_m3(quiet), 6), sigma, seen, self.gone)
        if self.batch is not None:
            if point.time - max(since, self.moved, self._filled) < STAND:
                return news
            batch, self.batch = self.batch, None
            ended = max(self._filled, batch.began)
            self.blending = Blending(batch, ended, point.time, seen.mass_fraction)
            news.append(self._made(batch, ended, stock))
        self.stood = self._rested = stock
        return news + self._blend(point.time, seen)

    def _blend(self, time: Instant, seen: Seen) -> list[News]:
        """Is the strength of the last batch steady?"""
        blending = self.blending
        if blending is None or time - blending.looked < STEADY_FOR:
            return []
        was, now = blending.strength, seen.mass_fraction
        steady = was is None or now is None or abs(now - was) < STEADY
        if steady or time - blending.ended >= BLENDS_FOR:
            return self._end_blending(time)
        self.blending = blending._replace(looked=time, strength=now)
        return []

    def _end_blending(self, time: Instant) -> list[News]:
        blending, self.blending = self.blending, None
        if blending is None or self.stood is None:
            return []
        made = self._made(blending.batch, blending.ended, self.stood)
        return [Blended(blending.ended, time), made]

    def _made(self, batch: Under, ended: Instant, after: Stock) -> Made:
        """What was made, by the mass before and after and of all that left."""
        before = batch.before
        mass_before, salt_before = self._mass(before)
        mass_after, salt_after = self._mass(after)
        mass = mass_after - mass_before + after.gone.mass_kg - before.gone.mass_kg
        salt = salt_after - salt_before + after.gone.salt_kg - before.gone.salt_kg
        volume = mass / density(after.seen.or_nominal(self._nominal), after.seen.warmth)
        known = after.seen.mass_fraction is not None
        return Made(
            began=batch.began,
            ended=ended,
            volume_m3=round(volume, 6),
            standard_uncertainty_m3=round(_doubt(volume, before, after), 6),
            seen=after.seen,
            salt_kg=round(salt, 3) if known else None,
            water_m3=round((mass - salt) / FRESH_KG_PER_M3, 6) if known else None,
            with_loads=after.gone.volume_m3 > before.gone.volume_m3,
        )

    def _mass(self, stock: Stock) -> tuple[float, float]:
        """The mass of the brine and of the salt in it, kg."""
        strength = stock.seen.or_nominal(self._nominal)
        mass = stock.volume_m3 * density(strength, stock.seen.warmth)
        return mass, mass * strength

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            list(self.gone),
            [_plain(self.stood), _plain(self._rested)],
            [_under_plain(self.fill), _under_plain(self.batch)],
            self.blending and [_under_plain(self.blending.batch), *self.blending[1:]],
            [self._filled, self._last_rise, self.moved, self._rose],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        gone, (stood, rested), (fill, batch), blending, times = data
        self.gone = Gone(*gone)
        self.stood, self._rested = _stock(stood), _stock(rested)
        self.fill, self.batch = _under(fill), _under(batch)
        self.blending = None
        if blending is not None and (of := _under(blending[0])) is not None:
            self.blending = Blending(of, *blending[1:])
        self._filled, self._last_rise, self.moved, self._rose = times


def _doubt(volume: float, before: Stock, after: Stock) -> float:
    """Standard uncertainty of what came in: the levels of both ends, what left, the shape."""
    left = max(0.0, after.gone.variance_m6 - before.gone.variance_m6)
    ends = before.standard_uncertainty_m3**2 + after.standard_uncertainty_m3**2
    return math.sqrt(ends + left + (SHAPE_STANDARD_SHARE * volume) ** 2)


def _plain(stock: Stock | None) -> list[Any] | None:
    return stock and [*stock[:3], list(stock.seen), list(stock.gone)]


def _under_plain(under: Under | None) -> list[Any] | None:
    return under and [under.began, _plain(under.before)]


def _stock(data: Sequence[Any] | None) -> Stock | None:
    if data is None:
        return None
    time, volume, doubt, seen, gone = data
    return Stock(time, volume, doubt, Seen(*seen), Gone(*gone))


def _under(data: Sequence[Any] | None) -> Under | None:
    if data is None or (before := _stock(data[1])) is None:
        return None
    return Under(data[0], before)
