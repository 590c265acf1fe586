"""Mass fraction of salt from a probe's conductivity and a thermometer, with its uncertainty.

The mass fraction is the exact inverse of the curve in `conductivity`. Its uncertainty follows the
GUM (JCGM 100), but not its first-order formula: in the cold, near saturation, the curve is nearly
flat, and dividing by its slope there would give a symmetric interval that reaches into strengths
that do not exist. So the errors are summed where they *are* nearly normal, on conductivity:

- relative ones (model, calibration, impurity, and temperature by the curve's slope in it, which is
  nearly constant over a few kelvin) as one factor, normal in its logarithm;
- the probe's as a term in S/m.

The two ends of the 95 % range of conductivity, turned into mass fractions one by one, are the
interval: as lopsided as the curve makes it, and within the lines between which brine is liquid, as
the true strength must be. The standard uncertainty is the root mean square of the distances to the
two ends over 1.96, which is a three-point quadrature; where a line cuts an end off, it is no more
than the longer of the two distances that are left. The lines themselves are known only as well as
their published values agree, so an end is cut off at the line plus its own expanded uncertainty:
0.06 % by mass past saturation, and both lines at the warmest that the brine may be. That the
interval holds the true strength 93 to 97 times in 100 is shown by Monte Carlo (JCGM 101) in the
tests.

A reading beyond a line (saturation above, ice below) by no more than its uncertainty is brine at
that line: the line's strength, with the interval, and `bound` saying so. Beyond that it is refused.
"""

from math import exp, inf, isfinite, log, sqrt
from typing import Literal, NamedTuple

from brineward.physics.conductivity import (
    WARMEST_C,
    log_conductivity,
    refuse_temperature,
    slope_in_temperature,
)
from brineward.physics.freezing import FREEZING_STANDARD_UNCERTAINTY_C
from brineward.physics.inversion import Isotherm
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.model_uncertainty import (
    model_drift_standard_uncertainty,
    model_standard_uncertainty,
)
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.refusals import NotBrine, Reason
from brineward.physics.saturation import SATURATION_EXPANDED_UNCERTAINTY

__all__ = ["NotBrine", "Reason", "Salinity", "mass_fraction_from_conductivity", "salinity"]

COVERAGE = 1.959964
"""Standard uncertainties to each end of a 95 % interval: the normal distribution's 97.5 % point."""
LINE_COVERAGE_FACTOR = 3.0
"""On temperatures: a line is a hard end of the interval, so it is drawn where the truth is hardly
ever beyond it."""
DRY_S_PER_M = 1e-3
"""10 uS/cm: less than rain or drinking water conducts (common practice, no source)."""
NO_BRINE_RATIO = 1.5
"""A factor above saturated brine's: not even a thermometer 10 degC off would explain it."""
_LARGEST = 1e6
_LARGEST_REACH = 50.0

Bound = Literal["", "saturation", "ice"]


class Salinity(NamedTuple):
    """Mass fraction of sodium chloride, and how well it is known."""

    mass_fraction: float
    standard_uncertainty: float
    interval_95: tuple[float, float]
    """Lowest and highest mass fraction that agree with the reading; seldom symmetric."""
    bound: Bound = ""
    """The reading lies beyond this line, within its uncertainty: the strength is the line's."""


def mass_fraction_from_conductivity(conductivity_s_per_m: float, temperature_c: float) -> float:
    """Mass fraction of the liquid that conducts so much: the exact inverse of the curve.

    Conductivity in S/m from 0 to saturated brine's, temperature from -21.1 to 40 degC. It does not
    ask whether there is ice: undercooled liquid below the ice line is inverted like any other.
    Valid: as the curve. Uncertainty: see `salinity`.
    Raises: NotBrine (above-saturation, out-of-range, slush below -21.1 degC).
    """
    refuse_temperature(temperature_c)
    if temperature_c < EUTECTIC_C:
        raise _frozen(temperature_c)
    if not 0.0 <= conductivity_s_per_m < inf:
        raise NotBrine("out-of-range", f"a conductivity of {conductivity_s_per_m:g} is no reading")
    if conductivity_s_per_m == 0.0:
        return 0.0
    isotherm = Isotherm(temperature_c, most_liquid(temperature_c))
    # The last digits of a saturated brine's own conductivity are not a fault.
    if log(conductivity_s_per_m) > isotherm.most_log + 1e-12:
        raise _too_much(conductivity_s_per_m, temperature_c)
    return isotherm.mass_fraction(log(conductivity_s_per_m))


