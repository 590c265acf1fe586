"""A test as entered: what is read of it, and every nonsense refused with a sentence."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.decode.hand_tests import Fields, RefusedTest, hand_test
from brineward.readings.entries import HandTest
from brineward.readings.instants import DAY, HOUR, instant_from_rfc3339

NOW = instant_from_rfc3339("2026-01-14T18:00:00Z")
MARK = {"vessel": "main", "specific_gravity": 1.171, "temperature_c": 5.0}


def entered(fields: Fields) -> HandTest:
    """What a person entered now."""
    return hand_test(fields, depot="tern-hollow", now=NOW)


def test_a_specific_gravity() -> None:
    """1.171 on a 60/60 degF hydrometer at 5 degC is 21.9 %; a salometer and 20/20 agree."""
    found = entered(MARK)
    assert (found.vessel, found.at, found.by, found.cleaned) == ("main", NOW, "", False)
    assert found.mass_fraction == pytest.approx(0.2187, abs=0.0003)
    assert 0.001 < found.standard_uncertainty < 0.002
    other = entered({**MARK, "scale": "20/20 degC"})
    assert other.mass_fraction == pytest.approx(found.mass_fraction - 0.0012, abs=0.0004)


def test_salometer_and_percent() -> None:
    """85 degrees at 60 degF are 0.85 of 26.395 % (Salt Institute); a percentage is itself."""
    salometer = {"vessel": "main", "salometer": 85, "temperature_c": 140 / 9}
    assert entered(salometer).mass_fraction == pytest.approx(0.85 * 0.26395, abs=1e-5)
    assert entered(salometer).entered == "85 salometer degrees at 15.6 degC"
    percent = entered({"vessel": "main", "percent": 23.1, "standard_uncertainty": 0.2})
    assert (percent.mass_fraction, percent.standard_uncertainty) == pytest.approx((0.231, 0.002))


def test_its_own_time_person_and_cleaning() -> None:
    """An earlier time as text or as milliseconds, who it was, and that the probe was cleaned."""
    earlier = {**MARK, "at": "2026-01-14T17:00:00Z", "by": "Yard lead", "cleaned": True}
    found = entered(earlier)
    assert (found.at, found.by, found.cleaned) == (NOW - HOUR, "Yard lead", True)
    assert entered({**MARK, "at": NOW - HOUR}).at == NOW - HOUR


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"vessel": "main"}, "none was entered"),
        ({**MARK, "percent": 23}, "specific_gravity and percent was entered"),
        ({"vessel": "main", "specific_gravity": 1.171}, "does not say its temperature"),
        ({**MARK, "specific_gravity": "1.171"}, "specific gravity is not a number: '1.171'"),
        ({**MARK, "specific_gravity": True}, "is not a number"),
        ({**MARK, "specific_gravity": 11.71}, "not one of brine"),
        ({**MARK, "specific_gravity": 0.95}, "lighter than water"),
        ({**MARK, "specific_gravity": 1.25}, "more than saturated"),
        ({**MARK, "specific_gravity": 0.999}, "0.0 % of salt, which is water, not brine; expected"),
        ({**MARK, "specific_gravity": 1.004}, "is water, not brine; expected 1 to 26.5 %"),
        ({"vessel": "main", "salometer": 0, "temperature_c": 5}, "is water, not brine"),
        ({**MARK, "temperature_c": float("nan")}, "temperature is not a number"),
        ({**MARK, "temperature_c": 41 * 1.8 + 32}, "degC"),
        ({**MARK, "temperature_c": 10**400}, "temperature is not a number"),
        ({**MARK, "scale": "60/40"}, "not a hydrometer scale"),
        ({**MARK, "standard_uncertainty": 0.0}, "is implausible"),
        ({**MARK, "standard_uncertainty": 0.5}, "is implausible"),
        ({"vessel": "main", "percent": 0.231}, "expected 1 to 26.5"),
        ({"vessel": "main", "salometer": 120, "temperature_c": 5}, "not brine"),
        ({**MARK, "at": "yesterday"}, "is not a time"),
        ({**MARK, "at": "2026-01-14T17:00:00"}, "is not a time"),
        ({**MARK, "at": 1.5}, "is not a time"),
        ({**MARK, "at": True}, "is not a time"),
        ({**MARK, "at": NOW + HOUR}, "in the future"),
        ({**MARK, "at": NOW - 2 * DAY}, "older than a day"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(fields: Fields, said: str) -> None:
    """Each says what is wrong with it."""
    with pytest.raises(RefusedTest, match=said.replace("'", ".")):
        entered(fields)


NAMES = ["vessel", "specific_gravity", "salometer", "percent", "temperature_c", "scale", "at", "by"]
VALUES = (
    st.text(max_size=20)
    | st.floats()
    | st.integers()
    | st.booleans()
    | st.sampled_from([1.17, 23.3, 5, 85, NOW, "60/60 degF", "2026-01-14T17:59:00Z"])
)


@given(
    st.dictionaries(
        st.sampled_from([*NAMES, "standard_uncertainty", "cleaned", "other"]), VALUES, max_size=9
    )
)
def test_whatever_the_fields_hold_it_is_a_test_or_a_refusal(fields: Fields) -> None:
    """No other error for any fields, and a test that is taken is brine within a day."""
    try:
        found = entered(fields)
    except RefusedTest:
        return
    assert 0.01 <= found.mass_fraction < 0.27
    assert NOW - DAY <= found.at <= NOW
