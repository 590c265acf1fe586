"""Mass fraction of salt from conductivity and temperature, with its uncertainty.

First working form; see `conductivity` for the curve.
"""

from math import exp, inf, isfinite, log, sqrt
from typing import Literal, NamedTuple

from brineward.physics import conductivity as curve
from brineward.physics.model_uncertainty import model_standard_uncertainty
from brineward.physics.refusals import NotBrine, Reason

__all__ = ["NotBrine", "Reason", "Salinity", "mass_fraction_from_conductivity", "salinity"]

COVERAGE = 1.959964
DRY_S_PER_M = 1e-3


class Salinity(NamedTuple):
    """Mass fraction of sodium chloride, and how well it is known."""

    mass_fraction: float
    standard_uncertainty: float
    interval_95: tuple[float, float]
    """Lowest and highest mass fraction that fit the reading; need not be symmetric."""
    bound: Literal["", "saturation", "ice"] = ""
    """The reading lies beyond this line, within its uncertainty: the strength is the line's."""


def mass_fraction_from_conductivity(conductivity_s_per_m: float, temperature_c: float) -> float:
    """Mass fraction of the liquid that conducts so much: the exact inverse of the curve.

    Conductivity in S/m from 0 to saturated brine's, temperature from -21.1 to 40 degC.
    Raises: NotBrine (above-saturation, out-of-range).
    """
    curve.refuse_temperature(temperature_c)
    if not 0.0 <= conductivity_s_per_m < inf:
        raise NotBrine("out-of-range", f"a conductivity of {conductivity_s_per_m} is no reading")
    if conductivity_s_per_m == 0.0:
        return 0.0
    most = _saturation(temperature_c)
    found = _inverse(log(conductivity_s_per_m), temperature_c, most)
    if found is None:
        raise NotBrine(
            "above-saturation",
            f"{conductivity_s_per_m * 10:.1f} mS/cm is more than saturated brine conducts at "
            f"{temperature_c:.1f} degC: a fault, or a wrong temperature",
        )
    return found


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
) -> Salinity:
    """Mass fraction of sodium chloride from the reading of a probe and a thermometer.

    The uncertainties are standard ones: of the probe in S/m, of the thermometer and of the lag
    and distance between the two in K; calibration and impurity relative, as factors on
    conductivity. `calibration_factor` times the reading is the brine's conductivity.
    `model_share` (0 to 1) is how much of the curve's own uncertainty is left: 1 without a
    calibration, near 0 right after a test at the same temperature.

    Raises: NotBrine, with its reason.
    """
    curve.refuse_temperature(temperature_c)
    inputs = (
        conductivity_standard_uncertainty,
        temperature_standard_uncertainty,
        lag_standard_uncertainty_c,
        calibration_standard_uncertainty,
        impurity_standard_uncertainty,
        model_share,
    )
    if not all(0.0 <= value < 1e6 for value in inputs) or not 0.0 < calibration_factor < 1e6:
        raise NotBrine("out-of-range", "an uncertainty or the calibration factor is no sane number")
    if not isfinite(conductivity_s_per_m):
        raise NotBrine("out-of-range", "the conductivity is no number")
    measured = conductivity_s_per_m * calibration_factor
    if measured < DRY_S_PER_M:
        raise NotBrine("probe-dry", "the probe reads next to nothing: it is dry, or disconnected")
    probe = conductivity_standard_uncertainty * calibration_factor
    thermometer = sqrt(temperature_standard_uncertainty**2 + lag_standard_uncertainty_c**2)
    warmest = min(temperature_c + COVERAGE * thermometer, curve.WARMEST_C)
    if warmest < -21.1:
        raise NotBrine("slush", f"at {temperature_c:.1f} degC no brine is liquid")
    most, least = _saturation(warmest), _ice(warmest)
    found = _inverse(log(measured), temperature_c, most)
    near = most if found is None else max(found, least)
    model = model_share * model_standard_uncertainty(near, temperature_c)
    thermal = thermometer * curve.slope_in_temperature(near, temperature_c)
    relative = sqrt(
        model**2
        + thermal**2
        + calibration_standard_uncertainty**2
        + impurity_standard_uncertainty**2
    )
    reach = COVERAGE * relative
    above = measured + sqrt(
        (measured * (exp(min(reach, 50.0)) - 1.0)) ** 2 + (COVERAGE * probe) ** 2
    )
    below = measured - sqrt((measured * (1.0 - exp(-reach))) ** 2 + (COVERAGE * probe) ** 2)
    low = 0.0 if below <= 0.0 else _inverse(log(below), temperature_c, most)
    high = _inverse(log(above), temperature_c, most)
    if low is None:
        raise NotBrine(
            "above-saturation",
            f"{measured * 10:.1f} mS/cm is more than saturated brine conducts at "
            f"{temperature_c:.1f} degC: a fault, or a wrong temperature",
        )
    if high is not None and high < least:
        raise NotBrine(
            "slush",
            f"{measured * 10:.1f} mS/cm at {temperature_c:.1f} degC is weaker than brine that is "
            f"liquid there: slush, or a probe that is not in the brine",
        )
    bound: Literal["", "saturation", "ice"] = ""
    if found is None:
        bound = "saturation"
    elif found < least:
        bound = "ice"
    low, top = max(low, least), most if high is None else high
    down, up = near - low, top - near
    spread = sqrt((down * down + up * up) / 2.0)
    if high is None:
        spread = max(spread, down)
    if low == least > 0.0:
        spread = max(spread, up)
    return Salinity(near, spread / COVERAGE, (low, top), bound)


def _inverse(log_conductivity: float, temperature_c: float, most: float) -> float | None:
    """The mass fraction at or below `most` whose conductivity this is; None where none is."""
    excess = curve.log_conductivity(most, temperature_c) - log_conductivity
    if excess < -1e-13:
        return None
    if excess < 1e-13:
        return most
    guess = min(most, exp(log_conductivity) / 400.0)
    for _ in range(60):
        error = curve.log_conductivity(guess, temperature_c) - log_conductivity
        step = error / (curve.slope_in_mass_fraction(guess, temperature_c) * guess)
        guess = min(most, guess * exp(-step))
        if abs(step) < 1e-14:
            break
    return guess


def _saturation(temperature_c: float) -> float:
    above = temperature_c - 0.1
    if above < 0.0:
        return 0.2631 + above * (0.001029 - 1.82e-5 * above)
    return 0.2631 + above * (2e-5 + 2e-6 * above)


def _ice(temperature_c: float) -> float:
    if temperature_c >= 0.0:
        return 0.0
    cold = -temperature_c
    return cold * (0.01667 - 0.000367 * (cold - 3.0) + 5.5e-6 * (cold - 3.0) * (cold - 10.89))
