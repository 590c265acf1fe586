"""The best linear estimate of a probe's factor, and of the strength of a standing tank.

Tests give the factor at one time, temperature and strength; observations of standing brine (a
`Look` each) give it up to a strength that they have in common. All are weighed by their covariance:
that of `calibration_prior`, and what tests and observations share of their own errors. If density
is measured as well, its meter's own error is a further unknown, which tests and observations show.
"""

from collections.abc import Sequence
from math import erf, log, sqrt
from operator import mul
from typing import NamedTuple

from brineward.physics.apart import own_variance
from brineward.physics.calibration_prior import (
    RATE,
    Change,
    Point,
    Sizes,
    change_before,
    covariance,
    grown_since,
    point,
)
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction
from brineward.physics.fed import Fed, Reckoned, Strengths
from brineward.physics.probe_test import SALTS_LEFT, ProbeTest, common_error
from brineward.physics.stands import (
    Look,
    Stands,
    meter_kept,
    place,
    shared_with_test,
    with_probe,
)
from brineward.physics.triangles import Rows, backward, cholesky, forward

MOST_KEPT = 16
"""The estimate is made of the newest so many of those that are believed."""
HOLDS = 2.0
"""Up to this many standard deviations between a reading and the strength of the standing brine, the
latter has its full weight; further off it has less, and at twice that none. Errors alone bring one
reading in twenty as far."""
_HALF = sqrt(0.5)


class Factor(NamedTuple):
    """What a reading is to be multiplied by: its logarithm, and how well that is known."""

    log_factor: float
    standard_uncertainty: float


class Held(NamedTuple):
    """The strength of a standing tank, from all observations since it came to rest, given as its
    conductivity at one temperature."""

    log_conductivity: float
    """ln of S/m."""
    standard_uncertainty: float
    """Of that."""
    with_factor: float
    """Covariance of its error with that of the factor's logarithm where a reading is judged."""
    temperature_c: float
    thermal: float
    """What the logarithm gains per kelvin."""


class MeterError(NamedTuple):
    """How much too strong density shows the brine, by its meter and other salts: mass fractions."""

    mass_fraction: float
    standard_uncertainty: float
    with_factor: float
    """Covariance with the factor's logarithm where a reading is judged."""
    with_held: float
    """Covariance with the strength of the standing brine; 0 if none stands."""


