"""Salinity from conductivity: exact where it answers, wide where it must, refused with a reason."""

import math
import subprocess
import sys

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from brineward.physics.conductivity import (
    conductivity,
    slope_in_mass_fraction,
    slope_in_temperature,
)
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.salinity import (
    NotBrine,
    Salinity,
    mass_fraction_from_conductivity,
    salinity,
)
from brineward.published import FreezingRow, SolubilityRow, freezing_rows, solubility_rows

TEMPERATURES = st.floats(-21.0, 40.0)
SHARES = st.floats(0.0, 1.0)


def _read(
    reading: float, temperature_c: float, probe: float = 0.1, kelvin: float = 0.2
) -> Salinity:
    return salinity(
        reading,
        temperature_c,
        conductivity_standard_uncertainty=probe,
        temperature_standard_uncertainty=kelvin,
    )


def _liquid(share: float, temperature_c: float) -> float:
    least, most = least_liquid(temperature_c), most_liquid(temperature_c)
    return least + share * (most - least)


@given(TEMPERATURES, st.floats(0.0, 1.0))
def test_the_inverse_is_exact(temperature_c: float, share: float) -> None:
    """Forward and back gives the same mass fraction within 1e-9, undercooled liquid included."""
    mass_fraction = share * most_liquid(temperature_c)
    reading = conductivity(mass_fraction, temperature_c)
    assert abs(mass_fraction_from_conductivity(reading, temperature_c) - mass_fraction) < 1e-9


@given(TEMPERATURES, SHARES)
def test_the_estimate_is_the_inverse_and_lies_in_its_interval(
    temperature_c: float, share: float
) -> None:
    """Within the lines the answer is the curve's inverse, unmoved by its uncertainty."""
    mass_fraction = _liquid(share, temperature_c)
    reading = conductivity(mass_fraction, temperature_c)
    assume(reading > 0.001)
    found = _read(reading, temperature_c)
    assert abs(found.mass_fraction - mass_fraction) < 1e-9
    assert found.interval_95[0] <= found.mass_fraction <= found.interval_95[1]
    assert found.standard_uncertainty > 0.0


@pytest.mark.parametrize(
    ("temperature_c", "expected"), [(0.0, 1.16), (10.0, 0.94), (20.0, 0.80), (30.0, 0.71)]
)
def test_a_third_of_a_degree_and_one_percent_cost_what_another_fit_says(
    temperature_c: float, expected: float
) -> None:
    """0.3 degC and 1 % of the probe together, linearised, in % by mass at 23.3 %.

    Against a ten-parameter fit of another form to the same published values, within 15 %: forms
    differ by that much in slope at 0 degC.
    """
    thermal = 0.3 * slope_in_temperature(0.233, temperature_c)
    ours = math.hypot(thermal, 0.01) / slope_in_mass_fraction(0.233, temperature_c)
    assert 100.0 * ours == pytest.approx(expected, rel=0.15)


def test_small_errors_give_the_first_order_budget() -> None:
    """Where nothing is bent, the GUM's first-order formula (JCGM 100, 5.1.2) is met within 1 %."""
    reading = conductivity(0.15, 25.0)
    found = salinity(
        reading,
        25.0,
        conductivity_standard_uncertainty=0.001 * reading,
        temperature_standard_uncertainty=0.0,
        calibration_standard_uncertainty=0.001,
        impurity_standard_uncertainty=0.002,
        model_share=0.0,
    )
    relative = math.sqrt(0.001**2 + 0.001**2 + 0.002**2)
    expected = relative / slope_in_mass_fraction(0.15, 25.0)
    assert found.standard_uncertainty == pytest.approx(expected, rel=0.01)


def test_the_calibration_factor_multiplies_the_reading() -> None:
    """A probe that reads 4 % low, corrected, gives what a true one gives."""
    reading = conductivity(0.22, 12.0)
    assert salinity(
        reading / 1.04,
        12.0,
        conductivity_standard_uncertainty=0.0,
        temperature_standard_uncertainty=0.0,
        calibration_factor=1.04,
    ).mass_fraction == pytest.approx(0.22, abs=1e-9)


