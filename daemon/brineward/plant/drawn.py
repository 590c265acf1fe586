"""How much a load took from a tank, by pump and level together, while it may refill. Pure.

The volume is a sum of what is known by its form: it stood at some height, the running pump takes a
steady flow, the fill brings a steady one from some moment on. Whatever else flows in wanders
(`inflow_fit`). Height and flows are found by least squares, with what earlier loads have taught of
the flows as further observations; the fill's beginning and how much the rest wanders are tried out,
and each trial counts by how well it explains what was seen (its marginal likelihood: MacKay,
Information Theory, Inference, and Learning Algorithms, 2003, chapter 28).

Where no switch says when the pump ran, each start and stop is moved to where the level bends by the
pump's flow. A start that is moved is a step in the volume, so that it is one more unknown.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from brineward.plant.inflow_fit import Column, Shared, Solved, Unknown, Wander, precision
from brineward.plant.level_points import Line, Point, line_at, line_through
from brineward.readings.instants import SECOND, Instant

_SHORTEST = 10 * SECOND
"""A run, or a stop within a load, that is found from the level is no shorter."""
_MOST_FOUND = 4
_LATE_MOST = 120
"""A valve that is opened after the pump was started is so late at most, seconds."""
_LATE_LOOK = 180 * SECOND
_LATE_LAG_SECONDS = 30.0
_LATE_SURE, _LATE_FITS = 50.0, 6.0
_OPENS_SECONDS, _RAMP_SECONDS = 30.0, 90.0
"""A fill that a load lets in begins so long after the start, when the float opens, and comes up to
its flow over the weir by an exponential of so many seconds (common practice, no source). What it
truly does otherwise is a flow that wanders."""
_BY_HAND = -4.0
"""Logarithm of the chance of each other moment, at which it begins at once: a valve that somebody
opens."""
_TRIAL = 20 * SECOND
_LATEST_FILL = 420 * SECOND
"""It begins within this time of the load's end, or is no part of it."""
_MOST_TRIALS = 30
_NO_FILL = -3.0
"""Logarithm of the chance that a tank which can be filled is not."""
_FITS = 1.5
"""A misfit a point that is larger shows that something is at work which is not in the model."""
_COUNTS = 1e-6
"""A trial of less than this share of the best one's weight doesn't count."""
_WANDERS = (0.0, 1e-11, 1e-10, 1e-9)
"""By how much the variance of what else flows in may grow, m6/s3: within five minutes to a standard
deviation of 0.5 L/s at the most (common practice, no source: a bag of salt a minute)."""
_WANDERS_BEFORE = 30 * SECOND
"""It begins so long before the load: until then the level was as its line shows."""
_STANDS = 1e-5
"""A level that stands may move by so much, m3/s (common practice, no source)."""
_ROUGH_SHARE = 0.3
"""A flow that nothing is known of is guessed from the fall in the load to this share."""
_EDGES = ((40.0, 40.0), (30.0, 20.0), (20.0, 15.0))
"""Rounds of moving starts and stops: how uncertain each still is, and how near to it points are
left out, seconds. A point that reaches over a bend is neither before nor after it."""
_MOST_POINTS = 100
"""In more, every second one is let go: the work grows with their cube."""


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
    return precision(prior.standard_uncertainty)


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


class _Trial(NamedTuple):
    """How the fill may have run, and how likely that is beforehand."""

    begins: float
    """Seconds after the start."""
    ramp: float
    """It comes up to its flow by an exponential of so many seconds."""
    chance: float
    """Logarithm of it, but for a constant."""
    before: bool = False
    """It ran before the load already."""

    def filled(self, gone: float) -> float:
        """For how many seconds it had run in full, `gone` seconds after the start; before the
        start, a negative number where it ran already."""
        if self.before:
            return gone
        open_for = max(0.0, gone - self.begins)
        if not self.ramp:
            return open_for
        return open_for - self.ramp * (1.0 - math.exp(-open_for / self.ramp))


class _Seen(NamedTuple):
    """What was seen: times and volumes."""

    times: list[Instant]
    volumes: list[float]
    before: Line | None
    """How the level went before the load."""


class _Fit(NamedTuple):
    trial: _Trial | None
    wanders: float
    weight: float
    """Logarithm of the marginal likelihood, but for a constant."""
    solved: Solved
    volume_m3: float
    variance_m6: float
    points: int
    """How many were seen."""


def _ran(time: Instant, runs: Sequence[Run]) -> float:
    """For how many seconds the pump had run by then."""
    total = 0
    for start, stop in runs:
        if time <= start:
            break
        total += min(time, stop) - start
    return total / SECOND


def _seen(points: Sequence[Point], run: Run, known: Known) -> _Seen:
    kept = list(points)
    while len(kept) > _MOST_POINTS:
        kept = kept[::2]
    before = [point for point in kept if point.time <= run.start]
    times, volumes = [one.time for one in kept], [one.volume_m3 for one in kept]
    return _Seen(times, volumes, line_through(before, known.sigma_m3))


