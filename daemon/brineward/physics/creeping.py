"""A film that grows over a probe, and shows in no single observation and no single test.

At 2 % a month it takes 0.2 % of the reading in three days, as 0.1 K between probe and thermometer
does. But it continues across fills, which strength doesn't, and it goes one way. So all tests and
all observations of standing brine are judged together: how much likelier are they if a film began
to grow a given number of days ago? If far likelier, it is believed, and the probe's factor follows
it. Before that it is suspected: the factor is the mean of those with the film and without, by how
probable each is, and their distance widens the interval.
"""

from math import exp, sqrt
from typing import NamedTuple

from brineward.physics.calibration_prior import (
    DAY_SECONDS,
    RATE_MONTH_DAYS,
    Change,
    change_before,
    point,
)
from brineward.physics.estimate import Estimate, Factor, Held

CREEPS_FROM = 4.0
"""A film is believed if it makes all that was seen this much likelier (natural logarithm of the
ratio): chosen on simulated years of other seeds than those that are reported."""
BEGAN_DAYS = (5, 10, 15, 20, 30, 45, 60, 90, 120)
"""The ages, in days, at which the film may have begun to grow."""
SUSPECTED_FROM = 0.05
"""Less probable than this, a film is left out: it would move and widen next to nothing."""
SURE = 2.5
"""A change that came in a step is a growing film if it has grown lately by this many standard
uncertainties."""
MONTH_SECONDS = RATE_MONTH_DAYS * DAY_SECONDS


class Film(NamedTuple):
    """A film that grows; shares of the reading."""

    began: float
    """Seconds, about."""
    grown: float
    """How much less the probe reads than it did then."""
    per_month: float
    """How much less it came to read in the last month, or since it began, a month."""


class Suspicion(NamedTuple):
    """A film that may have begun to grow, but is not believed yet."""

    probability: float
    estimate: Estimate
    """What tests and observations say if it has."""


def film_believed(estimate: Estimate, seconds: float) -> Change | None:
    """The change "a film has begun to grow", if tests and observations up to `seconds` show one.

    Called once for each state of the probe, and not while a film is believed already.
    """
    found, likelier = likeliest_film(estimate, seconds)
    return found if likelier > CREEPS_FROM else None


def probability_of(likelier: float) -> float:
    """How probable a film is that makes all that was seen so much likelier (natural logarithm of
    the ratio): one that is just believed is as probable as not.
    """
    return 1.0 / (1.0 + exp(CREEPS_FROM - likelier))


def mixed(without: Factor, with_film: Factor, probability: float) -> Factor:
    """The factor if a film is probable by so much: mean and spread of both together."""
    mean, spread = _mixed(without, with_film, probability)
    return Factor(mean, spread)


def mixed_held(without: Held, with_film: Held, probability: float, factors_apart: float) -> Held:
    """The strength held if a film is probable by so much, at the same temperature.

    `factors_apart` is how much higher the factor's logarithm is with the film.
    """
    mean, spread = _mixed(without, with_film, probability)
    p, left = probability, 1.0 - probability
    apart = with_film.log_conductivity - without.log_conductivity
    both = left * without.with_factor + p * with_film.with_factor + p * left * apart * factors_apart
    return without._replace(
        log_conductivity=round(mean, 7),
        standard_uncertainty=round(spread, 7),
        with_factor=round(both, 12),
    )


def _mixed(one: Factor | Held, other: Factor | Held, probability: float) -> tuple[float, float]:
    left, apart = 1.0 - probability, other[0] - one[0]
    variance = left * one[1] * one[1] + probability * other[1] * other[1]
    variance += left * probability * apart * apart
    return one[0] + probability * apart, sqrt(variance)


def likeliest_film(estimate: Estimate, seconds: float) -> tuple[Change | None, float]:
    """When a film is likeliest to have begun to grow, as seen from `seconds`, and how much likelier
    that makes all that was seen (natural logarithm of the ratio); None if one is believed already.
    """
    state = change_before(seconds, estimate.changes)
    if not estimate.tests or state.creeps <= seconds:
        return None, 0.0
    began = [seconds - days * DAY_SECONDS for days in BEGAN_DAYS]
    likelier = {one: estimate.creeping(one) for one in began if one > state.seconds}
    if not likelier:
        return None, 0.0
    best = max(likelier, key=lambda one: likelier[one])
    return Change(best, "creep"), likelier[best]


def film_at(
    estimate: Estimate, seconds: float, temperature_c: float, mass_fraction: float
) -> Film | None:
    """The film that is believed to grow then; None where none is.

    One that came in a step counts where it is sure to go on growing.
    Temperature -25 to 40 degC, mass fraction above 0 to 0.27.
    """
    state = change_before(seconds, estimate.changes)
    creeps = min(state.creeps, state.seconds if state.kind == "step" else seconds)
    if creeps >= seconds:
        return None
    month_ago = max(seconds - MONTH_SECONDS, creeps)
    now, then, first = (
        point(one, temperature_c, mass_fraction, state) for one in (seconds, month_ago, creeps)
    )
    lately = estimate.change(then, now)
    if state.creeps > seconds and lately.log_factor < SURE * lately.standard_uncertainty:
        return None
    return Film(
        creeps,
        round(estimate.change(first, now).log_factor, 6),
        round(lately.log_factor * MONTH_SECONDS / (seconds - month_ago), 6),
    )