def test_a_test_at_hand_shrinks_the_uncertainty() -> None:
    """Calibrated at 6 degC, a reading at 5 degC is worth far more than one that is not."""
    reading = conductivity(0.233, 5.0)
    plain, tested = (
        salinity(
            reading,
            5.0,
            conductivity_standard_uncertainty=0.05,
            temperature_standard_uncertainty=0.05,
            calibration_standard_uncertainty=0.002,
            calibrated_at_c=calibrated_at_c,
        )
        for calibrated_at_c in (None, 6.0)
    )
    assert tested.standard_uncertainty < 0.5 * plain.standard_uncertainty


def test_in_the_cold_the_interval_is_wide_and_lopsided() -> None:
    """At -10 degC and 23.3 % the curve is flat: the interval is 3 % or more below, less above."""
    found = _read(conductivity(0.233, -10.0), -10.0)
    low, high = found.interval_95
    assert 0.233 - low > 0.03
    assert high - 0.233 < 0.02
    assert high == pytest.approx(most_liquid(-10.0 + 3 * (0.2 + 0.05)) + 0.0006, abs=1e-6)


def test_a_little_above_saturation_is_saturated_and_says_so() -> None:
    """1 % above saturated brine, with a probe good for 1 %: saturated, marked, open below."""
    saturated = conductivity(most_liquid(20.0), 20.0)
    found = _read(1.01 * saturated, 20.0, probe=0.01 * saturated)
    assert found.bound == "saturation"
    assert found.mass_fraction == pytest.approx(most_liquid(20.0))
    assert found.interval_95[0] < found.mass_fraction - 0.003
    assert found.standard_uncertainty > 0.001


def _conducted(mass_fraction: float, temperature_c: float) -> tuple[float, float]:
    """The interval of a perfect probe, thermometer and curve in brine of this strength."""
    return salinity(
        conductivity(mass_fraction, temperature_c),
        temperature_c,
        conductivity_standard_uncertainty=0.0,
        temperature_standard_uncertainty=0.0,
        model_share=0.0,
    ).interval_95


@pytest.mark.parametrize("row", solubility_rows(), ids=str)
def test_every_published_saturated_brine_is_in_its_interval(row: SolubilityRow) -> None:
    """Measured perfectly, brine that a handbook calls saturated is nowhere cut off as impossible.

    26.395 % at 15.6 degC (Salt Institute) lies 0.011 % past our line, 26.68 % at 37.8 degC 0.053.
    """
    low, high = _conducted(row.mass_fraction, row.temperature_c)
    assert low <= row.mass_fraction + 1e-9
    assert row.mass_fraction - 1e-9 <= high


@pytest.mark.parametrize("row", freezing_rows(), ids=str)
def test_every_published_brine_at_its_freezing_point_is_in_its_interval(row: FreezingRow) -> None:
    """Measured perfectly where ice or crystals come out by the tables, brine is brine."""
    low, high = _conducted(row.mass_fraction, row.temperature_c)
    assert low <= row.mass_fraction + 1e-9
    assert row.mass_fraction - 1e-9 <= high


def test_past_where_saturation_may_be_it_is_refused() -> None:
    """0.1 % by mass past the line no published value reaches: a perfect reading is a fault."""
    with pytest.raises(NotBrine) as refusal:
        _conducted(most_liquid(20.0) + 0.001, 20.0)
    assert refusal.value.reason == "above-saturation"


def test_a_little_weaker_than_ice_allows_is_at_the_ice_line_and_says_so() -> None:
    """2 % by mass below the ice line with a doubtful thermometer: at the line, marked."""
    reading = conductivity(least_liquid(-10.0) - 0.002, -10.0)
    found = _read(reading, -10.0, kelvin=0.5)
    assert found.bound == "ice"
    assert found.mass_fraction == pytest.approx(least_liquid(-10.0))


