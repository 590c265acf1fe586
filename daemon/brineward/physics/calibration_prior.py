"""What is assumed of a probe before any test: how its errors correlate over time and temperature.

A test compares the strength by a hydrometer with what the probe said then. It shows one number, the
logarithm of true over read conductivity, and that number is a sum of errors that last for very
different times. Each is taken as normal, with a covariance that follows from its nature:

- the probe's constant drifts: what it is now says less and less about what it will be;
- the thermometer's bias acts through the curve's slope in temperature, steeper in the cold;
- the curve's own error (`model_uncertainty`) has a level, a component for strengths that nobody
  measured, and one that grows away from where they did; temperatures far apart share less of it;
- what else is dissolved changes with the salt that is delivered.

So a test says most about readings soon after it, at its temperature and strength; this module says
how much less it says further off. How long errors last is judgement (common practice, no source);
their sizes are those of the sensors and the curve.
"""

from collections.abc import Sequence
from math import exp, inf, sqrt
from typing import Final, Literal, NamedTuple

from brineward.physics.conductivity import slope_in_mass_fraction, slope_in_temperature
from brineward.physics.model_uncertainty import REPEATED_LEVEL, model_parts

DAY_SECONDS = 86_400.0

ChangeKind = Literal["new", "cleaned", "step", "creep"]

PROBE_LIFE_DAYS = 450.0
"""A probe's constant drifts by its own standard uncertainty in some seven months."""
THERMOMETER_LIFE_DAYS = 1000.0
APART_STAYS = 0.5
"""The part (in variance) of the temperature difference between probe and thermometer that stays as
it is, because of where the two sit; the rest changes with weather, sun and heater (judgement)."""
SALT_LIFE_DAYS = 90.0
SALT_STAYS = 0.5
"""Half of it (in variance) is the region's salt; the rest goes with deliveries over some weeks."""
IMPURITY = 0.0035
"""Other salts, relative on conductivity: 1.5 % of calcium sulfate and 0.3 % of magnesium chloride
in the salt take 0.4-0.6 % (PHREEQC; made-up compositions, so only the size counts)."""
STEP = 0.04
"""A film, scale or air, once a change was seen: the new constant may be anywhere about this far."""
CLEANED = 0.015
"""After a cleaning the constant is back near its data sheet's, give or take how it was mounted."""
RATE = 0.02
"""After a change it may go on: a film grows by up to so much a month."""
RATE_MONTH_DAYS = 30.0
RATE_LIFE_DAYS = 180.0
"""A film stops growing after half a year or so: it sheds, or it covers all that there is."""
RATE_WANDERS = 0.3
"""By this share of `RATE` a film's rate may have become another in a month (judgement)."""
SLOPE = 0.03
"""The curve's slope in strength, relative: over one percent of salt the fitted forms and PHREEQC
differ by one to four hundredths of the change."""
_SLOPE_FROM = 0.233
COLD_REACH_K = 6.0
COLD_PER_K = 0.0015
"""Error of the curve's slope below 0 degC, per kelvin, shared by temperatures close together:
nobody has measured there, and the outside estimates differ in curvature as well as in slope. With
what `model_uncertainty` has there, 0.0015 per kelvin, it is the 0.0021 by which their slopes
differ."""
FAR_REACH_K = 20.0
"""The curve's error far from 25 degC is correlated over about this many kelvin: half of what the
fitted forms are between 20 degC and the coldest that was measured."""
REPEATED_REACH_K = 4.0
REPEATED_REACH = 0.02
_LEVELS: Final = {"new": 0.0, "cleaned": CLEANED * CLEANED, "step": STEP * STEP}
"""Variance of the probe's constant, on top of its data sheet's."""


class Point(NamedTuple):
    """Where a test was made or a reading is to be judged, and what each error weighs there."""

    seconds: float
    temperature_c: float
    mass_fraction: float
    change: "Change"
    """The last change of the probe before it."""
    grown: float
    """How far a film may have grown since then, in months' growth."""
    crept: float
    """The same of a film that came without a step, and began to grow later."""
    thermal: float
    """Of ln(conductivity), per kelvin."""
    level: float
    gap: float
    far: float
    slope: float
    cold: float


class Change(NamedTuple):
    """A change of the probe: a film, scale, air, or a cleaning; or that a film begins to grow."""

    seconds: float
    kind: ChangeKind
    creeps: float = inf
    """When a film began to grow after it and before the next; infinite where none did."""


NEVER = Change(-inf, "new")


