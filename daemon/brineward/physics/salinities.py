"""Strengths of many readings at once with their uncertainties: `salinity` in an array; needs numba.

Each value's uncertainty is found as `salinity` finds it: the two ends of the 95 % range of
conductivity, each turned into a mass fraction by the exact inverse, then cut by the lines between
which brine is liquid, and the standard uncertainty is the root mean square of the distances to
them over 1.96. Model, slope and lines are the scalar functions themselves, compiled. A test holds
that both agree to the last digits, in what they refuse as well.
"""

from math import exp, inf, isfinite, log, nan, sqrt
from typing import NamedTuple, get_args

import numpy as np
import numpy.typing as npt

from brineward.physics.compiled import compiled
from brineward.physics.compiled_inversion import Curve, curve, most_liquid, root
from brineward.physics.conductivity import COLDEST_C, WARMEST_C, slope_in_temperature
from brineward.physics.liquid_lines import least_liquid
from brineward.physics.model_uncertainty import (
    model_drift_standard_uncertainty,
    model_standard_uncertainty,
)
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.refusals import Reason
from brineward.physics.salinity import (
    COVERAGE_FACTOR,
    DRY_S_PER_M,
    LINE_COVERAGE_FACTOR,
    LINES_STANDARD_UNCERTAINTY_C,
    NO_BRINE_RATIO,
    Bound,
)

Floats = npt.NDArray[np.float64]
Ends = tuple[float, float]
Codes = npt.NDArray[np.uint8]

REFUSALS: tuple[Reason | None, ...] = (None, *get_args(Reason))
"""What a code of refusal means; 0 is none."""
BOUNDS: tuple[Bound, ...] = get_args(Bound)
"""What a code of bound means; 0 is none."""

_NOT_BRINE, _ABOVE_SATURATION = REFUSALS.index("not-brine"), REFUSALS.index("above-saturation")
_SLUSH, _DRY = REFUSALS.index("slush"), REFUSALS.index("probe-dry")
_OUT_OF_RANGE = REFUSALS.index("out-of-range")
_SATURATION, _ICE = BOUNDS.index("saturation"), BOUNDS.index("ice")
_LARGEST = 1e6
_LARGEST_REACH = 50.0
_LAST_DIGITS = 1e-12


class Salinities(NamedTuple):
    """Mass fractions, how well they are known, and why some are not; arrays of one shape.

    Where a reading is refused, its numbers are not numbers.
    """

    mass_fraction: Floats
    standard_uncertainty: Floats
    lowest_95: Floats
    highest_95: Floats
    bound: Codes
    """By `BOUNDS`: the strength is that line's."""
    refusal: Codes
    """By `REFUSALS`."""


class _Reading(NamedTuple):
    conducts: float
    temperature_c: float
    probe: float
    thermometer: float
    factor: float
    relative: float
    share: float


class _Found(NamedTuple):
    mass_fraction: float
    standard_uncertainty: float
    lowest: float
    highest: float
    bound: int
    refusal: int


def salinities(
    conductivity_s_per_m: Floats,
    temperature_c: Floats,
    *,
    conductivity_standard_uncertainty: Floats | float,
    temperature_standard_uncertainty: Floats | float,
    lag_standard_uncertainty_c: Floats | float = 0.0,
    calibration_factor: Floats | float = 1.0,
    calibration_standard_uncertainty: Floats | float = 0.0,
    impurity_standard_uncertainty: Floats | float = 0.0,
    model_share: Floats | float = 1.0,
    calibrated_at_c: float | None = None,
) -> Salinities:
    """Mass fractions of sodium chloride from what probes and thermometers read: `salinity`.

    Arguments, units, Valid, Uncertainty and Source as the scalar function's; each but the last
    may be a number or an array, and together they make one shape as numpy does.
    Raises: ValueError where they can't make one shape. No NotBrine: see `Salinities.refusal`.
    """
    given = np.broadcast_arrays(
        conductivity_s_per_m,
        temperature_c,
        conductivity_standard_uncertainty,
        temperature_standard_uncertainty,
        lag_standard_uncertainty_c,
        calibration_factor,
        calibration_standard_uncertainty,
        impurity_standard_uncertainty,
        model_share,
    )
    shape = given[0].shape
    count = given[0].size
    rows = np.empty((len(given), count))
    for row, one in zip(rows, given, strict=True):
        row[:] = one.ravel()
    numbers, codes = np.empty((4, count)), np.empty((2, count), dtype=np.uint8)
    _judge_all(
        rows,
        calibrated_at_c is not None,
        0.0 if calibrated_at_c is None else float(calibrated_at_c),
        numbers,
        codes,
    )
    mass_fraction, standard_uncertainty, lowest, highest = (row.reshape(shape) for row in numbers)
    bound, refusal = (row.reshape(shape) for row in codes)
    return Salinities(mass_fraction, standard_uncertainty, lowest, highest, bound, refusal)


@compiled
def _refused(code: int) -> _Found:
    return _Found(nan, nan, nan, nan, 0, code)