def _trials(seen: _Seen, runs: Sequence[Run], fill: Prior | None) -> list[_Trial | None]:
    """How the fill may have run: before the load already, let in by it, opened at any moment of it
    or never."""
    if fill is None:
        return [None]
    rose = None if seen.before is None else seen.before.slope > fill.flow / 2
    trials: list[_Trial | None] = [None]
    if rose is not False:
        trials.append(_Trial(0.0, 0.0, 0.0, before=True))
    if not rose:
        trials.append(_Trial(_OPENS_SECONDS, _RAMP_SECONDS, 0.0))
        start = runs[0].start
        end = max(start + 1, min(seen.times[-1], runs[-1].stop + _LATEST_FILL))
        step = max(_TRIAL, (end - start) // _MOST_TRIALS)
        moments = range(0, end - start, step)
        trials += [_Trial(moment / SECOND, 0.0, _BY_HAND) for moment in moments]
    return trials


def _fits(seen: _Seen, runs: Sequence[Run], known: Known, edge_seconds: float = 0.0) -> list[_Fit]:
    """Every trial's fit; where `edge_seconds` is above 0 each start and stop is so uncertain."""
    start = runs[0].start
    seconds = [(time - start) / SECOND for time in seen.times]
    base = seen.volumes[0]
    flow, fill = known.flow, known.fill
    height = Unknown([1.0] * len(seconds), 0.0, math.inf)
    pump = Unknown([-_ran(time, runs) for time in seen.times], *flow)
    fixed = [height, pump]
    if edge_seconds:
        doubt = edge_seconds * flow.flow
        for run in runs:
            fixed += [Unknown(_fallen(seen.times, edge), 0.0, doubt) for edge in run]
    whole = _ran(runs[-1].stop, runs)
    takes = [0.0, whole] + [1.0] * (len(fixed) - 2)
    trials = _trials(seen, runs, fill)
    filled = [[] if trial is None else [trial.filled(gone) for gone in seconds] for trial in trials]
    found = []
    for wanders in _WANDERS:
        wander = Wander(seen.times, known.sigma_m3, start - _WANDERS_BEFORE, wanders)
        volumes = wander.whitened([volume - base for volume in seen.volumes])
        columns = [wander.whitened(one.column) for one in fixed]
        shared = Shared.of(volumes, [*columns, wander.whitened(seconds)])
        for trial, column in zip(trials, filled, strict=True):
            otherwise = _otherwise(seen, trial, fill)
            unknowns = [*fixed, Unknown(seconds, 0.0, otherwise)]
            own: Column | None = None
            chance = 0.0 if fill is None else _NO_FILL
            if trial is not None and fill is not None:
                unknowns.append(Unknown(column, *fill))
                own = wander.whitened(column)
                # The priors of the fill and of the slope are not the same for every trial.
                chance = trial.chance - math.log(fill.standard_uncertainty)
            chance -= math.log(otherwise)
            solved = wander.solve_white(shared, unknowns, own)
            volume = sum(t * x for t, x in zip(takes, solved.values, strict=False))
            variance = _variance(takes, solved.covariance)
            weight = solved.weight + chance
            found.append(_Fit(trial, wanders, weight, solved, volume, variance, len(volumes)))
    return found


def _otherwise(seen: _Seen, trial: _Trial | None, fill: Prior | None) -> float:
    """How uncertain it is by how much the level moves all the while otherwise than is known, m3/s:
    by as much as it did before the load."""
    if seen.before is None:
        return _STANDS
    fills = fill is not None and trial is not None and trial.before
    expected = fill.flow if fills and fill is not None else 0.0
    return math.hypot(_STANDS, seen.before.slope - expected)


def _fallen(times: Sequence[Instant], edge: Instant) -> list[float]:
    return [-1.0 if time > edge else 0.0 for time in times]


def _variance(takes: Sequence[float], covariance: Sequence[Sequence[float]]) -> float:
    count = len(takes)
    return sum(takes[i] * takes[j] * covariance[i][j] for i in range(count) for j in range(count))


class _Together(NamedTuple):
    """Trials weighed against one another."""

    shares: list[tuple[_Fit, float]]
    """Those that count, with their shares of 1."""

    def mean(self, place: int) -> tuple[float, float]:
        """An unknown over all trials, and its variance."""
        mean = sum(share * one.solved.values[place] for one, share in self.shares)
        variance = 0.0
        for one, share in self.shares:
            far = one.solved.values[place] - mean
            variance += share * (one.solved.covariance[place][place] + far * far)
        return mean, variance

    def volume(self) -> tuple[float, float]:
        """The load's, m3, and its variance."""
        mean = sum(share * one.volume_m3 for one, share in self.shares)
        variance = sum(
            share * (one.variance_m6 + (one.volume_m3 - mean) ** 2) for one, share in self.shares
        )
        return mean, variance


def _weighed(fits: Sequence[_Fit]) -> _Together:
    best = max(fit.weight for fit in fits)
    counted = [(fit, math.exp(fit.weight - best)) for fit in fits]
    counted = [one for one in counted if one[1] >= _COUNTS]
    total = sum(share for _, share in counted)
    return _Together([(fit, share / total) for fit, share in counted])


def drawn(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Drawn | None:
    """What the pump took in these runs, by the points before, in and after them.

    Where steady flows explain that badly, a valve opened late is tried as well. None where there
    are fewer than four points.
    """
    if len(points) < 4 or not runs:
        return None
    found = _drawn(points, runs, known)
    if not found.fits and known.may_open_late:
        late = _opened_late(points, runs, known)
        if late is not runs:
            found = _drawn(points, late, known)._replace(fits=False)
    return found


def around(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Drawn | None:
    """The same where no switch says when the pump ran: its starts and stops are found, too."""
    if len(points) < 4 or not runs:
        return None
    moved = [Run(run.start, run.stop) for run in runs[:_MOST_FOUND]]
    moved[-1] = Run(moved[-1].start, runs[-1].stop)
    known = known._replace(flow=_guessed(points, moved, known.flow), may_open_late=False)
    if math.isinf(known.flow.standard_uncertainty):
        return None
    found = None
    for uncertain, apart in _EDGES:
        kept = _apart(points, moved, apart)
        if len(kept) < 4:
            break
        found, steps = _moving(kept, moved, known, uncertain)
        moved = _moved(moved, steps)
        found = found._replace(runs=tuple(moved))
    return found


def _guessed(points: Sequence[Point], runs: Sequence[Run], flow: Prior) -> Prior:
    """The pump's flow; from the fall in the load where nothing was known of it."""
    if not math.isinf(flow.standard_uncertainty):
        return flow
    inside = [one for one in points if runs[0].start <= one.time <= runs[-1].stop]
    if len(inside) < 2:
        return flow
    seconds = max(1.0, _ran(inside[-1].time, runs) - _ran(inside[0].time, runs))
    fell = max(1e-4, (inside[0].volume_m3 - inside[-1].volume_m3) / seconds)
    return Prior(fell, _ROUGH_SHARE * fell)


def _apart(points: Sequence[Point], runs: Sequence[Run], seconds: float) -> list[Point]:
    """The points that are not so near to a start or a stop."""
    edges = [edge for run in runs for edge in run]
    near = seconds * SECOND
    return [one for one in points if all(abs(one.time - edge) >= near for edge in edges)]


def _moving(
    points: Sequence[Point], runs: Sequence[Run], known: Known, edge_seconds: float
) -> tuple[Drawn, list[float]]:
    """What was taken, and by how many seconds each start and stop is off, in their order."""
    seen = _seen(points, runs[0], known)
    fits = _fits(seen, runs, known, edge_seconds)
    together = _weighed(fits)
    flow = max(together.mean(1)[0], 1e-6)
    most = 2 * edge_seconds
    steps = [together.mean(2 + place)[0] / flow for place in range(2 * len(runs))]
    # What fell more at a start fell earlier; what fell more at a stop fell later.
    steps = [-step if place % 2 == 0 else step for place, step in enumerate(steps)]
    return _as_drawn(fits, together, runs), [max(-most, min(most, step)) for step in steps]


def _moved(runs: Sequence[Run], steps: Sequence[float]) -> list[Run]:
    moved: list[Run] = []
    for run, by, till in zip(runs, steps[::2], steps[1::2], strict=True):
        start = run.start + round(by * SECOND)
        if moved:
            start = max(start, moved[-1].stop + _SHORTEST)
        moved.append(Run(start, max(run.stop + round(till * SECOND), start + _SHORTEST)))
    return moved


def _drawn(points: Sequence[Point], runs: Sequence[Run], known: Known) -> Drawn:
    seen = _seen(points, runs[0], known)
    fits = _fits(seen, runs, known)
    return _as_drawn(fits, _weighed(fits), runs)


def _steady(fits: Sequence[_Fit]) -> bool:
    """Do steady flows alone explain what was seen?"""
    best = max((one for one in fits if one.wanders == 0.0), key=lambda one: one.weight)
    return best.solved.misfit <= _FITS * max(1, best.points - 3)


def _as_drawn(fits: Sequence[_Fit], together: _Together, runs: Sequence[Run]) -> Drawn:
    volume, variance = together.volume()
    flow, flow_variance = together.mean(1)
    chosen, _ = max(together.shares, key=lambda one: one[1])
    fill = fill_from = None
    if chosen.trial is not None:
        fill = Prior(chosen.solved.values[-1], math.sqrt(chosen.solved.covariance[-1][-1]))
        fill_from = runs[0].start + round(chosen.trial.begins * SECOND)
    return Drawn(
        volume_m3=volume,
        standard_uncertainty_m3=math.sqrt(variance),
        flow=Prior(flow, math.sqrt(flow_variance)),
        fill=fill,
        fill_from=fill_from,
        runs=tuple(runs),
        fits=_steady(fits),
    )


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
