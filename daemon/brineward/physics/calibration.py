"""Calibration of a probe where it works: what hydrometer tests say of its readings.

Each test gives the logarithm of true over read conductivity at one time, temperature and strength.
What is believed of it between and beyond the tests is their best linear estimate under the
covariance of `calibration_prior` (a Gaussian process, with a handful of tests kept), so that the
interval shrinks after a test and widens again as days pass and the brine cools.

Tests err too. What they share (the hydrometer's own marks, other salts in its density) does not
shrink with their number. One that lies far from what the others let expect is set aside and widens
the interval, for it may be right; the next one decides. If it agrees with the others, the odd one
was a slip. If it agrees with the odd one, the probe has changed in a step (a film, scale, air, a
cleaning), and what was known of its constant is given up.
"""

from math import exp, log, sqrt
from typing import Any, Literal, NamedTuple

from brineward.physics.calibration_prior import Point, Sizes, covariance, point
from brineward.physics.conductivity import log_conductivity, slope_in_mass_fraction
from brineward.physics.inversion import Isotherm
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.salinity import Salinity, salinity
from brineward.physics.triangles import Rows, backward, cholesky, forward

MOST_KEPT = 16
ODD = 3.0
"""A test so many standard deviations from what was expected is set aside."""
AGREES = 2.0
REPEATED_SHARE = 0.15
"""Of a sensor's standard uncertainty, what differs from reading to reading and no test takes away
(common practice, no source: data sheets state repeatability at a tenth to a fifth of accuracy)."""
SHARED_SHARE = 0.6
"""Of a test's standard uncertainty, what the same hydrometer has in every test."""
DENSITY_IMPURITY = 0.001
"""Mass fraction: road salt looks stronger to a hydrometer by 0.1 to 0.25 % (PHREEQC)."""
SAMPLE = 0.0005
"""Mass fraction: the sample is not quite the brine at the probe."""
DOUBT = 0.65
"""A test set aside counts with this share of its distance: the 95 % interval reaches past it."""
DOUBT_MOST = 0.05
"""Up to this (relative): a mark so far off is a slip of the pen."""

Finding = Literal["kept", "odd", "step"]

_CELL_SECONDS = 3600.0
_PER_KELVIN = 4
_PER_LOG = 200
_CELLS = 512


class ProbeTest(NamedTuple):
    """One hydrometer test beside what the probe said then."""

    seconds: float
    temperature_c: float
    """As the probe's thermometer said."""
    mass_fraction: float
    """As the hydrometer said."""
    log_factor: float
    """ln(conductivity of that strength / what the probe read)."""
    shared: float
    """Standard uncertainty of `log_factor` that all tests have in common."""
    own: float
    """Standard uncertainty of `log_factor` that is this test's own."""


class Factor(NamedTuple):
    """What a reading is to be multiplied by: its logarithm, and how well that is known."""

    log_factor: float
    standard_uncertainty: float


def probe_test(
    mass_fraction: float,
    standard_uncertainty: float,
    *,
    seconds: float,
    conductivity_s_per_m: float,
    temperature_c: float,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
) -> ProbeTest:
    """A test's strength with its uncertainty, paired with what probe and thermometer read then.

    Mass fraction above 0 to 0.27; conductivity above 0, S/m; temperature -25 to 40 degC;
    uncertainties as `salinity` takes them.
    """
    slope = slope_in_mass_fraction(mass_fraction, temperature_c)
    thermal = point(seconds, temperature_c, mass_fraction).thermal
    noise = REPEATED_SHARE * _hypot(
        conductivity_standard_uncertainty / conductivity_s_per_m,
        thermal * temperature_standard_uncertainty,
    )
    shared = SHARED_SHARE * standard_uncertainty
    own = sqrt(1.0 - SHARED_SHARE * SHARED_SHARE) * standard_uncertainty
    factor = log_conductivity(mass_fraction, temperature_c) - log(conductivity_s_per_m)
    return ProbeTest(
        seconds,
        round(temperature_c, 6),
        round(mass_fraction, 8),
        round(factor, 9),
        round(slope * _hypot(shared, DENSITY_IMPURITY), 9),
        round(_hypot(slope * own, slope * SAMPLE, noise), 9),
    )