def salinity(
    conductivity_s_per_m: float,
    temperature_c: float,
    *,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
    lag_standard_uncertainty_c: float = 0.0,
    calibration_factor: float = 1.0,
    calibration_standard_uncertainty: float = 0.0,
    impurity_standard_uncertainty: float = 0.0,
    model_share: float = 1.0,
    calibrated_at_c: float | None = None,
    line_standard_uncertainty_c: float = 0.0,
) -> Salinity:
    """Mass fraction of sodium chloride from what a probe and a thermometer read.

    All uncertainties are standard ones: of the probe in S/m, of the thermometer in K, of the lag
    and the distance between thermometer and probe in K; of calibration and impurity relative, as
    factors on conductivity. `calibration_factor` times the reading is the brine's conductivity.
    Where that factor was found in the same brine at `calibrated_at_c`, only the model's drift from
    that temperature to this one counts. `model_share` (0 to 1) scales the model's uncertainty.
    `line_standard_uncertainty_c` is the temperature's for the lines of ice and saturation, if that
    is more than the thermometer's and the lag's together.

    Valid: 0.001 S/m to saturation, from the ice line to 40 degC.
    Uncertainty: stated with each result, see the module's text.
    Raises: NotBrine: `probe-dry` below 0.001 S/m; `slush` where even the high end of what the
        reading allows is below the ice line, or below -21.1 degC; `above-saturation` where even
        the low end is above saturation, `not-brine` where the reading is half as much again;
        `out-of-range` for a temperature outside of -25 to 40 degC or what is no sane number.
    Source: the curve's, see `conductivity`; JCGM 100 and 101 for the uncertainty.
    """
    refuse_temperature(temperature_c)
    measured = conductivity_s_per_m * calibration_factor
    if not (
        -_LARGEST < conductivity_s_per_m < _LARGEST
        and 0.0 <= conductivity_standard_uncertainty < _LARGEST
        and 0.0 <= temperature_standard_uncertainty < _LARGEST
        and 0.0 <= lag_standard_uncertainty_c < _LARGEST
        and 0.0 <= line_standard_uncertainty_c < _LARGEST
        and 0.0 < calibration_factor < _LARGEST
        and 0.0 <= calibration_standard_uncertainty < _LARGEST
        and 0.0 <= impurity_standard_uncertainty < _LARGEST
        and 0.0 <= model_share <= 1.0
        and (calibrated_at_c is None or isfinite(calibrated_at_c))
    ):
        raise NotBrine(
            "out-of-range",
            f"a conductivity of {conductivity_s_per_m:g} S/m, its calibration factor "
            f"{calibration_factor:g} or one of the uncertainties is no sane number",
        )
    if measured < DRY_S_PER_M:
        raise NotBrine(
            "probe-dry",
            f"the probe reads {measured * 10.0:.3f} mS/cm, less than drinking water: it is dry, "
            f"or disconnected",
        )
    thermometer = sqrt(
        temperature_standard_uncertainty * temperature_standard_uncertainty
        + lag_standard_uncertainty_c * lag_standard_uncertainty_c
    )
    # Liquid at the warmest that the brine may be is what the interval may hold at most.
    warmest = warmest_possible_c(temperature_c, max(thermometer, line_standard_uncertainty_c))
    if warmest < EUTECTIC_C:
        raise _frozen(temperature_c)
    warmest = min(warmest, WARMEST_C)
    least, most = least_liquid(warmest), most_liquid(warmest) + SATURATION_EXPANDED_UNCERTAINTY
    isotherm = Isotherm(temperature_c, most)
    found, bound = _nearest_liquid(log(measured), max(temperature_c, EUTECTIC_C), isotherm)
    model = model_share * (
        model_standard_uncertainty(found, temperature_c)
        if calibrated_at_c is None
        else model_drift_standard_uncertainty(found, temperature_c, calibrated_at_c)
    )
    thermal = thermometer * slope_in_temperature(found, temperature_c)
    reach = COVERAGE * sqrt(
        model * model
        + thermal * thermal
        + calibration_standard_uncertainty * calibration_standard_uncertainty
        + impurity_standard_uncertainty * impurity_standard_uncertainty
    )
    probe = COVERAGE * conductivity_standard_uncertainty * calibration_factor
    low, high = _ends(measured, reach, probe, isotherm, most)
    if low > most:
        raise _too_much(measured, temperature_c)
    if high < least:
        raise _slush(measured, temperature_c)
    return _within(found, low, high, least=least, most=most, bound=bound)


