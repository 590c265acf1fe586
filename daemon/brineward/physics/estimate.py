"""The best linear estimate of a probe's factor, and of the strength of a tank that stands.

Tests give the factor at one time, temperature and strength; looks at standing brine give it but for
a strength that they have in common. All are weighed by their covariance, which is that of
`calibration_prior` and what tests and looks share of their own errors.
"""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from brineward.physics.calibration_prior import (
    Change,
    Point,
    Sizes,
    change_before,
    covariance,
    point,
)
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction
from brineward.physics.probe_test import ProbeTest, common_error
from brineward.physics.stands import STAND_UNKNOWN, Stands, place, with_probe
from brineward.physics.triangles import Rows, backward, cholesky, forward

MOST_KEPT = 16
"""The estimate is made of the newest so many of those that are believed."""
HOLDS = 1.5
"""A reading so many standard deviations from the strength that a stand holds counts as usual; the
further off, the less is held, and at twice that nothing."""


class Factor(NamedTuple):
    """What a reading is to be multiplied by: its logarithm, and how well that is known."""

    log_factor: float
    standard_uncertainty: float


class Held(NamedTuple):
    """The strength of a tank that stands, by all that was seen since it stands: as what it conducts
    at one temperature."""

    log_conductivity: float
    """ln of S/m."""
    standard_uncertainty: float
    """Of that."""
    with_factor: float
    """Covariance of its error with that of the factor's logarithm where a reading is judged."""
    temperature_c: float
    thermal: float
    """What the logarithm gains per kelvin."""


class Estimate:
    """The best linear estimate of the factor from some tests, looks and changes of the probe."""

    def __init__(
        self,
        sizes: Sizes,
        tests: Sequence[ProbeTest] = (),
        changes: Sequence[Change] = (),
        stands: Stands | None = None,
    ) -> None:
        self._sizes = sizes
        self.changes = tuple(sorted(changes))
        self.tests = tests = tuple(tests[-MOST_KEPT:])
        self._points = points = [self._point(test) for test in tests]
        matrix = [
            [
                covariance(a, b, sizes) + common_error(one, other)
                for b, other in zip(points[: i + 1], tests, strict=False)
            ]
            for i, (a, one) in enumerate(zip(points, tests, strict=True))
        ]
        for row, test, a in zip(matrix, tests, points, strict=True):
            row[-1] = covariance(a, a, sizes) + test.shared**2 + test.own**2
        self._looks = () if stands is None else tuple(stands.looks)
        places = [place(one, self.changes) for one in self._looks]
        if stands is not None:
            among = with_probe(stands.lower, places, sizes)
            matrix += [
                [*(covariance(a, b, sizes) for b in points), *row]
                for a, row in zip(places, among, strict=True)
            ]
        points += places
        self._rows: Rows = cholesky(matrix)
        said = [test.log_factor for test in tests] + [one.log_factor for one in self._looks]
        self._weights = backward(self._rows, forward(self._rows, said))

    def at(self, place: Point) -> Factor:
        """The factor there, without the doubt of a test set aside."""
        across = [covariance(place, one, self._sizes) for one in self._points]
        mean = sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        variance = covariance(place, place, self._sizes) - sum(x * x for x in solved)
        return Factor(mean, sqrt(max(variance, 1e-12)))

    def held(self, stand: float, place: Point) -> Held | None:
        """The strength of the stand that began then; None where it was not looked at."""
        looks = self._looks
        if not looks or looks[-1].stand != stand:
            return None
        unknown = STAND_UNKNOWN * STAND_UNKNOWN
        # A look's factor is short by what the brine is stronger than it was taken for.
        across = [0.0] * len(self.tests)
        across += [-one.slope * unknown if one.stand == stand else 0.0 for one in looks]
        more = sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        factor = forward(self._rows, [covariance(place, a, self._sizes) for a in self._points])
        variance = unknown - sum(x * x for x in solved)
        shared = -sum(x * y for x, y in zip(solved, factor, strict=True))
        # In the logarithm, in which looks are linear; so a strength taken wrong does no harm.
        about = looks[-1].mass_fraction
        slope = slope_in_mass_fraction(about, place.temperature_c)
        return Held(
            round(log_conductivity(about, place.temperature_c) + slope * more, 7),
            round(slope * sqrt(max(variance, 1e-12)), 7),
            round(slope * shared, 12),
            place.temperature_c,
            place.thermal,
        )

    def expected(self, test: ProbeTest) -> Factor:
        """The factor to be expected where another test was made."""
        return self.at(self._point(test))

    def parting(self, test: ProbeTest) -> float:
        """How many standard deviations a test lies above (or below) what is expected of it."""
        expected = self.expected(test)
        shared = self._shared_with(test)
        spread = expected.standard_uncertainty**2 + test.shared**2 + test.own**2 - 2.0 * shared
        return round((test.log_factor - expected.log_factor) / sqrt(max(spread, 1e-12)), 6)

    def _point(self, test: ProbeTest) -> Point:
        change = change_before(test.seconds, self.changes)
        return point(test.seconds, test.temperature_c, test.mass_fraction, change)

    def _shared_with(self, test: ProbeTest) -> float:
        """Covariance of a test's own error with the estimate: both used the same hydrometer."""
        place = self._point(test)
        across = [covariance(place, one, self._sizes) for one in self._points]
        common = [common_error(test, one) for one in self.tests]
        common += [0.0] * (len(across) - len(common))
        solved, other = forward(self._rows, across), forward(self._rows, common)
        return sum(x * y for x, y in zip(solved, other, strict=True))


def weighed_with_held(
    said: Factor, noise: float, held: Held, temperature_c: float
) -> Factor | None:
    """ln of the conductivity that a reading and the strength held say together, at least variance.

    `said` is what the reading says, with the factor's uncertainty, `noise` the reading's own. None
    where they are so far apart that something has happened.
    """
    by_held = held.log_conductivity + held.thermal * (temperature_c - held.temperature_c)
    reading = said.standard_uncertainty * said.standard_uncertainty + noise * noise
    holding = held.standard_uncertainty * held.standard_uncertainty
    both = held.with_factor
    apart = max(reading + holding - 2.0 * both, 1e-12)
    off = by_held - said.log_factor
    trusted = min(max(2.0 - abs(off) / (HOLDS * sqrt(apart)), 0.0), 1.0)
    if trusted == 0.0:
        return None
    share = trusted * min(max((reading - both) / apart, 0.0), 1.0)
    left = 1.0 - share
    variance = left * left * reading + share * share * holding + 2.0 * share * left * both
    return Factor(said.log_factor + share * off, sqrt(max(variance, 1e-12)))
