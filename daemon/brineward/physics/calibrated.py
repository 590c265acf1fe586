"""The strength from a reading of a probe that has been tested, and from density if it is measured.

The reading is multiplied by the factor that tests and observations of standing brine have shown
(`calibration`). It is then weighed with the strength of the standing brine, and with density, less
the error that its own meter has shown, by the covariance of all three.
"""

from math import exp, log, sqrt
from typing import NamedTuple

from brineward.physics.calibration import Calibration
from brineward.physics.conductivity import slope_in_mass_fraction
from brineward.physics.estimate import Factor, weighed_with_held
from brineward.physics.fed import Fed
from brineward.physics.probe_test import (
    REPEATED_SHARE,
    SALTS_LEFT,
    apart_varies_k,
    root_sum_of_squares,
)
from brineward.physics.salinity import COVERAGE, Salinity, salinity
from brineward.physics.stands import Dense


class Word(NamedTuple):
    """A strength by a calibrated probe, and the weight in it of the standing brine's, 0 to 1."""

    salinity: Salinity
    share_held: float


def calibrated_word(
    calibration: Calibration,
    conductivity_s_per_m: float,
    temperature_c: float,
    *,
    seconds: float,
    conductivity_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
    apart_standard_uncertainty_k: float = 0.0,
    stand: float | None = None,
    fed: Fed | None = None,
) -> Word:
    """Mass fraction of sodium chloride from a reading of a probe with tests, and the weight in it
    of the standing brine's strength.

    As `salinity`, but the errors that a test can take away (of probe, thermometer, curve and salt)
    come from the calibration, and only what differs from reading to reading is added to them: the
    sensors' repeatability, and the part that does not stay of `apart_standard_uncertainty_k`, how
    far the brine at the probe may differ in temperature from that at the thermometer, as standing
    brine has shown it. The lines of ice and of saturation are taken at the thermometer's full
    uncertainty: a test of the probe says nothing about those.
    In a tank that has stood since `stand` (seconds) the reading is weighed with the strength
    observed there before, unless the two are far apart; in one that moves, with `fed`'s prediction.
    Raises: NotBrine, as `salinity`.
    """
    varies_k = sqrt(calibration.stands.apart.ratio) * apart_varies_k(apart_standard_uncertainty_k)
    if not (0.0 < conductivity_s_per_m < 1e6 and -25.0 <= temperature_c <= 40.0):
        # No factor applies to such a reading: `salinity` refuses it.
        log_factor, spread = 0.0, 0.0
    else:
        log_factor, spread = calibration.factor(seconds, temperature_c, log(conductivity_s_per_m))
        held = None
        if stand is not None:
            held = calibration.held(stand, seconds, temperature_c)
        elif fed is not None:
            held = calibration.held_after(fed, seconds, temperature_c)
        if held is not None:
            noise = root_sum_of_squares(
                REPEATED_SHARE * conductivity_standard_uncertainty / conductivity_s_per_m,
                REPEATED_SHARE * held.thermal * temperature_standard_uncertainty,
                held.thermal * varies_k,
            )
            said = Factor(log(conductivity_s_per_m) + log_factor, spread)
            weighed = weighed_with_held(said, noise, held, temperature_c)
            if weighed is not None:
                found = salinity(
                    exp(weighed.log_conductivity),
                    temperature_c,
                    conductivity_standard_uncertainty=0.0,
                    temperature_standard_uncertainty=0.0,
                    line_standard_uncertainty_c=temperature_standard_uncertainty,
                    calibration_standard_uncertainty=weighed.standard_uncertainty,
                    model_share=0.0,
                )
                return Word(found, weighed.share)
    found = salinity(
        conductivity_s_per_m,
        temperature_c,
        conductivity_standard_uncertainty=REPEATED_SHARE * conductivity_standard_uncertainty,
        temperature_standard_uncertainty=REPEATED_SHARE * temperature_standard_uncertainty,
        lag_standard_uncertainty_c=varies_k,
        line_standard_uncertainty_c=temperature_standard_uncertainty,
        calibration_factor=exp(log_factor),
        calibration_standard_uncertainty=spread,
        model_share=0.0,
    )
    return Word(found, 0.0)


class Beside(NamedTuple):
    """The strength by density less its meter's error, and what it shares with the probe's."""

    salinity: Salinity
    shared: float
    """Covariance of the two as mass fractions."""
    parting: float
    """The meter's error by tests and observations, in standard deviations of what they were
    expected to show of it; above 0 if it shows the brine too strong."""


def density_beside(
    calibration: Calibration,
    word: Word,
    by_density: Salinity,
    told: Dense,
    *,
    seconds: float,
    temperature_c: float,
    stand: float | None = None,
) -> Beside | None:
    """The strength by density beside a calibrated one; None until an observation has compared them.

    `by_density` is that strength by itself, `told` the same with its uncertainties listed singly;
    temperature -21.1 to 40 degC.
    """
    error = calibration.meter_error(stand, seconds, temperature_c, told.lasting)
    if error is None:
        return None
    slope = slope_in_mass_fraction(max(told.mass_fraction, 0.001), temperature_c)
    # The probe's strength has the factor's error, density's its meter's with the opposite sign.
    by_factor, by_stand = -error.with_factor / slope, -error.with_held
    shared = (1.0 - word.share_held) * by_factor + word.share_held * by_stand
    spread = root_sum_of_squares(error.standard_uncertainty, told.own)
    middle = told.mass_fraction - error.mass_fraction
    ends = middle - COVERAGE * spread, middle + COVERAGE * spread
    # What was learned of it varies by as much as it is known better now than at first.
    first = told.lasting * told.lasting + SALTS_LEFT * SALTS_LEFT
    learnt = first - error.standard_uncertainty * error.standard_uncertainty
    parting = round(error.mass_fraction / sqrt(max(learnt, 1e-9)), 6)
    found = Salinity(middle, spread, ends, by_density.bound)
    return Beside(found, shared, parting)