def warmest_possible_c(temperature_c: float, thermometer_standard_uncertainty: float) -> float:
    """The warmest that the brine may be, at which its lines are taken, degC; includes the ice
    line's own uncertainty, as a temperature."""
    off = thermometer_standard_uncertainty + FREEZING_STANDARD_UNCERTAINTY_C
    return temperature_c + LINE_COVERAGE_FACTOR * off


def _nearest_liquid(
    log_measured: float, temperature_c: float, isotherm: Isotherm
) -> tuple[float, Bound]:
    """The inverse of the curve, or the line that it lies beyond."""
    saturated = most_liquid(temperature_c)
    if log_measured > isotherm.most_log:
        return saturated, "saturation"
    found = isotherm.mass_fraction(log_measured)
    # The last digits of saturated brine's own conductivity are not beyond it.
    if found > saturated + 1e-12:
        return saturated, "saturation"
    frozen = least_liquid(temperature_c)
    return (frozen, "ice") if found < frozen else (found, "")


def _ends(
    measured: float, reach: float, probe: float, isotherm: Isotherm, most: float
) -> tuple[float, float]:
    """The mass fractions at both ends of what the reading allows; infinite above saturation."""
    factor = exp(min(reach, _LARGEST_REACH))
    rise, fall = measured * (factor - 1.0), measured * (1.0 - 1.0 / factor)
    above = log(measured + sqrt(rise * rise + probe * probe))
    below = measured - sqrt(fall * fall + probe * probe)
    high = inf if above > isotherm.most_log else isotherm.mass_fraction(above)
    if below <= 0.0:
        return 0.0, high
    log_below = log(below)
    if log_below > isotherm.most_log:
        # The last digits of saturated brine's own conductivity are not a fault.
        return (most if log_below < isotherm.most_log + 1e-12 else inf), high
    return isotherm.mass_fraction(log_below), high


def _within(
    found: float, low: float, high: float, *, least: float, most: float, bound: Bound
) -> Salinity:
    """What is left of the interval between the lines, and its standard uncertainty.

    A reading that lies beyond a line, but not beyond where the line may be, has both in it.
    """
    bottom = min(low if low > least else least, found)
    top = max(high if high < most else most, found)
    # As if there were no lines, but no more than the longer way to an end: so that no uncertainty
    # that grows, and moves a line out of the way, makes the result look more certain.
    down, up = found - low, high - found
    spread = min(sqrt((down * down + up * up) / 2.0), max(found - bottom, top - found))
    return Salinity(found, spread / COVERAGE, (bottom, top), bound)


def _frozen(temperature_c: float) -> NotBrine:
    return NotBrine(
        "slush",
        f"at {temperature_c:.1f} degC no brine is liquid: it is frozen, or the thermometer is"
        " wrong",
    )


def _slush(measured: float, temperature_c: float) -> NotBrine:
    return NotBrine(
        "slush",
        f"{measured * 10.0:.1f} mS/cm at {temperature_c:.1f} degC is weaker than brine that is "
        f"liquid there: slush, or a probe out of the brine",
    )


def _too_much(measured: float, temperature_c: float) -> NotBrine:
    liquid_c = max(temperature_c, EUTECTIC_C)
    saturated = exp(log_conductivity(most_liquid(liquid_c), liquid_c))
    told = (
        f"{measured * 10.0:.1f} mS/cm at {temperature_c:.1f} degC, where saturated brine conducts "
        f"{saturated * 10.0:.1f}"
    )
    if measured > NO_BRINE_RATIO * saturated:
        return NotBrine("not-brine", f"{told}: no sodium chloride brine, or a fault of the probe")
    return NotBrine("above-saturation", f"{told}: a fault, or a wrong temperature")
