"""Values that tables share: what is taken, what is refused."""

import pytest
from pydantic_core import PydanticCustomError

from brineward.config.fields import phone_number, quantity_in_si


def test_quantities_beyond_any_number_are_refused() -> None:
    """A quantity that overflows on its way to SI is refused, not infinite."""
    with pytest.raises(PydanticCustomError, match="too large"):
        quantity_in_si("1e308 d", "duration")


def test_a_difference_has_no_zero_shift() -> None:
    """9 degF is a difference of 5 K, and a temperature of -12.8 degC."""
    assert quantity_in_si("9 degF", "temperature", difference=True) == pytest.approx(5.0)
    assert quantity_in_si("9 degF", "temperature") == pytest.approx(-12.78, abs=0.01)


def test_feet_and_inches_are_a_length() -> None:
    """What is reported as 7 ft 10 in may be written so: 94 in of 25.4 mm (NIST SP 811, B.8)."""
    for text in ("7 ft 10 in", "7ft 10in", "7 ft 10.0 in"):
        assert quantity_in_si(text, "length") == pytest.approx(94 * 0.0254)
    for text in ("7 ft 10", "7 ft 10 gal", "7 m 10 in", "ft 10 in", "-7 ft 10 in", "7 ft 10 in 3"):
        with pytest.raises(PydanticCustomError):
            quantity_in_si(text, "length")
    with pytest.raises(PydanticCustomError):
        quantity_in_si("7 ft 10 in", "duration")


def test_a_long_text_is_not_quoted_whole() -> None:
    """However long the text, the sentence about it stays short."""
    with pytest.raises(PydanticCustomError) as caught:
        quantity_in_si("9" * 100_000, "length")
    assert len(caught.value.message()) < 120


@pytest.mark.parametrize("text", ["+1 555 0140", "+1 (555) 01-40", "+1.555.0140"])
def test_a_phone_number_is_taken_in_any_spacing(text: str) -> None:
    """Spaces, brackets, points and hyphens go; what is left is ITU-T E.164."""
    assert phone_number(text) == "+15550140"


@pytest.mark.parametrize(
    "text",
    ["555 0140", "0015550140", "+0155501", "+1 555", "+1234567890123456", "+1 555 O140", "+"],
)
def test_what_is_no_phone_number_is_refused(text: str) -> None:
    """No plus, a country of 0, too short, longer than E.164's 15 digits, a letter."""
    with pytest.raises(PydanticCustomError):
        phone_number(text)