class Estimate:
    """The best linear estimate of the factor from tests, observations and changes of the probe."""

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
        self._ratio = ratio = 1.0 if stands is None else stands.apart.ratio
        matrix = [
            [
                covariance(a, b, sizes) + common_error(one, other, ratio)
                for b, other in zip(points[: i + 1], tests, strict=False)
            ]
            for i, (a, one) in enumerate(zip(points, tests, strict=True))
        ]
        for row, test, a in zip(matrix, tests, points, strict=True):
            row[-1] = covariance(a, a, sizes) + self._alone(test)
        self._looks = () if stands is None else tuple(stands.looks)
        self._words = () if stands is None else tuple(stands.said)
        self._strengths = Strengths() if stands is None else stands.strengths
        places = [place(one.look, self.changes) for one in self._words]
        salts = SALTS_LEFT * SALTS_LEFT
        self._salts_in_tests = [
            salts * slope_in_mass_fraction(one.mass_fraction, one.temperature_c) for one in tests
        ]
        if stands is not None:
            among = with_probe(stands, places, sizes)
            for a, word, row in zip(places, self._words, among, strict=True):
                across = [
                    covariance(a, b, sizes) + shared_with_test(word.look, test, ratio)
                    for b, test in zip(points, tests, strict=True)
                ]
                if word.dense:
                    # What other salts do to density they do to a hydrometer, too.
                    across = [
                        x + y * word.look.slope
                        for x, y in zip(across, self._salts_in_tests, strict=True)
                    ]
                matrix.append([*across, *row])
        points += places
        self._rows: Rows = cholesky(matrix)
        said = [one.log_factor for one in tests] + [one.log_factor for one in self._words]
        self._solved = forward(self._rows, said)
        self._weights = backward(self._rows, self._solved)

    def at(self, place: Point) -> Factor:
        """The factor there, without the doubt of a test set aside."""
        across = [covariance(place, one, self._sizes) for one in self._points]
        mean = sum(map(mul, self._weights, across))
        solved = forward(self._rows, across)
        variance = covariance(place, place, self._sizes) - sum(map(mul, solved, solved))
        return Factor(mean, sqrt(max(variance, 1e-12)))

    def factor(self, seconds: float, temperature_c: float, mass_fraction: float) -> Factor:
        """The same for brine of that strength at that time; -25 to 40 degC, above 0 to 0.27."""
        change = change_before(seconds, self.changes)
        return self.at(point(seconds, temperature_c, mass_fraction, change))

    def mean_at(self, place: Point) -> float:
        """The factor's logarithm there, without its uncertainty."""
        across = [covariance(place, one, self._sizes) for one in self._points]
        found: float = sum(map(mul, self._weights, across))
        return found

    def creeping(self, began: float) -> float:
        """How much likelier all that was seen is if a film began to grow then: the natural
        logarithm of the ratio.

        A film makes a probe read less, never more; its rate is any, `RATE` being the usual.
        """
        newest = max(self._points, key=lambda one: one.seconds).change
        grown = [
            RATE * grown_since(began, one.seconds) if one.change == newest else 0.0
            for one in self._points
        ]
        across = forward(self._rows, grown)
        more = 1.0 + sum(x * x for x in across)
        off = sum(x * y for x, y in zip(across, self._solved, strict=True)) / sqrt(more)
        # Half of the normal distribution, the half of films, has twice its density.
        return round(0.5 * (off * off - log(more)) + log(max(1.0 + erf(off * _HALF), 1e-12)), 6)

    def likelihood(self) -> float:
        """Natural logarithm, but for a constant, of how likely all that was seen is."""
        found = sum(
            0.5 * x * x + log(row[-1]) for x, row in zip(self._solved, self._rows, strict=True)
        )
        return round(-found, 6)

    def change(self, a: Point, b: Point) -> Factor:
        """How much more the factor's logarithm is at `b` than at `a`, and how sure that is."""
        sizes = self._sizes
        across = [covariance(b, o, sizes) - covariance(a, o, sizes) for o in self._points]
        mean = sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        prior = covariance(a, a, sizes) + covariance(b, b, sizes) - 2.0 * covariance(a, b, sizes)
        return Factor(mean, sqrt(max(prior - sum(x * x for x in solved), 1e-12)))

    def held(self, stand: float, place: Point) -> Held | None:
        """The strength of the standing period that began then; None if it was not observed."""
        looks = self._looks
        if not looks or looks[-1].stand != stand:
            return None
        known, about = self._strengths.covariance, looks[-1].mass_fraction
        there = Reckoned(
            about + self._strengths.mean(stand),
            known(stand, stand),
            0.0,
            {one.stand: known(stand, one.stand) for one in looks},
        )
        return self._held(there, about, place)

    def held_after(self, fed: Fed, place: Point) -> Held | None:
        """The strength of a tank into which something came since it stood; None if that standing
        period was not observed."""
        looks = self._looks
        if not looks or looks[-1].stand != fed.before:
            return None
        there = self._strengths.reckoned(fed)
        return None if there is None else self._held(there, there.mass_fraction, place)

    def _held(self, there: Reckoned, about: float, place: Point) -> Held:
        # An observation's factor is too low by as much as the brine is stronger than assumed.
        across = [0.0] * len(self.tests)
        across += [
            0.0 if one.dense else -one.look.slope * there.among.get(one.look.stand, 0.0)
            for one in self._words
        ]
        more = there.mass_fraction - about
        more += sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        factor = forward(self._rows, [covariance(place, a, self._sizes) for a in self._points])
        variance = there.variance - sum(x * x for x in solved)
        shared = -sum(x * y for x, y in zip(solved, factor, strict=True))
        # In the logarithm, in which observations are linear; so a wrong assumption does no harm.
        slope = slope_in_mass_fraction(about, place.temperature_c)
        return Held(
            round(log_conductivity(about, place.temperature_c) + slope * more, 7),
            round(slope * sqrt(max(variance, 1e-12)), 7),
            round(slope * shared, 12),
            place.temperature_c,
            place.thermal,
        )

    def told_by_looks(self) -> list[tuple[Look, float]]:
        """What each observation says about the factor's logarithm, with the strength of its
        standing period as all of them together give it."""
        stronger = {
            stand: self._strengths.mean(stand)
            + sum(
                weight * k
                for weight, k in zip(
                    self._weights[len(self.tests) :], self._strength_in_words(stand), strict=True
                )
            )
            for stand in {one.stand for one in self._looks}
        }
        return [
            (one, round(one.log_factor + one.slope * stronger[one.stand], 6)) for one in self._looks
        ]

    def _strength_in_words(self, stand: float | None) -> list[float]:
        """Covariance of the strength of a standing period with each value of the observations."""
        known = self._strengths.covariance
        return [
            0.0 if stand is None or one.dense else -one.look.slope * known(stand, one.look.stand)
            for one in self._words
        ]

    def meter_error(self, place: Point, stand: float | None, lasting: float) -> MeterError:
        """That of a density meter whose `lasting` standard uncertainty is this (mass fraction)."""
        salts = SALTS_LEFT * SALTS_LEFT
        across = list(self._salts_in_tests)
        for one in self._words:
            kept = one.look.meter * lasting * meter_kept(place.seconds - one.look.seconds)
            across.append(kept + one.look.slope * salts if one.dense else 0.0)
        mean = sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        variance = lasting * lasting + salts - sum(x * x for x in solved)
        factor = forward(self._rows, [covariance(place, a, self._sizes) for a in self._points])
        strength = [0.0] * len(self.tests) + self._strength_in_words(stand)
        held = forward(self._rows, strength)
        return MeterError(
            round(mean, 8),
            round(sqrt(max(variance, 1e-12)), 8),
            round(-sum(x * y for x, y in zip(solved, factor, strict=True)), 12),
            round(-sum(x * y for x, y in zip(solved, held, strict=True)), 12),
        )

    def expected(self, test: ProbeTest) -> Factor:
        """The factor to be expected where another test was made."""
        return self.at(self._point(test))

    def parting(self, test: ProbeTest) -> float:
        """How many standard deviations a test lies above (or below) what is expected of it."""
        expected = self.expected(test)
        shared = self._shared_with(test)
        spread = expected.standard_uncertainty**2 + self._alone(test) - 2.0 * shared
        return round((test.log_factor - expected.log_factor) / sqrt(max(spread, 1e-12)), 6)

    def _alone(self, test: ProbeTest) -> float:
        """The variance of a test's own error and of what it has in common with all tests."""
        return test.shared**2 + own_variance(test.own, test.apart, self._ratio)

    def _point(self, test: ProbeTest) -> Point:
        change = change_before(test.seconds, self.changes)
        return point(test.seconds, test.temperature_c, test.mass_fraction, change)

    def _shared_with(self, test: ProbeTest) -> float:
        """Covariance of a test's own error with the estimate: both used the same hydrometer."""
        place = self._point(test)
        across = [covariance(place, one, self._sizes) for one in self._points]
        common = [common_error(test, one, self._ratio) for one in self.tests]
        slope = slope_in_mass_fraction(test.mass_fraction, test.temperature_c)
        salts = SALTS_LEFT * SALTS_LEFT * slope
        common += [salts * one.look.slope if one.dense else 0.0 for one in self._words]
        solved, other = forward(self._rows, across), forward(self._rows, common)
        return sum(x * y for x, y in zip(solved, other, strict=True))


class Weighed(NamedTuple):
    """ln of the conductivity, S/m, that a reading and the strength held say together."""

    log_conductivity: float
    standard_uncertainty: float
    share: float
    """The weight of the standing brine's strength in it, 0 to 1."""


def weighed_with_held(
    said: Factor, noise: float, held: Held, temperature_c: float
) -> Weighed | None:
    """A reading and the strength of the standing brine, weighed for the least variance.

    `said` is what the reading says, with the factor's uncertainty, and `noise` the reading's own,
    both of ln(conductivity); temperature -25 to 40 degC. None if the two are so far apart that
    something must have happened.
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
    return Weighed(said.log_factor + share * off, sqrt(max(variance, 1e-12)), share)