def change_before(seconds: float, changes: Sequence[Change]) -> Change:
    """The last of the changes, which are in order of time, up to `seconds`; else `NEVER`.

    Includes the first film that began to creep between it and the next change.
    """
    found, creeps = NEVER, inf
    for one in changes:
        if one.kind == "creep":
            creeps = min(creeps, one.seconds)
        elif one.seconds <= seconds:
            found, creeps = one, inf
        else:
            break
    return found if creeps == inf else found._replace(creeps=creeps)


def grown_since(began: float, seconds: float) -> float:
    """How far a film that began then may have grown, in months' growth; seconds."""
    days = max(seconds - began, 0.0) / DAY_SECONDS
    return RATE_LIFE_DAYS / RATE_MONTH_DAYS * (1.0 - exp(-days / RATE_LIFE_DAYS))


def point(
    seconds: float, temperature_c: float, mass_fraction: float, change: Change = NEVER
) -> Point:
    """The point with its weights; temperature -25 to 40 degC, mass fraction above 0 to 0.27."""
    parts = model_parts(mass_fraction, temperature_c)
    grown = grown_since(change.seconds, seconds) if change.kind == "step" else 0.0
    slope = slope_in_mass_fraction(mass_fraction, temperature_c)
    return Point(
        seconds,
        temperature_c,
        mass_fraction,
        change,
        grown,
        0.0 if change.creeps == inf else grown_since(change.creeps, seconds),
        slope_in_temperature(mass_fraction, temperature_c),
        parts.level,
        parts.gap,
        parts.far,
        SLOPE * slope * (mass_fraction - _SLOPE_FROM),
        COLD_PER_K * min(temperature_c, 0.0),
    )


class Sizes(NamedTuple):
    """Standard uncertainties of one probe and its thermometer, what a test can take away."""

    probe: float
    """Relative, of the probe's constant."""
    thermometer_k: float
    """With what stays of the distance in temperature between the two (`sizes_of`)."""


def sizes_of(probe: float, thermometer_k: float, apart_k: float) -> Sizes:
    """For a probe and a thermometer whose brine may differ in temperature by `apart_k`.

    All are standard uncertainties, 0 or more: `probe` is relative, the others are in K.
    """
    stays = APART_STAYS * apart_k * apart_k
    return Sizes(probe, sqrt(thermometer_k * thermometer_k + stays))


def covariance(a: Point, b: Point, sizes: Sizes) -> float:
    """Covariance of ln(true conductivity / read) at two points; no unit."""
    return probe_covariance(a, b, sizes) + other_covariance(a, b, sizes)


def probe_covariance(a: Point, b: Point, sizes: Sizes) -> float:
    """The probe's share of `covariance`: its constant, which a change of the probe replaces."""
    if a.change != b.change:
        return 0.0
    days = abs(a.seconds - b.seconds) / DAY_SECONDS
    constant = sizes.probe * sizes.probe * exp(-days / PROBE_LIFE_DAYS)
    films = _films(a.grown, b.grown) + _films(a.crept, b.crept)
    return constant + _LEVELS[a.change.kind] + RATE * RATE * films


def _films(a: float, b: float) -> float:
    """Covariance of how far one film has grown at two times, each in months' growth."""
    short, long = (a, b) if a < b else (b, a)
    # The integral of a random walk.
    wandered = short * short * (3.0 * long - short) / 6.0
    return a * b + RATE_WANDERS * RATE_WANDERS * wandered


def other_covariance(a: Point, b: Point, sizes: Sizes) -> float:
    """The share of `covariance` of thermometer, curve and other salts; no probe changes it."""
    days = abs(a.seconds - b.seconds) / DAY_SECONDS
    bias = sizes.thermometer_k * sizes.thermometer_k * exp(-days / THERMOMETER_LIFE_DAYS)
    apart_k = a.temperature_c - b.temperature_c
    apart = (a.mass_fraction - b.mass_fraction) / REPEATED_REACH
    far = exp(-0.5 * (apart_k / FAR_REACH_K) ** 2)
    salt = SALT_STAYS + (1.0 - SALT_STAYS) * exp(-days / SALT_LIFE_DAYS)
    near = exp(-0.5 * ((apart_k / REPEATED_REACH_K) ** 2 + apart * apart))
    return (
        a.thermal * b.thermal * bias
        + a.level * b.level
        + a.gap * b.gap
        + a.far * b.far * far
        + a.slope * b.slope
        + a.cold * b.cold * exp(-0.5 * (apart_k / COLD_REACH_K) ** 2)
        + REPEATED_LEVEL * REPEATED_LEVEL * near
        + IMPURITY * IMPURITY * salt
    )
