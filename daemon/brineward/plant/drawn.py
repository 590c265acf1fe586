"""How much a load took from a tank, by pump and level together, while it may refill. Pure.

The volume follows a model of three terms: a height at rest, a steady flow that the running pump
takes, and a steady flow that a fill brings from some moment on. Height and both flows are found by
least squares, with what earlier loads showed of the flows as further observations; the moment
is tried out, and each trial counts by how well it explains what was seen (its marginal likelihood:
MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28).
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from brineward.plant.level_points import Point, line_at
from brineward.readings.instants import SECOND, Instant

_TRIAL = 20 * SECOND
_LATEST_FILL = 420 * SECOND
"""A fill that a load starts begins within this time of the load's end."""
_MOST_TRIALS = 30
_EDGE_STEPS = (40 * SECOND, 20 * SECOND, 10 * SECOND, 5 * SECOND)
_SHORTEST = 10 * SECOND
"""A run, or a stop within a load, that is found from the level is no shorter."""
_MOST_FOUND = 4
_LATE_MOST = 120
"""A valve that is opened after the pump was started is so late at most, seconds."""
_LATE_LOOK = 180 * SECOND
_LATE_LAG_SECONDS = 30.0
_LATE_SURE, _LATE_FITS = 50.0, 6.0
_PARTS = ((0.0, 0.8), (0.2, 1.0), (0.0, 0.6), (0.4, 1.0), (0.0, 0.4))
"""Shares of a load that are tried where the whole is not explained."""
_FEWEST_OF_A_PART = 6
FILL_LAG_SECONDS, FILL_LAG_DOUBT_SECONDS = 120.0, 60.0
"""How long after a load's start the fill that it starts arrives, through the float and over the
weir, and the standard uncertainty of that (common practice, no source)."""
_RAMPS = (0.0, 90.0)
_NO_FILL = -3.0
"""Logarithm of the chance that a tank which can be filled is not."""
_FITS = 1.5
"""A larger misfit per point shows that the points are less certain than was assumed."""
_MOST_WIDENED = 5
_COUNTS = 1e-6
"""A trial of less than this share of the best one's weight doesn't count."""
_FILL_LIKE = 0.15
"""A rise afterwards that is faster than the fill by more than this share is another thing as well:
salt tipped in pushes brine over the weir. It says nothing about the fill in the load."""


class Prior(NamedTuple):
    """A flow as it is known beforehand, m3/s; an infinite uncertainty: not at all."""

    flow: float
    standard_uncertainty: float

    def widened(self, share: float) -> "Prior":
        """The same, if it may differ this time by a share of it."""
        doubt = math.hypot(self.standard_uncertainty, share * self.flow)
        return Prior(self.flow, doubt)

    def taught(self, posterior: "Prior", scatter_share: float) -> "Prior":
        """What is known after one load more, whose `posterior` was found from `self` widened.

        The load's own part of it counts as an observation that scatters by a share.
        """
        if math.isinf(self.standard_uncertainty):
            return posterior.widened(scatter_share)
        before = _precision(self.widened(scatter_share))
        of_load = _precision(posterior) - before
        if of_load <= 0.0:
            return self
        seen = (posterior.flow * _precision(posterior) - self.flow * before) / of_load
        weight = 1.0 / (1.0 / of_load + (scatter_share * self.flow) ** 2)
        known = _precision(self)
        flow = (self.flow * known + seen * weight) / (known + weight)
        return Prior(round(flow, 9), round((known + weight) ** -0.5, 9))


def _precision(prior: Prior) -> float:
    return 0.0 if math.isinf(prior.standard_uncertainty) else prior.standard_uncertainty**-2


class Run(NamedTuple):
    """The pump ran from when to when."""

    start: Instant
    stop: Instant


class Known(NamedTuple):
    """What is known before a load is evaluated."""

    flow: Prior
    """The pump's."""
    fill: Prior | None
    """The fill's; None where nothing can fill the vessel."""
    sigma_m3: float
    """Standard uncertainty of a point."""
    may_open_late: bool = False
    """May the valve have been opened after the pump was started, unseen?"""