class Calibration:
    """What the tests of one probe say; mutable, but a function of the tests it was given."""

    __slots__ = ("_cells", "_points", "_rows", "_weights", "kept", "odd", "sizes", "steps")

    def __init__(self, sizes: Sizes) -> None:
        self.sizes = sizes
        self.kept: list[ProbeTest] = []
        """What the estimate is made of, in order of time."""
        self.odd: list[ProbeTest] = []
        """Set aside last, until a later test has decided; at most two."""
        self.steps: list[float] = []
        """When the probe changed, seconds."""
        self._points: list[Point] = []
        self._rows: Rows = []
        self._weights: list[float] = []
        self._cells: dict[tuple[int, int, int], Factor] = {}

    def observe(self, test: ProbeTest, *, cleaned: bool = False) -> Finding:
        """Take a test; was it kept, set aside, or did it show that the probe has changed?

        `cleaned`: somebody worked on the probe since the last test, so a step is expected.
        """
        if cleaned:
            self._step_at(test.seconds)
            self._keep([test])
            return "kept"
        off = self.oddness(test)
        if not self.odd and off <= ODD:
            self._keep([test])
            return "kept"
        if self.odd:
            stepped = self._after_step()
            by_step = stepped.oddness(test)
            if off <= ODD and (off <= AGREES or off <= by_step):
                self._keep([test])
                return "kept"
            if by_step <= ODD:
                self._step_at(min(self.odd[-1].seconds, test.seconds))
                self._keep([self.odd[-1], test])
                return "step"
        self.odd = [*self.odd[-1:], test]
        self._cells.clear()
        return "odd"

    def expected(self, test: ProbeTest) -> Factor:
        """The factor that the tests kept let expect where another test was made."""
        return self._at(self._point(test))

    def oddness(self, test: ProbeTest) -> float:
        """How many standard deviations a test lies from what the others let expect."""
        expected = self.expected(test)
        shared = self._shared_with(test)
        spread = expected.standard_uncertainty**2 + test.shared**2 + test.own**2 - 2.0 * shared
        return round(abs(test.log_factor - expected.log_factor) / sqrt(spread), 6)

    def factor(self, seconds: float, temperature_c: float, log_read: float) -> Factor:
        """The factor of a reading; one value for each hour, quarter of a kelvin and 0.5 %.

        Temperature -25 to 40 degC; `log_read` is ln of the conductivity read, S/m.
        """
        cell = (
            int(seconds // _CELL_SECONDS),
            round(temperature_c * _PER_KELVIN),
            round(log_read * _PER_LOG),
        )
        found = self._cells.get(cell)
        if found is None:
            if len(self._cells) >= _CELLS:
                self._cells.clear()
            found = self._cells[cell] = self._in_cell(*cell)
        return found

    def factor_at(self, seconds: float, temperature_c: float, mass_fraction: float) -> Factor:
        """The factor for brine of a known strength; -25 to 40 degC, above 0 to 0.27."""
        steps = sum(step <= seconds for step in self.steps)
        found = self._at(point(seconds, temperature_c, mass_fraction, steps))
        return Factor(found.log_factor, _hypot(found.standard_uncertainty, self._doubt()))

    def _in_cell(self, hour: int, quarter: int, log_step: int) -> Factor:
        # The hour's end, so that a test counts for the rest of its own hour.
        seconds, temperature_c = (hour + 1) * _CELL_SECONDS, quarter / _PER_KELVIN
        log_read, found = log_step / _PER_LOG, Factor(0.0, 0.0)
        for _ in range(2):
            rough = _rough_mass_fraction(log_read + found.log_factor, temperature_c)
            found = self.factor_at(seconds, temperature_c, rough)
        return Factor(round(found.log_factor, 6), round(found.standard_uncertainty, 6))

    def _doubt(self) -> float:
        """What a test that was set aside adds, for it may be right."""
        if not self.odd:
            return 0.0
        last = self.odd[-1]
        expected = self.expected(last).log_factor
        return min(DOUBT * abs(last.log_factor - expected), DOUBT_MOST)

    # -- the estimate

    def _point(self, test: ProbeTest) -> Point:
        steps = sum(step <= test.seconds for step in self.steps)
        return point(test.seconds, test.temperature_c, test.mass_fraction, steps)

    def _at(self, place: Point) -> Factor:
        """Best linear estimate from the tests kept, without the doubt of one set aside."""
        across = [covariance(place, one, self.sizes) for one in self._points]
        mean = sum(weight * k for weight, k in zip(self._weights, across, strict=True))
        solved = forward(self._rows, across)
        variance = covariance(place, place, self.sizes) - sum(x * x for x in solved)
        return Factor(mean, sqrt(max(variance, 1e-12)))

    def _shared_with(self, test: ProbeTest) -> float:
        """Covariance of a test's own error with the estimate: both used the same hydrometer."""
        place = self._point(test)
        across = [covariance(place, one, self.sizes) for one in self._points]
        common = [test.shared * one.shared for one in self.kept]
        solved, other = forward(self._rows, across), forward(self._rows, common)
        return sum(x * y for x, y in zip(solved, other, strict=True))

    def _solve(self) -> None:
        """The Cholesky root of the tests' covariance, and the weights of their estimate."""
        self._points = points = [self._point(test) for test in self.kept]
        matrix = [
            [
                covariance(a, b, self.sizes) + one.shared * other.shared
                for b, other in zip(points[: i + 1], self.kept, strict=False)
            ]
            for i, (a, one) in enumerate(zip(points, self.kept, strict=True))
        ]
        for row, test in zip(matrix, self.kept, strict=True):
            row[-1] += test.own * test.own
        rows = cholesky(matrix)
        self._rows = rows
        self._weights = backward(rows, forward(rows, [test.log_factor for test in self.kept]))
        self._cells.clear()

    # -- tests come and go

    def _keep(self, tests: list[ProbeTest]) -> None:
        self.odd = []
        self.kept = sorted([*self.kept, *tests])[-MOST_KEPT:]
        self._solve()

    def _step_at(self, seconds: float) -> None:
        self.steps = sorted([*self.steps, seconds])[-MOST_KEPT:]

    def _after_step(self) -> "Calibration":
        """How things would look if the last test set aside had been the first after a step."""
        other = Calibration(self.sizes)
        other.kept, other.steps = list(self.kept), list(self.steps)
        other._step_at(self.odd[-1].seconds)
        other._keep([self.odd[-1]])
        return other

    # -- plain data

    def freeze(self) -> list[Any]:
        """The calibration as plain data."""
        return [[list(test) for test in self.kept], [list(test) for test in self.odd], self.steps]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        kept, odd, steps = data
        self.kept = [ProbeTest(*test) for test in kept]
        self.odd = [ProbeTest(*test) for test in odd]
        self.steps = list(steps)
        self._solve()


def calibrated_salinity(
    calibration: Calibration,
    conductivity_s_per_m: float,
    temperature_c: float,
    *,
    seconds: float,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
) -> Salinity:
    """Mass fraction of sodium chloride from a reading of a probe with tests.

    As `salinity`, but the errors that a test can take away (of probe, thermometer, curve and salt)
    come from the calibration, and only what differs from reading to reading is added to them.
    Raises: NotBrine, as `salinity`.
    """
    if not (0.0 < conductivity_s_per_m < 1e6 and -25.0 <= temperature_c <= 40.0):
        # Not worth a factor: let it be refused.
        log_factor, spread = 0.0, 0.0
    else:
        log_factor, spread = calibration.factor(seconds, temperature_c, log(conductivity_s_per_m))
    return salinity(
        conductivity_s_per_m,
        temperature_c,
        conductivity_standard_uncertainty=REPEATED_SHARE * conductivity_standard_uncertainty,
        temperature_standard_uncertainty=REPEATED_SHARE * temperature_standard_uncertainty,
        calibration_factor=exp(log_factor),
        calibration_standard_uncertainty=spread,
        model_share=0.0,
    )


def _rough_mass_fraction(log_conductivity: float, temperature_c: float) -> float:
    """The strength that a conductivity tells, between the lines."""
    liquid = max(temperature_c, EUTECTIC_C)
    isotherm = Isotherm(liquid, most_liquid(liquid))
    found = isotherm.mass_fraction(min(log_conductivity, isotherm.most_log))
    return max(found, least_liquid(liquid), 1e-4)


def _hypot(*parts: float) -> float:
    # Not math.hypot, whose last digit differs between C libraries.
    return sqrt(sum(part * part for part in parts))
