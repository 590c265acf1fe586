"""Density beside a probe in standing brine: looks hold the two together, and tests both."""

import math

import numpy as np
import pytest

from brineward.physics.calibrated import calibrated_word, density_beside
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity, slope_in_mass_fraction
from brineward.physics.probe_test import DENSITY_SALTS, SALTS_LEFT, probe_test
from brineward.physics.salinity import Salinity
from brineward.physics.stands import Look, Stands, dense, look
from brineward.physics.witness import Conditions, combine

SIZES = Sizes(0.01, 0.3)
BRINE, COLD_C = 0.233, 10.0
METER = 0.00123
"""1 kg/m3 as a mass fraction."""


def seen(day: float, strength: float, off: float, by_density: float, stand: float = 0.0) -> Look:
    """A look at brine of a strength, where the probe reads `off`, and what density told."""
    true = conductivity(strength, COLD_C)
    return look(
        BRINE,
        seconds=day * DAY_SECONDS,
        stand=stand * DAY_SECONDS,
        conductivity_s_per_m=true * math.exp(off),
        temperature_c=COLD_C,
        conductivity_standard_uncertainty=0.01 * true,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
        by_density=dense(by_density, METER),
    )


def told(
    found: Calibration, day: float, strength: float, off: float, by_density: float
) -> Salinity:
    """The strength by a reading and density beside it."""
    read = conductivity(strength, COLD_C) * math.exp(off)
    seconds = day * DAY_SECONDS
    word = calibrated_word(
        found,
        read,
        COLD_C,
        seconds=seconds,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
    )
    alone = Salinity(by_density, 0.0016, (by_density - 0.0031, by_density + 0.0031))
    beside = density_beside(
        found, word, alone, dense(by_density, METER), seconds=seconds, temperature_c=COLD_C
    )
    assert beside is not None
    conditions = Conditions(
        temperature_c=COLD_C,
        temperature_standard_uncertainty=0.0,
        density_from="meter",
        shared=beside.shared,
    )
    return combine(word.salinity, beside.salinity, conditions)


def test_its_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Of 300 probes and meters whose errors are drawn as they are believed to be, 92 to 98.5 %: a
    sign or a covariance that is wrong would hold far less, or be far too wide."""
    random = np.random.default_rng(20813)
    within, reach = 0, 0.0
    for _ in range(300):
        # Probe, thermometer, curve and salt together, as the factor's prior has them at 10 degC.
        probe = random.normal(0.0, Calibration(SIZES).factor_at(0.0, COLD_C, BRINE)[1])
        salts = DENSITY_SALTS + SALTS_LEFT * random.standard_normal()
        lasting = dense(BRINE, METER).lasting * random.standard_normal()
        hydrometer = 0.6 * 0.0013 * random.standard_normal()
        found = Calibration(SIZES)
        for day in range(4):
            strength = BRINE + 0.004 * random.standard_normal()
            off = -probe + 0.0025 * random.standard_normal()
            by_density = strength + salts + lasting + 0.00065 * random.standard_normal()
            if day in (0, 2):
                mark = strength + salts + hydrometer + 0.8 * 0.0013 * random.standard_normal()
                true = conductivity(strength, COLD_C)
                found.observe(
                    probe_test(
                        mark,
                        0.0013,
                        seconds=day * DAY_SECONDS - 60.0,
                        conductivity_s_per_m=true * math.exp(off),
                        temperature_c=COLD_C,
                        conductivity_standard_uncertainty=0.01 * true,
                        temperature_standard_uncertainty=0.3,
                        apart_standard_uncertainty_k=0.1,
                    )
                )
            found.look(seen(float(day), strength, off, by_density, stand=float(day)))
        strength = BRINE + 0.004 * random.standard_normal()
        off = -probe + 0.0025 * random.standard_normal()
        by_density = strength + salts + lasting + 0.00065 * random.standard_normal()
        low, high = told(found, 4.2, strength, off, by_density).interval_95
        within += low <= strength <= high
        reach += (high - low) / 2.0 / 300
    assert 0.92 * 300 <= within <= 0.985 * 300
    assert reach < 0.0030


def test_tests_show_what_the_meter_is_off_by() -> None:
    """A meter 0.4 % of salt too strong, against two tests of one brine: a third of it is taken
    for its error (it may be as honest as they are), and the strength told follows."""
    found = Calibration(SIZES)
    true = conductivity(BRINE, COLD_C)
    for day in (0, 3):
        found.observe(
            probe_test(
                BRINE,
                0.0006,
                seconds=day * DAY_SECONDS,
                conductivity_s_per_m=true,
                temperature_c=COLD_C,
                conductivity_standard_uncertainty=0.01 * true,
                temperature_standard_uncertainty=0.3,
            )
        )
        found.look(seen(day + 0.01, BRINE, 0.0, BRINE + 0.004))
    error = found.meter_error(0.0, 3.2 * DAY_SECONDS, COLD_C, dense(BRINE, METER).lasting)
    assert error is not None
    assert 0.0010 < error.mass_fraction < 0.0020
    assert told(found, 3.3, BRINE, 0.0, BRINE + 0.004).mass_fraction < BRINE + 0.0026


def test_without_density_nothing_is_known_of_a_meter() -> None:
    """No look held the two together: density is weighed as it always was."""
    found = Calibration(SIZES)
    assert found.meter_error(0.0, 0.0, COLD_C, METER) is None


def test_gas_on_the_meter_teaches_nothing() -> None:
    """A density 1 % of salt off all at once is left out, and the looks go on without it."""
    stands = Stands(SIZES)
    for number in range(4):
        stands.take(seen(number / 3.0, BRINE, 0.0, BRINE))
    stands.take(seen(4 / 3.0, BRINE, 0.0, BRINE - 0.01))
    assert [one.by_density is None for one in stands.looks] == [False] * 4 + [True]
    assert len(stands.said) == len(stands.lower) == 9
    assert stands.changes == []


def test_looks_with_density_are_kept_as_plain_data() -> None:
    """What `freeze` wrote makes the same looks and covariances again."""
    stands, again = Stands(SIZES), Stands(SIZES)
    for number in range(30):
        stands.take(seen(number / 3.0, BRINE, 0.0, BRINE + 0.001 * (number % 2)))
    again.thaw(stands.freeze())
    assert again.looks == stands.looks
    assert again.lower == stands.lower
    assert len(stands.said) == 48


def test_a_film_shows_against_density_in_two_looks() -> None:
    """The probe loses 2 % while density stays: a change of the probe, not of the brine."""
    stands = Stands(SIZES)
    for number in range(4):
        assert stands.take(seen(number / 3.0, BRINE, 0.0, BRINE)) is None
    found = [stands.take(seen(number / 3.0, BRINE, -0.02, BRINE)) for number in (4, 5)]
    assert any(found)
    slope = slope_in_mass_fraction(BRINE, COLD_C)
    assert stands.looks[-1].by_density == pytest.approx(0.02 - slope * DENSITY_SALTS, abs=1e-5)
    assert stands.looks[-1].meter == pytest.approx(slope * 0.85 * METER, rel=1e-3)