class Drawn(NamedTuple):
    """What a load took, and what flowed in meanwhile."""

    volume_m3: float
    standard_uncertainty_m3: float
    """Of the levels alone: not of the tank's declared shape."""
    flow: Prior
    """The pump's."""
    fill: Prior | None
    """The fill's; None where none ran."""
    fill_from: Instant | None
    """When the fill began, the load's own start where it ran before; None where none ran."""
    runs: tuple[Run, ...]
    fits: bool
    """Are the points explained as well as they are known?"""


class _Fit(NamedTuple):
    weight: float
    """Logarithm of the marginal likelihood, up to a constant."""
    flow: float
    flow_variance: float
    fill: float
    fill_variance: float
    misfit: float
    """Sum of squares over their variances."""


class _Trial(NamedTuple):
    """How the fill may have begun, and how likely that is beforehand."""

    begins: float
    """Seconds after the start."""
    ramp: float
    """It comes up to its flow by an exponential of so many seconds: a float that opens, a weir."""
    chance: float
    """Logarithm of it, up to a constant."""
    before: bool = False
    """It ran before the load already."""


class _Seen(NamedTuple):
    """What was seen, as volumes at times, each with its weight: one over its variance."""

    times: list[Instant]
    volumes: list[float]
    weights: list[float]
    rose: bool | None
    """Did the level rise before the load, as the fill makes it? None where that isn't known."""


def _seen(points: Sequence[Point], run: Run, known: Known) -> _Seen:
    """The points of the load, and the lines before and after it as one point each.

    The line after it only where it rises by something else than the fill.
    """
    sigma = known.sigma_m3
    times: list[Instant] = []
    volumes: list[float] = []
    weights: list[float] = []

    def add(time: Instant, volume: float, doubt: float) -> None:
        times.append(time)
        volumes.append(volume)
        weights.append(doubt**-2)

    before = [point for point in points if point.time <= run.start]
    fill = known.fill
    rose = None
    if (start := line_at(before, run.start, sigma)) is not None:
        add(run.start, *start[:2])
        rose = fill is not None and start[2] > fill.flow / 2
    else:
        for point in before:
            add(point.time, point.volume_m3, sigma)
    for point in points:
        if run.start < point.time <= run.stop:
            add(point.time, point.volume_m3, sigma)
    after = [point for point in points if point.time > run.stop]
    stop = line_at(after, run.stop, sigma)
    if stop is not None and fill is not None and stop[2] > (1 + _FILL_LIKE) * fill.flow:
        add(run.stop, *stop[:2])
    else:
        for point in after:
            add(point.time, point.volume_m3, sigma)
    return _Seen(times, volumes, weights, rose)


class _Sums:
    """The sums of the normal equations that no trial of the fill's beginning changes."""

    def __init__(self, seen: _Seen, runs: Sequence[Run]) -> None:
        start, base = runs[0].start, seen.volumes[0]
        self.weights = seen.weights
        self.times = [(time - start) / SECOND for time in seen.times]
        self.values = [volume - base for volume in seen.volumes]
        self.ran = [_ran(time, runs) for time in seen.times]
        rows = list(zip(self.weights, self.ran, self.values, strict=True))
        self.n = sum(self.weights)
        self.r = -sum(w * r for w, r, _ in rows)
        self.v = sum(w * v for w, _, v in rows)
        self.rr = sum(w * r * r for w, r, _ in rows)
        self.rv = -sum(w * r * v for w, r, v in rows)
        self.vv = sum(w * v * v for w, _, v in rows)

    def fit(self, trial: _Trial | None, flow: Prior, fill: Prior | None) -> _Fit:
        """Least squares where the fill begins so; None: never."""
        p_flow = _precision(flow)
        b_flow = flow.flow * p_flow
        rr, rv = self.rr + p_flow, self.rv + b_flow
        squares = self.vv + b_flow * flow.flow
        if trial is None or fill is None:
            det = max(self.n * rr - self.r * self.r, 1e-300)
            height = (rr * self.v - self.r * rv) / det
            q = (self.n * rv - self.r * self.v) / det
            misfit = squares - height * self.v - q * rv
            weight = _NO_FILL - misfit / 2 - math.log(det) / 2
            return _Fit(weight, q, self.n / det, 0.0, 0.0, misfit)
        begins, ramp, chance, before = trial
        f = fr = fv = ff = 0.0
        for w, time, ran, value in zip(
            self.weights, self.times, self.ran, self.values, strict=True
        ):
            filled = time - begins
            if filled > 0.0 or before:
                if ramp:
                    filled -= ramp * (1.0 - math.exp(-filled / ramp))
                part = w * filled
                f += part
                ff += part * filled
                fr -= part * ran
                fv += part * value
        p_fill = _precision(fill)
        b_fill = fill.flow * p_fill
        fv += b_fill
        squares += b_fill * fill.flow
        matrix = (self.n, self.r, f, rr, fr, ff + p_fill)
        (height, q, inflow), (var_q, var_f), det = _solve(matrix, (self.v, rv, fv))
        misfit = squares - height * self.v - q * rv - inflow * fv
        # The fill's prior is part of the trials with a fill alone.
        weight = chance - misfit / 2 - math.log(det) / 2 + (math.log(p_fill) / 2 if p_fill else 0.0)
        return _Fit(weight, q, var_q, inflow, var_f, misfit)


