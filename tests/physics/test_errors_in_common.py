"""Tests and observations of about one time have errors in common, as errors can have."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.apart import LEAST, MOST, own_variance, same_reading
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.probe_test import ProbeTest, common_error, probe_test
from brineward.physics.stands import Look, dense, look, shared_with_test

BRINE, COLD_C = 0.233, 5.0
TRUE = conductivity(BRINE, COLD_C)
Sensors = tuple[float, float, float]
"""Standard uncertainties: of the probe, relative; of the thermometer, K; of the difference
between the two, K."""
GOOD: Sensors = (0.003, 0.12, 0.1)
POOR: Sensors = (0.03, 1.0, 1.0)


def a_test(seconds: float, sensors: Sensors, off: float = 0.0, u: float = 0.0014) -> ProbeTest:
    """A hydrometer test of `BRINE`."""
    probe, thermometer, apart = sensors
    return probe_test(
        BRINE,
        u,
        seconds=seconds,
        conductivity_s_per_m=TRUE * (1.0 + off),
        temperature_c=COLD_C,
        conductivity_standard_uncertainty=probe * TRUE,
        temperature_standard_uncertainty=thermometer,
        apart_standard_uncertainty_k=apart,
    )


def a_look(seconds: float, sensors: Sensors, *, metered: bool = False) -> Look:
    """An observation of the same brine, which has stood since the beginning."""
    probe, thermometer, apart = sensors
    return look(
        BRINE,
        seconds=seconds,
        stand=0.0,
        conductivity_s_per_m=TRUE,
        temperature_c=COLD_C,
        conductivity_standard_uncertainty=probe * TRUE,
        temperature_standard_uncertainty=thermometer,
        apart_standard_uncertainty_k=apart,
        by_density=dense(BRINE, 0.0009) if metered else None,
    )


@pytest.mark.parametrize("metered", [False, True])
@pytest.mark.parametrize("sensors", [GOOD, POOR])
def test_many_tests_of_one_day_each_observed(sensors: Sensors, metered: bool) -> None:
    """Five tests ten minutes apart on each of four days, each followed by an observation, as in the
    service: all are taken, and the factor is known no better than the hydrometer."""
    found = Calibration(Sizes(max(sensors[0], 0.01), max(sensors[1], 0.2)))
    for day in range(1, 5):
        for third in (1, 2, 3):
            found.look(a_look((day - third / 3) * DAY_SECONDS, sensors, metered=metered))
        for number in range(5):
            at = day * DAY_SECONDS + number * 600.0
            found.observe(a_test(at, sensors, off=0.0005 * (-1) ** number))
            found.look(a_look(at + 60.0, sensors, metered=metered))
    now = 4.1 * DAY_SECONDS
    factor = found.factor_at(now, COLD_C, BRINE)
    assert 0.001 < factor.standard_uncertainty < 0.01
    assert abs(factor.log_factor) < 0.002
    held = found.held(0.0, now, COLD_C)
    assert held is not None
    assert 0.001 < held.standard_uncertainty < 0.01


def test_a_test_between_two_observations() -> None:
    """An observation was due just before each of a few tests, and another follows each at once."""
    found = Calibration(Sizes(0.03, 0.3))
    for day in range(1, 9):
        at = day * DAY_SECONDS
        found.look(a_look(at - 120.0, (0.03, 0.3, 0.1)))
        found.observe(a_test(at, (0.03, 0.3, 0.1)))
        found.look(a_look(at + 60.0, (0.03, 0.3, 0.1)))
    assert 0.001 < found.factor_at(9 * DAY_SECONDS, COLD_C, BRINE).standard_uncertainty < 0.01


@given(
    tests=st.lists(st.floats(0.0, 30.0), min_size=1, max_size=16),
    looks=st.lists(st.floats(0.0, 30.0), min_size=1, max_size=24),
    sensors=st.tuples(st.floats(1e-4, 0.1), st.floats(0.01, 2.0), st.floats(0.0, 5.0)),
    u=st.floats(1e-5, 0.02),
    ratio=st.floats(LEAST, MOST),
)
def test_the_errors_themselves_can_be_so(
    tests: list[float], looks: list[float], sensors: Sensors, u: float, ratio: float
) -> None:
    """Whenever tests and observations are made, in hours, the covariance of their own errors is
    positive definite: no combination of them is known better than not at all."""
    made = [a_test(3600.0 * at, sensors, u=u) for at in tests]
    seen = [a_look(3600.0 * at, sensors) for at in looks]
    among = np.array([[common_error(a, b, ratio) for b in made] for a in made])
    across = np.array([[shared_with_test(one, test, ratio) for one in seen] for test in made])
    read = [
        [
            same_reading(a.seconds - b.seconds, a.read_variance(ratio), b.read_variance(ratio))
            for b in seen
        ]
        for a in seen
    ]
    errors = np.block([[among, across], [across.T, np.array(read)]])
    own = [own_variance(one.own, one.apart, ratio) for one in (*made, *seen)]
    more = [one.shared**2 for one in made] + [0.0] * len(seen)
    np.fill_diagonal(errors, [a + b for a, b in zip(own, more, strict=True)])
    assert np.linalg.eigvalsh(errors / max(own))[0] > 0.0


def test_a_test_of_an_older_version_is_thawed() -> None:
    """Its snapshot does not say which part of its error came from the reading."""
    found = Calibration(Sizes(0.01, 0.3))
    found.observe(a_test(0.0, GOOD))
    found.look(a_look(3600.0, GOOD))
    frozen = found.freeze()
    frozen["tests"] = [test[:8] for test in frozen["tests"]]
    again = Calibration(Sizes(0.01, 0.3))
    again.thaw(frozen)
    one, other = (it.factor_at(DAY_SECONDS, COLD_C, BRINE) for it in (found, again))
    assert math.isclose(one.log_factor, other.log_factor, abs_tol=3e-4)
    assert math.isclose(one.standard_uncertainty, other.standard_uncertainty, rel_tol=0.05)
