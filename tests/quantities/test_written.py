"""Quantities as people write them."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.quantities import (
    EXAMPLES,
    UnreadableQuantity,
    format_quantity,
    parse_difference,
    parse_number,
    parse_quantity,
    spellings,
    unit_named,
)
from brineward.quantities.units import Unit

# Each line by hand from definitions: NIST Special Publication 811, appendix B.8 and B.9.
DEFINED = [
    ("172 mS/cm", "conductivity", 17.2),
    ("1 S/m", "conductivity", 1.0),
    ("500 µS/cm", "conductivity", 0.05),
    ("41 °F", "temperature", 5.0),
    ("41F", "temperature", 5.0),
    ("41 degrees F", "temperature", 5.0),
    ("41 deg. F", "temperature", 5.0),
    ("41 degrees fahrenheit", "temperature", 5.0),
    ("41 ℉", "temperature", 5.0),
    ("5º C", "temperature", 5.0),
    ("5 degrees Celsius", "temperature", 5.0),
    ("\u00a041\u00a0F\u00a0", "temperature", 5.0),
    ("+.5 m", "length", 0.5),
    ("5. m", "length", 5.0),
    ("1.72E2 mS per cm", "conductivity", 17.2),
    ("-40 degF", "temperature", -40.0),
    ("−40 degC", "temperature", -40.0),  # noqa: RUF001 - a typeset minus sign
    ("273.15 K", "temperature", 0.0),
    ("0.0 degC", "temperature", 0.0),
    ("1 ft", "length", 0.3048),
    ("6 inches", "length", 0.1524),
    ("1,900 gallons", "volume", 1900 * 231 * 0.0254**3),
    ("1 cubic foot", "volume", 0.028316846592),
    ("8.34540445 lb/gal", "density", 1000.0),
    ("1.176 g/cm3", "density", 1176.0),
    ("1 short ton", "mass", 907.18474),
    ("2,000 lb", "mass", 907.18474),
    ("60 gal/min", "flow", 0.003785411784),
    ("3.6 m3/h", "flow", 0.001),
    ("1 psi", "pressure", 6894.757),
    ("1.5 hp", "power", 1118.54980737),
    ("1 bar", "pressure", 100_000.0),
    ("4 mA", "current", 0.004),
    ("1.5 kW", "power", 1500.0),
    ("400 d", "duration", 34_560_000.0),
    ("1.5e2 s", "duration", 150.0),
    ("23.3 %", "ratio", 0.233),
    ("23.3%", "ratio", 0.233),
    ("23.3 /100", "ratio", 0.233),
    ("0.233 ratio", "ratio", 0.233),
]


@pytest.mark.parametrize(("text", "expected", "value"), DEFINED)
def test_a_written_quantity_becomes_si(text: str, expected: str, value: float) -> None:
    """What people write is what the definitions of the units make of it."""
    assert parse_quantity(text, expected=expected) == pytest.approx(value, rel=1e-7, abs=1e-9)


REFUSED = [
    ("172 mS/cn", "conductivity", "did you mean mS/cm"),
    ("172 mS", "conductivity", "did you mean mS/cm?; expected a conductivity"),
    ("1720 uS", "conductivity", "did you mean uS/cm?"),
    ("10 min", "conductivity", "is a duration; expected a conductivity"),
    ("E0 mS/cm", "conductivity", "does not start with a number"),
    ("E5 F", "temperature", "does not start with a number"),
    ("e-3 m", "length", "does not start with a number"),
    (".E5 m", "length", "does not start with a number"),
    ("+ F", "temperature", "does not start with a number"),
    ("- F", "temperature", "does not start with a number"),
    (". F", "temperature", "does not start with a number"),
    ("1e400 gal", "volume", "too large"),
    ("1e308 d", "duration", "too large"),
    ("1e308 psi", "pressure", "too large"),
    ("nan mS/cm", "conductivity", "does not start with a number"),
    ("١٧٢ mS/cm", "conductivity", "does not start with a number"),
    ("1٢2 m", "length", "is not a unit"),
    ("² m", "length", "does not start with a number"),
    ("10² m", "length", "is not a unit"),
    ("½ m", "length", "does not start with a number"),
    ("12 V", "current", "is not a unit"),
    ("5 ft", "volume", "is a length; expected a volume"),
    ("2 tons", "mass", "did you mean short ton or t?"),
    ("1,5 m", "length", "comma out of place"),
    ("0,125 m", "length", "comma out of place"),
    ("1,9000 gal", "volume", "comma out of place"),
    ("5", "length", "says no unit"),
    (2.4, "length", 'says no unit; expected a length such as "2.40 m", in quotes'),
    (None, "length", "says no unit"),
    (True, "length", "says no unit"),
    ("nan m", "length", "does not start with a number"),
    ("inf m", "length", "does not start with a number"),
    ("1e999 m", "length", "too large"),
    ("", "length", "does not start with a number"),
    ("five m", "length", "does not start with a number"),
    ("5 M", "length", "'M' is not a unit"),
    ("-300 degC", "temperature", "below absolute zero"),
    ("1.2.3 m", "length", "'.3 m' is not a unit"),
]


@pytest.mark.parametrize(("text", "expected", "why"), REFUSED)
def test_what_cannot_be_read_is_refused_in_a_sentence(
    text: object, expected: str, why: str
) -> None:
    """A refusal names the place, what was written, and what was expected."""
    with pytest.raises(UnreadableQuantity) as refusal:
        parse_quantity(text, expected=expected, where="vessels.main.brim")
    sentence = str(refusal.value)
    assert sentence.startswith(f"vessels.main.brim: {text!r} ")
    assert why in sentence
    assert "expected" in sentence


@pytest.mark.parametrize("text", ["9" * 10_000, "5 " + "m" * 10_000, "x" * 10_000, ["m"] * 9_000])
def test_a_refusal_of_a_long_text_is_short(text: object) -> None:
    """Ten thousand characters are refused in a sentence that fits a screen, on one line."""
    with pytest.raises(UnreadableQuantity) as refusal:
        parse_quantity(text, expected="length")
    assert len(str(refusal.value)) < 250
    assert len(str(refusal.value).splitlines()) == 1


def test_a_difference_too_large_for_a_float_is_refused() -> None:
    """No uncertainty becomes infinite on its way into SI."""
    with pytest.raises(UnreadableQuantity, match="too large"):
        parse_difference("1e308 d", expected="duration")


def test_an_uncertainty_in_fahrenheit_has_no_zero_shift() -> None:
    """A thermometer good to 0.9 degF is good to 0.5 K, not to minus 17 degC."""
    assert parse_difference("0.9 degF", expected="temperature") == pytest.approx(0.5)


def test_a_bare_number_takes_no_unit() -> None:
    """Specific gravity is written bare, and a unit after it is a mistake."""
    assert parse_number(" 1.171 ") == 1.171
    with pytest.raises(UnreadableQuantity, match="after the number"):
        parse_number("1.171 kg")


def test_written_again_it_never_says_minus_zero_or_nan() -> None:
    """A value that rounds to zero has no sign, and what is no number is not written."""
    assert format_quantity(-0.0001, "degC") == "0.0 degC"
    assert format_quantity(7.1922823896, "gal", decimals=0) == "1,900 gal"
    assert format_quantity(0.233, "%") == "23.3 %"
    assert format_quantity(1.1782, "1", decimals=4) == "1.1782"
    with pytest.raises(ValueError, match="not a quantity"):
        format_quantity(math.nan, "m")


ALL_UNITS = [unit_named(spelling) for spelling in spellings()]


@given(st.sampled_from(ALL_UNITS), st.floats(min_value=0.0, max_value=1e6))
def test_reading_back_what_was_written_gives_the_same(unit: Unit, number: float) -> None:
    """Every unit survives being written and read, to the digits that were written."""
    written = format_quantity(unit.to_si(number), unit, decimals=6)
    text = written if unit.name != "1" else f"{written} ratio"
    back = parse_quantity(text, expected=unit.quantity)
    assert unit.from_si(back) == pytest.approx(number, abs=2e-6, rel=1e-9)


LIKE_NUMBERS = st.one_of(
    st.text(alphabet="0123456789eE+-.,١٢²½ −", max_size=12),  # noqa: RUF001 - a typeset minus sign
    st.floats().map(str),
    st.integers().map(str),
    st.sampled_from(["1e308", "1e400", "1e-400", "9" * 10_000, "nan", "inf", "-0.0", "1_000"]),
)
LIKE_QUANTITIES = st.one_of(
    st.text(max_size=30),
    st.builds("{}{}{}".format, LIKE_NUMBERS, st.sampled_from(["", " "]), st.text(max_size=8)),
    st.builds("{} {}".format, LIKE_NUMBERS, st.sampled_from(spellings())),
)


@given(LIKE_QUANTITIES, st.sampled_from(sorted(EXAMPLES)))
@settings(max_examples=1_000)
def test_any_text_is_read_or_refused(text: str, expected: str) -> None:
    """No text gets past as NaN or infinity, and none raises anything but the refusal."""
    for parse in (parse_quantity, parse_difference):
        try:
            value = parse(text, expected=expected)
        except UnreadableQuantity:
            continue
        assert math.isfinite(value)
    try:
        number = parse_number(text)
    except UnreadableQuantity:
        return
    assert math.isfinite(number)


@pytest.mark.parametrize("quantity", sorted(EXAMPLES))
def test_each_example_is_read(quantity: str) -> None:
    """The example that a refusal offers is itself accepted."""
    assert math.isfinite(parse_quantity(EXAMPLES[quantity], expected=quantity))


def test_case_matters_for_one_letter_only() -> None:
    """`MS/CM` can only be mS/cm, but `M` is not guessed to be m."""
    assert unit_named("MS/CM").name == "mS/cm"
    with pytest.raises(ValueError, match="'M' is not a unit"):
        unit_named("M")