def _solve(
    matrix: tuple[float, float, float, float, float, float], right: tuple[float, float, float]
) -> tuple[tuple[float, float, float], tuple[float, float], float]:
    """A symmetric system of three by its cofactors; the variances of the last two unknowns."""
    a, b, c, d, e, f = matrix
    ca, cb, cc = d * f - e * e, c * e - b * f, b * e - c * d
    cd, ce, cf = a * f - c * c, b * c - a * e, a * d - b * b
    det = max(a * ca + b * cb + c * cc, 1e-300)
    x, y, z = right
    found = (
        (ca * x + cb * y + cc * z) / det,
        (cb * x + cd * y + ce * z) / det,
        (cc * x + ce * y + cf * z) / det,
    )
    return found, (cd / det, cf / det), det


def _ran(time: Instant, runs: Sequence[Run]) -> float:
    """For how many seconds the pump had run by then."""
    total = 0
    for start, stop in runs:
        if time <= start:
            break
        total += min(time, stop) - start
    return total / SECOND


def _trials(seen: _Seen, runs: Sequence[Run], known: Known, coarse: int = 1) -> list[_Trial | None]:
    """How the fill may have begun: before the load, in it, after it or never."""
    if known.fill is None:
        return [None]
    start, stop = runs[0].start, runs[-1].stop
    end = max(start + 1, min(seen.times[-1], stop + _LATEST_FILL))
    step = coarse * max(_TRIAL, (end - start) // _MOST_TRIALS)
    trials: list[_Trial | None] = [None]
    if seen.rose is not False:
        trials.append(_Trial(0.0, 0.0, 0.0, before=True))
    if not seen.rose:
        for moment in range(start, end, step):
            begins = (moment - start) / SECOND
            for ramp in _RAMPS:
                far = (begins + ramp - FILL_LAG_SECONDS) / FILL_LAG_DOUBT_SECONDS
                trials.append(_Trial(begins, ramp, -far * far / 2))
    return trials


def drawn(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Drawn | None:
    """What the pump took in these runs, by the points before, in and after them.

    Where that explains the points badly, a valve opened late is tried as well; and then what is
    seen counts for less, and what is known of the flows for more: something is at work that is not
    in the model, such as salt tipped in. None where there are fewer than four points.
    """
    if len(points) < 4 or not runs:
        return None
    found, scale = _drawn(points, runs, known)
    fits = scale <= _FITS
    if not fits:
        if known.may_open_late:
            runs = _opened_late(points, runs, known)
        found, scale = _drawn(points, runs, known)
        if scale > _FITS:
            found, scale = _by_a_part(points, runs, known) or (found, scale)
    for _ in range(_MOST_WIDENED):
        if scale <= _FITS:
            break
        known = known._replace(sigma_m3=known.sigma_m3 * math.sqrt(scale))
        found, scale = _drawn(points, runs, known)
    return found._replace(fits=fits)


def _by_a_part(
    points: Sequence[Point], runs: Sequence[Run], known: Known
) -> tuple[Drawn, float] | None:
    """The same by the longest of some sections of the load that is explained well; else None.

    What disturbs a load, such as salt tipped in, seldom lasts as long as it does.
    """
    start, stop = runs[0].start, runs[-1].stop
    for begins, ends in _PARTS:
        first = start + round(begins * (stop - start)) if begins else 0
        last = start + round(ends * (stop - start)) if ends < 1.0 else points[-1].time
        part = [point for point in points if first <= point.time <= last]
        if sum(1 for point in part if start < point.time <= stop) < _FEWEST_OF_A_PART:
            continue
        found, scale = _drawn(part, runs, known)
        if scale <= _FITS:
            return found, scale
    return None


def _opened_late(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Sequence[Run]:
    """The runs, the first one begun when the level shows that the valve was opened.

    Until then the level goes on as before; after it, it falls as the pump makes it.
    """
    start, stop = runs[0]
    before = line_at([point for point in points if point.time <= start], start, known.sigma_m3)
    early = [point for point in points if start < point.time <= min(stop, start + _LATE_LOOK)]
    if before is None or len(early) < 4:
        return runs
    height, _, rise = before
    comes = 0.0 if known.fill is None or rise > known.fill.flow / 2 else known.fill.flow

    def misfit(late: float) -> float:
        total = 0.0
        for point in early:
            gone = (point.time - start) / SECOND
            ran = max(0.0, gone - late)
            expected = height + rise * gone - known.flow.flow * ran
            if comes:
                expected += comes * max(0.0, ran - _LATE_LAG_SECONDS)
            total += ((point.volume_m3 - expected) / known.sigma_m3) ** 2
        return total

    best = min((late for late in range(0, _LATE_MOST, 5)), key=misfit)
    sure = misfit(0) - misfit(best) > _LATE_SURE and misfit(best) < _LATE_FITS * len(early)
    return (Run(start + best * SECOND, stop), *runs[1:]) if sure else runs


def _drawn(points: Sequence[Point], runs: Sequence[Run], known: Known) -> tuple[Drawn, float]:
    """The same, and how far the points are off, as a mean square over their variance."""
    seen = _seen(points, Run(runs[0].start, runs[-1].stop), known)
    sums = _Sums(seen, runs)
    seconds = sum(run.stop - run.start for run in runs) / SECOND
    fits = [
        (trial, sums.fit(trial, known.flow, known.fill)) for trial in _trials(seen, runs, known)
    ]
    best = max(fit.weight for _, fit in fits)
    shares = [(begins, fit, math.exp(fit.weight - best)) for begins, fit in fits]
    shares = [one for one in shares if one[2] >= _COUNTS]
    total = sum(share for _, _, share in shares)
    flow = sum(fit.flow * share for _, fit, share in shares) / total
    variance = (
        sum((fit.flow_variance + (fit.flow - flow) ** 2) * share for _, fit, share in shares)
        / total
    )
    begins, chosen, _ = max(shares, key=lambda one: one[2])
    doubt = math.sqrt(variance)
    found = Drawn(
        volume_m3=flow * seconds,
        standard_uncertainty_m3=doubt * seconds,
        flow=Prior(flow, doubt),
        fill=None if begins is None else Prior(chosen.fill, math.sqrt(chosen.fill_variance)),
        fill_from=None if begins is None else runs[0].start + round(begins.begins * SECOND),
        runs=tuple(runs),
        fits=True,
    )
    return found, chosen.misfit / max(1, len(seen.times) - 3)


def around(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Drawn | None:
    """The same where no switch says when the pump ran: its starts and stops are found, too.

    Each is moved by less and less to where the points are explained best.
    """
    if len(points) < 4 or not runs:
        return None
    seen = _seen(points, Run(runs[0].start, runs[-1].stop), known)

    def weight(edges: Sequence[Instant]) -> float:
        # Not before the last point that was as before: nothing would hold it there.
        if edges[0] < runs[0].start or any(b - a < _SHORTEST for a, b in pairwise(edges)):
            return -math.inf
        moved = _runs(edges)
        sums = _Sums(seen, moved)
        trials = _trials(seen, moved, known, coarse=2)
        return max(sums.fit(trial, known.flow, known.fill).weight for trial in trials)

    edges = [edge for run in runs[:_MOST_FOUND] for edge in run]
    edges[-1] = runs[-1].stop
    best = weight(edges)
    for step in _EDGE_STEPS:
        for _ in range(3):
            was = best
            for place in range(len(edges)):
                for by in (-step, step):
                    moved = [*edges[:place], edges[place] + by, *edges[place + 1 :]]
                    found = weight(moved)
                    if found > best:
                        edges, best = moved, found
            if best == was:
                break
    return drawn(points, _runs(edges), known._replace(may_open_late=False))


def _runs(edges: Sequence[Instant]) -> tuple[Run, ...]:
    return tuple(Run(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True))
