"""What the newest test of a probe adds to the uncertainty until a later one has borne it out.

A test that was set aside may be right; one that is believed may be a slip: a mark read on the wrong
side, a digit written wrongly. Either way the interval reaches towards the other until the next test
decides.
"""

from collections.abc import Sequence
from math import exp, sqrt

from brineward.physics.estimate import Estimate
from brineward.physics.probe_test import ProbeTest

ODD_SHARE = 0.65
"""A test set aside counts with this share of its distance: the 95 % interval reaches past it."""
DOUBTED = 1.5
"""The newest test, so far or further from what the others predict, is asked for again before what
it alone has changed raises an alarm; one sound test in seven is."""
MOST = 0.05
"""Up to this (relative): a mark so far off is a slip of the pen."""
SLIPS = 0.02
"""One test in so many is a slip: one in fifty (common practice, no source),"""
SLIP_SPREAD = 2.6
"""which lies off by so many standard deviations of a sound test: by about one percent by mass."""


def by_odd(distance: float) -> float:
    """The standard uncertainty from a test that was set aside, so far from what was expected of it.

    Both are of the factor's logarithm; `distance` of either sign.
    """
    return min(ODD_SHARE * abs(distance), MOST)


def by_slip(newest: Sequence[ProbeTest], believed: Estimate, without: Estimate) -> float:
    """The standard uncertainty from tests of one occasion that are believed, and may be a slip.

    Of the factor's logarithm; `without` is the estimate without them.
    """
    lent = max(
        abs(believed.expected(one).log_factor - without.expected(one).log_factor) for one in newest
    )
    parted = max(abs(without.parting(one)) for one in newest)
    return round(min(sqrt(slip_probability(parted)) * lent, MOST), 7)


def slip_probability(parted: float) -> float:
    """How probable it is that a test so many standard deviations off is a slip, 0 to 1.

    By Bayes' rule, of sound tests and slips that both scatter normally.
    """
    wide = 1.0 + SLIP_SPREAD * SLIP_SPREAD
    # By their ratio: far out both densities are 0 to a computer.
    sound = (1.0 - SLIPS) / SLIPS * sqrt(wide) * exp(-0.5 * parted * parted * (1.0 - 1.0 / wide))
    return 1.0 / (1.0 + sound)
