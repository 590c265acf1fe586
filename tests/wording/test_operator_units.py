"""Numbers as an operator says them: feet and inches, limits, units of either system."""

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.plant.plan import SI_UNITS
from brineward.wording.operator_units import amount, depth, duration, in_units, level, measured
from depots import plan

INCH_M = 0.0254
"""By definition (NIST SP 811, B.8)."""


@given(st.floats(-3.0, 30.0))
@example(12 * INCH_M)
@example(0.2921 + 1e-12)  # eleven and a half inches: a foot, by rounding
@example(0.6 - 0.0254 / 2)
def test_a_level_never_has_twelve_inches(metres: float) -> None:
    """Feet and whole inches under twelve, within half an inch of the level; zero has no sign."""
    said = level(metres, us=True)
    found = re.fullmatch(r"(-?)(?:(\d+) ft)? ?(?:(\d+) in)?", said)
    assert found is not None, said
    feet, inches = int(found[2] or 0), int(found[3] or 0)
    assert inches < 12
    assert found[2] is None or feet > 0
    whole = (feet * 12 + inches) * (-1 if found[1] else 1)
    assert abs(whole - metres / INCH_M) <= 0.5 + 1e-9
    assert said == "0 in" or whole != 0


@pytest.mark.parametrize("us", [True, False])
@given(
    unit=st.sampled_from(sorted({one for one in SI_UNITS.values() if one})), value=st.floats(-60, 9)
)
@example(unit="degC", value=-17.9)  # 0 degF is -17.8 degC
@example(unit="degC", value=-0.04)
@example(unit="A", value=-0.001)
@example(unit="m", value=-0.001)
def test_what_reads_as_zero_has_no_sign(us: bool, unit: str, value: float) -> None:
    """ "-0 F" makes one ask what is wrong with the thermometer."""
    for said in (measured(value, unit, us), depth(value, us)):
        number = said.split(" ")[0].replace(",", "")
        assert not number.startswith("-") or float(number) != 0.0


@pytest.mark.parametrize(
    ("cubic_metres", "us", "said"),
    [
        (0.0, True, "0 gal"),
        (0.0003, True, "0 gal"),
        (0.3, True, "79 gal"),
        (10.86, True, "2,900 gal"),
        (0.0414, False, "41 L"),
        (0.2867, False, "290 L"),
        (12.27, False, "12,000 L"),
    ],
)
def test_an_amount_has_two_figures(cubic_metres: float, us: bool, said: str) -> None:
    """What is worked out from a level is no better; 3.785411784 L to the gallon (NIST SP 811)."""
    assert amount(cubic_metres, us) == said


def test_a_depth_has_tenths() -> None:
    """A puddle of "1 in" may be twice another of "1 in"."""
    assert [depth(m, us=True) for m in (0.0141, 0.038, 0.6096)] == ["0.6 in", "1.5 in", "24.0 in"]
    assert [depth(m, us=False) for m in (0.0141, 0.038)] == ["1.4 cm", "3.8 cm"]


@pytest.mark.parametrize(
    ("metres", "said"),
    [
        (0.0, "0 in"),
        (-0.001, "0 in"),
        (-0.05, "-2 in"),
        (0.29, "11 in"),
        (0.3, "1 ft"),
        (0.3048, "1 ft"),
        (2.25, "7 ft 5 in"),
        (2.434, "8 ft"),
    ],
)
def test_levels_as_a_person_says_them(metres: float, said: str) -> None:
    """No "8 ft 0 in", no "0 ft", no "-0 in"."""
    assert level(metres, us=True) == said


@pytest.mark.parametrize(
    ("us", "value", "limit", "said"),
    [
        (True, 2.286, 2.25, "7 ft 6 in (limit 7 ft 5 in)"),
        (True, 2.253, 2.25, "at the limit, 7 ft 5 in"),
        (True, 0.25, 0.2, "10 in (limit 8)"),
        (False, 2.286, 2.25, "2.29 m (limit 2.25)"),
        (False, 2.2501, 2.25, "at the limit, 2.25 m"),
    ],
)
def test_a_value_that_reads_as_its_limit_is_at_it(
    us: bool, value: float, limit: float, said: str
) -> None:
    """A value is given with its limit, which has no unit where that would only be said twice."""
    units = plan(us_units=us).units
    assert units.against(units.level(value), units.level(limit)) == said


@pytest.mark.parametrize("us", [True, False])
def test_every_quantity_that_a_sensor_measures_has_words(us: bool) -> None:
    """Whatever may be stuck can be said in either system."""
    for unit in SI_UNITS.values():
        assert re.search(r"\d", measured(1.0, unit, us))


@pytest.mark.parametrize(
    ("text", "us", "said"),
    [
        ("{3 degC} leaves", True, "37 F leaves"),
        ("{3 degC} leaves", False, "3.0 C leaves"),
        ("{1 K} for", True, "1.8 F for"),
        ("{0.05 m} under", True, "2 in under"),
        ("{0.005 m3} is", True, "1.32 gal is"),
        ("{0.005 m3} is", False, "5 L is"),
        ("no quantity {here}", True, "no quantity {here}"),
    ],
)
def test_quantities_in_braces(text: str, us: bool, said: str) -> None:
    """Written once in SI, read in the depot's own units; a difference is no temperature."""
    assert in_units(text, us) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (119.9, "119 s"),
        (120, "2 min"),
        (7199, "119 min"),
        (7200, "2 h"),
        (863_999, "239 h"),
        (864_000, "10 d"),
        (26_514_000, "306 d"),
    ],
)
def test_a_length_of_time_is_rounded_down_in_a_unit_that_fits(seconds, said):
    """Nobody counts on more time than there is, and nobody reads "7365 h"."""
    assert duration(seconds) == said