@pytest.mark.parametrize(
    ("reading", "temperature_c", "reason", "word"),
    [
        (25.0, 20.0, "above-saturation", "wrong temperature"),
        (60.0, 20.0, "not-brine", "no sodium chloride brine"),
        (2.0, -15.0, "slush", "slush"),
        (6.0, -23.0, "slush", "frozen"),
        (0.0, 10.0, "probe-dry", "dry"),
        (-0.2, 10.0, "probe-dry", "dry"),
        (20.0, 55.0, "out-of-range", "55.0 degC"),
        (20.0, -40.0, "out-of-range", "-40.0 degC"),
        (math.nan, 10.0, "out-of-range", "no sane number"),
        (20.0, math.nan, "out-of-range", "no number"),
        (math.inf, 10.0, "out-of-range", "no sane number"),
    ],
)
def test_what_is_no_brine_is_refused_with_its_reason(
    reading: float, temperature_c: float, reason: str, word: str
) -> None:
    """Each way of not being brine has its code and a sentence that names it."""
    with pytest.raises(NotBrine, match=word) as caught:
        _read(reading, temperature_c)
    assert caught.value.reason == reason


DOUBTS = (
    "conductivity_standard_uncertainty",
    "temperature_standard_uncertainty",
    "lag_standard_uncertainty_c",
    "calibration_standard_uncertainty",
    "impurity_standard_uncertainty",
    "model_share",
)


def _answer_or_refusal(reading: float, temperature_c: float, inputs: dict) -> Salinity | str:
    try:
        return salinity(reading, temperature_c, **inputs)
    except NotBrine as refusal:
        return refusal.reason


@given(
    st.floats(),
    st.floats(),
    st.fixed_dictionaries(
        {name: st.floats() for name in DOUBTS}
        | {"calibration_factor": st.floats(), "calibrated_at_c": st.none() | st.floats()}
    ),
)
def test_any_numbers_are_answered_or_refused(
    reading: float, temperature_c: float, inputs: dict
) -> None:
    """No floats, however odd, bring out NaN, an infinity or another error than the refusal."""
    found = _answer_or_refusal(reading, temperature_c, inputs)
    if isinstance(found, Salinity):
        _is_sane(found)


@given(
    st.floats(0.001, 50.0),
    st.floats(-25.0, 40.0),
    st.fixed_dictionaries(
        {name: st.floats(0.0, 1e6, exclude_max=True) for name in DOUBTS[:-1]}
        | {"calibrated_at_c": st.none() | st.floats(-1e300, 1e300)}
    ),
)
def test_likely_readings_with_any_uncertainty_are_answered_or_refused(
    reading: float, temperature_c: float, inputs: dict
) -> None:
    """A hopeless uncertainty gives a hopelessly wide interval between the lines, never NaN."""
    found = _answer_or_refusal(reading, temperature_c, inputs)
    if isinstance(found, Salinity):
        _is_sane(found)
    else:
        assert found in {"not-brine", "above-saturation", "slush"}


def _is_sane(found: Salinity) -> None:
    low, high = found.interval_95
    assert 0.0 <= low <= found.mass_fraction <= high <= 0.27
    assert 0.0 <= found.standard_uncertainty < 0.27


@given(
    st.sampled_from(DOUBTS),
    st.floats(-18.0, 40.0),
    st.floats(0.05, 0.95),
    st.lists(st.floats(0.0, 0.5), min_size=6, max_size=6),
    st.floats(0.01, 0.5),
)
def test_more_doubt_in_makes_no_less_doubt_out(
    grown: str, temperature_c: float, share: float, doubts: list[float], more: float
) -> None:
    """Raising any one input's uncertainty neither narrows the interval nor the uncertainty."""
    reading = conductivity(_liquid(share, temperature_c), temperature_c)
    assume(reading > 0.01)
    before = dict(zip(DOUBTS, doubts, strict=True))
    after = {**before, grown: before[grown] + more}
    first = salinity(reading, temperature_c, **before)
    second = salinity(reading, temperature_c, **after)
    assert second.standard_uncertainty >= first.standard_uncertainty - 1e-12
    assert second.interval_95[0] <= first.interval_95[0] + 1e-12
    assert second.interval_95[1] >= first.interval_95[1] - 1e-12


def test_the_scalar_path_never_imports_numpy() -> None:
    """The service's memory at rest: asking for a salinity does not bring numpy in."""
    code = (
        "import sys, brineward.physics.salinity as s;"
        "s.salinity(20.0, 15.0, conductivity_standard_uncertainty=0.1,"
        " temperature_standard_uncertainty=0.2);"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