@compiled
def _nearest_liquid(log_measured: float, temperature_c: float, at: Curve) -> tuple[float, int]:
    """The inverse of the curve, or the line that it lies beyond."""
    saturated = most_liquid(temperature_c)
    if log_measured > at.most_log:
        return saturated, _SATURATION
    s = root(at, log_measured)
    found = s * s
    if found > saturated + _LAST_DIGITS:
        return saturated, _SATURATION
    frozen = least_liquid(temperature_c)
    return (frozen, _ICE) if found < frozen else (found, 0)


@compiled
def _end(log_conductivity: float, at: Curve, most: float) -> float:
    """Mass fraction at an end of what the reading allows; infinite above saturation."""
    if log_conductivity > at.most_log:
        return most if log_conductivity < at.most_log + _LAST_DIGITS else inf
    s = root(at, log_conductivity)
    return s * s


@compiled
def _within(nearest: tuple[float, int], ends: Ends, lines: Ends) -> _Found:
    """What is left of the interval between the lines, and its standard uncertainty."""
    found, bound = nearest
    low, high = ends
    least, most = lines
    bottom, top = max(low, least), min(high, most)
    down, up = found - low, high - found
    spread = min(sqrt((down * down + up * up) / 2.0), max(found - bottom, top - found))
    return _Found(found, spread / COVERAGE_FACTOR, bottom, top, bound, 0)


@compiled
def _judge(reading: _Reading, drifts: bool, calibrated_at_c: float) -> _Found:
    """`salinity`, of a reading that is a sane number; the thermometer's uncertainty with the lag's.

    What is relative is the root sum of squares of calibration and impurity.
    """
    measured, temperature_c = reading.conducts * reading.factor, reading.temperature_c
    if measured < DRY_S_PER_M:
        return _refused(_DRY)
    reach_c = LINE_COVERAGE_FACTOR * (reading.thermometer + LINES_STANDARD_UNCERTAINTY_C)
    if temperature_c + reach_c < EUTECTIC_C:
        return _refused(_SLUSH)
    warmest = min(temperature_c + reach_c, WARMEST_C)
    most, least = most_liquid(warmest), least_liquid(warmest)
    at = curve(temperature_c, most)
    found, bound = _nearest_liquid(log(measured), max(temperature_c, EUTECTIC_C), at)
    if drifts:
        model = model_drift_standard_uncertainty(found, temperature_c, calibrated_at_c)
    else:
        model = model_standard_uncertainty(found, temperature_c)
    model *= reading.share
    thermal = reading.thermometer * slope_in_temperature(found, temperature_c)
    relative = sqrt(model * model + thermal * thermal + reading.relative * reading.relative)
    factor = exp(min(COVERAGE_FACTOR * relative, _LARGEST_REACH))
    probe = COVERAGE_FACTOR * reading.probe * reading.factor
    rise, fall = measured * (factor - 1.0), measured * (1.0 - 1.0 / factor)
    below = measured - sqrt(fall * fall + probe * probe)
    low = _end(log(below), at, most) if below > 0.0 else 0.0
    if low > most:
        beyond = measured > NO_BRINE_RATIO * exp(at.most_log)
        return _refused(_NOT_BRINE if beyond else _ABOVE_SATURATION)
    high = _end(log(measured + sqrt(rise * rise + probe * probe)), at, most)
    if high < least:
        return _refused(_SLUSH)
    return _within((found, bound), (low, high), (least, most))


@compiled
def _judge_all(
    rows: Floats, drifts: bool, calibrated_at_c: float, numbers: Floats, codes: Codes
) -> None:
    for i in range(rows.shape[1]):
        conducts, temperature_c, probe = rows[0, i], rows[1, i], rows[2, i]
        thermometer, lag, factor = rows[3, i], rows[4, i], rows[5, i]
        calibration, impurity, share = rows[6, i], rows[7, i], rows[8, i]
        sane = (
            COLDEST_C <= temperature_c <= WARMEST_C
            and -_LARGEST < conducts < _LARGEST
            and 0.0 <= probe < _LARGEST
            and 0.0 <= thermometer < _LARGEST
            and 0.0 <= lag < _LARGEST
            and 0.0 < factor < _LARGEST
            and 0.0 <= calibration < _LARGEST
            and 0.0 <= impurity < _LARGEST
            and 0.0 <= share <= 1.0
            and isfinite(calibrated_at_c)
        )
        if sane:
            reading = _Reading(
                conducts,
                temperature_c,
                probe,
                sqrt(thermometer * thermometer + lag * lag),
                factor,
                sqrt(calibration * calibration + impurity * impurity),
                share,
            )
            one = _judge(reading, drifts, calibrated_at_c)
        else:
            one = _refused(_OUT_OF_RANGE)
        numbers[0, i], numbers[1, i] = one.mass_fraction, one.standard_uncertainty
        numbers[2, i], numbers[3, i] = one.lowest, one.highest
        codes[0, i], codes[1, i] = one.bound, one.refusal
