"""Numbers that can't be: what the library that knows each country's numbers says of them."""

import phonenumbers
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.config.phone_numbers import impossible_number


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("+1 202 555 0141".replace(" ", ""), ""),
        ("+15550141", ""),  # as the examples have it
        ("+442079460123", ""),
        ("+1202555014", "too short"),
        ("+120255501411", "too long"),
        ("+9995550141", "no country"),
        ("+15551234", "area code"),
        ("pager 4", ""),
        ("yard@wexmoor.example", ""),
    ],
)
def test_a_number_that_cannot_be_is_said_with_why(number: str, words: str) -> None:
    """A digit too few or too many is seen by day; what is no number is not judged here."""
    said = impossible_number(number)
    assert words in said if words else said == ""


@given(st.sampled_from(sorted(phonenumbers.SUPPORTED_REGIONS)))
def test_every_countrys_example_can_be(region: str) -> None:
    """No country's own example is doubted."""
    for sort in (phonenumbers.PhoneNumberType.MOBILE, phonenumbers.PhoneNumberType.FIXED_LINE):
        example = phonenumbers.example_number_for_type(region, sort)
        if example is not None:
            written = phonenumbers.format_number(example, phonenumbers.PhoneNumberFormat.E164)
            assert impossible_number(written) == ""
