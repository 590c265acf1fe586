"""One hydrometer test beside what the probe said then, with the errors that it brings along."""

from math import exp, log, sqrt
from typing import NamedTuple

from brineward.physics.apart import own_variance, same_reading
from brineward.physics.calibration_prior import APART_STAYS, DAY_SECONDS, point
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction

REPEATED_SHARE = 0.15
"""Of a sensor's standard uncertainty, what differs from reading to reading and no test takes away
(common practice, no source: data sheets state repeatability at a tenth to a fifth of accuracy)."""
SHARED_SHARE = 0.6
"""Of a test's standard uncertainty, what the same hydrometer has in every test."""
DENSITY_IMPURITY = 0.0008
"""Mass fraction: road salt reads stronger on a hydrometer by 0.1 to 0.25 % (PHREEQC), evaporated
and washed salt by nearly nothing; this much over all of them is judgement."""
DENSITY_SALTS, SALTS_LEFT = 0.0006, 0.0006
"""Mass fraction, the same for what a test teaches about a probe. Other salts make brine denser,
never lighter, so their mean is subtracted, and what is left is how far a depot's salt may lie from
that (a known effect is corrected: JCGM 100, 3.2.4). Their squares add up to about that of
`DENSITY_IMPURITY`; how they are divided is judgement."""
SAMPLE = 0.0005
"""Mass fraction: the sample is not quite the brine at the probe."""
OCCASION_SECONDS = 0.5 * DAY_SECONDS
"""Tests that lie nearer to one another are of one occasion: the same sample, hand and glass."""
OCCASION_SHARE = 0.7
"""Of a test's own variance, but for the probe's reading, what another of the same occasion has in
common with it (common practice, no source): five tests of one day are hardly better than one."""


class ProbeTest(NamedTuple):
    """One hydrometer test beside what the probe said then."""

    seconds: float
    temperature_c: float
    """As the probe's thermometer said."""
    mass_fraction: float
    """As the hydrometer said."""
    log_factor: float
    """ln(conductivity of that strength less other salts / what the probe read)."""
    shared: float
    """Standard uncertainty of `log_factor` that all tests have in common."""
    own: float
    """Standard uncertainty of `log_factor` that is this test's own."""
    cleaned: bool = False
    """Somebody worked on the probe since the test before it."""
    apart: float = 0.0
    """The part of `own` that comes from the temperature difference between probe and thermometer,
    by the config; standing brine shows how large it is (`apart`)."""
    read: float = 0.0
    """The part of `own` that comes from what probe and thermometer read, `apart` included; less in
    tests of older versions, which did not list it."""

    def read_variance(self, ratio: float) -> float:
        """Variance of that part, with the ratio learnt (`Apart.ratio`)."""
        return own_variance(max(self.read, self.apart), self.apart, ratio)


def probe_test(
    mass_fraction: float,
    standard_uncertainty: float,
    *,
    seconds: float,
    conductivity_s_per_m: float,
    temperature_c: float,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
    apart_standard_uncertainty_k: float = 0.0,
    doubt: float = 0.0,
    cleaned: bool = False,
) -> ProbeTest:
    """A test's strength with its uncertainty, paired with what probe and thermometer read then.

    Mass fraction above 0 to 0.27; conductivity above 0, S/m; temperature -25 to 40 degC;
    uncertainties as `salinity` takes them. `apart_standard_uncertainty_k` is how far the brine at
    the probe may differ in temperature from that at the thermometer; `doubt` is a mass fraction by
    which the test may be wrong beyond its own uncertainty, where a slip is likely.
    """
    slope = slope_in_mass_fraction(mass_fraction, temperature_c)
    thermal = point(seconds, temperature_c, mass_fraction).thermal
    apart = thermal * apart_varies_k(apart_standard_uncertainty_k)
    noise = root_sum_of_squares(
        REPEATED_SHARE * conductivity_standard_uncertainty / conductivity_s_per_m,
        REPEATED_SHARE * thermal * temperature_standard_uncertainty,
        apart,
    )
    shared = SHARED_SHARE * standard_uncertainty
    own = sqrt(1.0 - SHARED_SHARE * SHARED_SHARE) * standard_uncertainty
    # A hydrometer takes other salts for sodium chloride; the probe hardly sees them.
    of_salt = max(mass_fraction - DENSITY_SALTS, 0.5 * mass_fraction)
    factor = log_conductivity(of_salt, temperature_c) - log(conductivity_s_per_m)
    return ProbeTest(
        seconds,
        round(temperature_c, 6),
        round(mass_fraction, 8),
        round(factor, 9),
        round(slope * root_sum_of_squares(shared, SALTS_LEFT), 9),
        round(root_sum_of_squares(slope * own, slope * SAMPLE, slope * doubt, noise), 9),
        cleaned,
        round(apart, 9),
        round(noise, 9),
    )


def apart_varies_k(apart_k: float) -> float:
    """The part of `apart_k` that differs from day to day, K.

    `apart_k` (0 or more) is the standard uncertainty of the temperature difference between the
    brine at a probe and that at its thermometer.
    """
    return sqrt(1.0 - APART_STAYS) * apart_k


def same_occasion(a: ProbeTest, b: ProbeTest) -> bool:
    """Were they made so close to one another that one slip would be in both?"""
    return abs(a.seconds - b.seconds) < OCCASION_SECONDS


def common_error(a: ProbeTest, b: ProbeTest, ratio: float = 1.0) -> float:
    """Covariance of two tests' errors, as logarithms of the factor, squared: the hydrometer's, on
    one day the hand's and the glass's, and within hours the probe's reading.

    `ratio` is what was learnt of the temperature difference to the thermometer (`Apart.ratio`).
    """
    apart = abs(a.seconds - b.seconds)
    reads = [one.read_variance(ratio) for one in (a, b)]
    by_hand = (
        max(own_variance(one.own, one.apart, ratio) - read, 0.0)
        for one, read in zip((a, b), reads, strict=True)
    )
    # The lesser of the two, which keeps a test in doubt from pulling at a good one of that day.
    near = OCCASION_SHARE * exp(-apart / OCCASION_SECONDS) * min(by_hand)
    return a.shared * b.shared + near + same_reading(apart, *reads)


def root_sum_of_squares(*parts: float) -> float:
    """The root of the sum of squares, in the parts' own unit.

    Not math.hypot, whose last digit differs between C libraries.
    """
    return sqrt(sum(part * part for part in parts))
