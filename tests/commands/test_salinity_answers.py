"""What `brineward salinity` answers, against published tables and other libraries, and its words.

Outside truth: the CRC Handbook (freezing points and density of sodium chloride solutions), the Salt
Institute (eutectic and solubility), CoolProp (water, and Melinder's brine tables).
"""

import json
import re

import pytest
from CoolProp.CoolProp import PropsSI

from commands.salinity_asking import ask

GAL_M3, LB_KG = 0.003785411784, 0.45359237


def object_of(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, float]:
    """The JSON answer, as a program gets it."""
    code, said = ask(capsys, "--json", *words)
    assert code == 0
    found: dict[str, float] = json.loads(said)
    return found


def kelvin(fahrenheit: float) -> float:
    """The same for CoolProp."""
    return (fahrenheit - 32.0) / 1.8 + 273.15


def test_salt_for_water_is_by_the_water(capsys: pytest.CaptureFixture[str]) -> None:
    """1,000 gal of water want 0.233/0.767 of their weight: the water's by CoolProp, 2,533 lb."""
    question = "how much salt for 1000 gal of water to 23.3 %?"
    water_kg = 1000 * GAL_M3 * PropsSI("D", "T", kelvin(60), "P", 101325, "Water")
    salt_kg = water_kg * 0.233 / 0.767
    assert salt_kg / LB_KG == pytest.approx(2533, abs=1)
    assert object_of(capsys, question)["salt_kg"] == pytest.approx(salt_kg, rel=2e-4)
    _, said = ask(capsys, question)
    assert "2,530 lb (1.27 short tons, 1,150 kg) of salt into 1,000 gal of water" in said
    assert "1,110 gal of brine" in said  # 4934 kg over 1176 kg/m3: 1,108 gal


def test_the_three_mixing_questions_agree(capsys: pytest.CaptureFixture[str]) -> None:
    """Salt from water, water from salt and strength from both are one balance, asked three ways."""
    salt_kg = object_of(capsys, "salt for 1000 gal of water to 20 %")["salt_kg"]
    water = object_of(capsys, f"how much water for {salt_kg:.6f} kg of salt to 20 %")
    assert water["water_m3"] == pytest.approx(1000 * GAL_M3, rel=1e-6)
    strength = object_of(capsys, f"{salt_kg:.6f} kg of salt in 1000 gal of water")
    assert strength["mass_fraction"] == pytest.approx(0.20, abs=1e-6)
    # The brine's volume by Melinder's tables, 20 % at 60 degF.
    brine = PropsSI("D", "T", kelvin(60), "P", 101325, "INCOMP::MNA[0.20]")
    assert strength["volume_m3"] == pytest.approx(5 * salt_kg / brine, rel=1e-3)


def test_an_addition_and_what_it_makes_are_one_balance(capsys: pytest.CaptureFixture[str]) -> None:
    """The salt that 2,000 gal at 1.150 and 45 F want brings it there when it is asked as added."""
    words = ("2,000 gal at 1.150 on the hydrometer at 45 F to 23.3 %",)
    wanted = object_of(capsys, *words)
    # By hand: 2,000 gal of 1.150 against water at 60 degF, 999.0 kg/m3, is 8,698 kg of brine.
    brine_kg = 2000 * GAL_M3 * 1.150 * 999.0
    salt_kg = brine_kg * (0.233 - wanted["mass_fraction"]) / 0.767
    assert wanted["mass_fraction"] == pytest.approx(
        0.1940, abs=0.002
    )  # CRC: 1147.8 has 20 % at 20 C
    assert wanted["add_salt_kg"] == pytest.approx(salt_kg, rel=2e-3)
    added = f"{wanted['add_salt_kg']:.3f} kg of salt"
    after = object_of(capsys, f"add {added} to 2,000 gal at 1.150 on the hydrometer at 45 F")
    assert after["mass_fraction_after"] == pytest.approx(0.233, abs=1e-6)
    _, said = ask(capsys, *words)
    assert re.search(r"Add about 9[67]0 lb .* of salt \(between 9\d0 and 1,0\d0 lb\)", said)


def test_water_added_weakens_by_the_balance(capsys: pytest.CaptureFixture[str]) -> None:
    """200 gal of water into 1,000 gal of 25 %: CRC's 1188.7 kg/m3 at 20 degC, by hand 21.4 %."""
    after = object_of(capsys, "add 200 gal of water to 1000 gal at 25 % and 20 C")
    brine_kg, water_kg = 1000 * 1188.7, 200 * 999.0
    assert after["mass_fraction_after"] == pytest.approx(
        0.25 * brine_kg / (brine_kg + water_kg), abs=2e-4
    )


@pytest.mark.parametrize(
    ("strength", "freezes_c"),
    [("5", -3.05), ("10", -6.56), ("15", -10.89), ("20", -16.46), ("23", -20.67)],  # CRC
)
def test_freezing_points_are_the_handbooks(
    capsys: pytest.CaptureFixture[str], strength: str, freezes_c: float
) -> None:
    """Within 0.1 degC of the CRC Handbook, and within 0.2 of Melinder's tables."""
    found = object_of(capsys, f"{strength} % freezing point")["freezing_point_c"]
    assert found == pytest.approx(freezes_c, abs=0.1)
    brine = f"INCOMP::MNA[{float(strength) / 100}]"
    melinder = PropsSI("T_FREEZE", "T", 300, "P", 101325, brine) - 273.15
    assert found == pytest.approx(melinder, abs=0.2)


@pytest.mark.parametrize(
    ("question", "begins"),
    [
        ("is 23.3 % frozen at -10 F", "Yes, frozen."),  # the eutectic is -6 degF (Salt Institute)
        ("is 23.3 % frozen at -6 F", "It is just at the point of freezing"),
        ("is 23.3 % frozen at -5 F", "No: it is still liquid"),
        ("is 20 % frozen at -5 F", "Yes: at -5 degF it is slush."),  # 2 degF (CRC)
        ("is 20 % frozen at 2 F", "Yes: at 2 degF it is slush."),
        ("is 20 % frozen at 3 F", "No: it is still liquid"),
        ("is 24.7 % frozen at 5 F", "Not hard, but at 5 degF it has salt crystals"),  # from 10 degF
        ("is 24.7 % frozen at 15 F", "No: it is still liquid"),
    ],
)
def test_frozen_is_answered_yes_or_no_first(
    capsys: pytest.CaptureFixture[str], question: str, begins: str
) -> None:
    """Yes, no, or on the line: as the CRC Handbook's and the Salt Institute's points have it."""
    code, said = ask(capsys, question)
    assert code == 0
    assert said.startswith(begins)


def test_frozen_of_a_poor_reading_is_perhaps(capsys: pytest.CaptureFixture[str]) -> None:
    """Where the reading allows both, no yes or no is given."""
    _, said = ask(capsys, "172 mS/cm at 49 F, is it frozen at -5 F?")
    assert "Perhaps" in said
    assert "between 22.1 and 26.4 %, 19 times in 20" in said


def test_which_strengths_are_liquid_is_the_tables(capsys: pytest.CaptureFixture[str]) -> None:
    """At 0 degF from 21.0 % (CRC: -17.78 degC) to 23.8 % (Salt Institute: 23.83 at 0 degF)."""
    _, said = ask(capsys, "how strong should brine be for 0 F")
    low, high = map(float, re.findall(r"liquid from (\d+\.\d) to (\d+\.\d) %", said)[0])
    assert (low, high) == (pytest.approx(21.0, abs=0.11), pytest.approx(23.8, abs=0.11))
    _, frozen = ask(capsys, "is it frozen at -10 F tonight")
    assert frozen.startswith("No salt brine is liquid at -10 degF")


HELPED = [
    ("172 mS", 2, "What was the brine's temperature"),
    ("49 degrees F", 2, "A temperature alone gives no strength"),
    ("1000 gal", 2, "How strong is it?"),
    ("how much salt for 1000 gal to 23.3 %", 2, "for plain water"),
    ("is 1.150 on the hydrometer frozen at 20 F", 2, '"1.150 at 45 F, is it frozen at -5 F?"'),
    ("2,000 gal at 1.150 at 45 F and 23.3 %", 2, 'write "to" before it'),
    ("how much salt for 1000 gal of water", 2, "How strong is the brine to be?"),
    ("3000 lb of salt in 1000 gal of water", 1, "more salt than dissolves"),
    ("how much salt for 1000 gal of water to 30 %", 1, "can't be reached"),
    ("230 g/L at 60 F", 1, "not a density of brine"),
    ("300 mS/cm at 49 F", 1, "175 mS/cm"),  # SATNACL: 177.9 at 10 degC, 49 F is 9.4
    ("1.178 at 200 F", 1, "200 degF is outside"),
    ("1 mS/cm at -5 C", 1, "slush"),
    ("what is 180 mS/cm of calcium chloride at 20 degC", 1, "Only sodium chloride"),
]


@pytest.mark.parametrize(("question", "code", "sentence"), HELPED)
def test_what_is_not_answered_is_helped(
    capsys: pytest.CaptureFixture[str], question: str, code: int, sentence: str
) -> None:
    """A sentence says what is missing or wrong, and in the asker's units."""
    found, said = ask(capsys, question)
    assert found == code
    assert sentence in said
    assert len(said.splitlines()) == 1


US_QUESTIONS = [
    "2,000 gal at 1.150 on the hydrometer at 45 F to 23.3 %",
    "how much salt for 1000 gal of water to 23.3 %?",
    "how many pounds of salt in 3,000 gallons of 23.3 % brine",
    "is 23.3 % frozen at -10 F",
    "172 mS at 49 degrees F",
    "1178 at 60 F",
    "what should the probe read for 23.3 % at 40 F?",
    "150 mS/cm and 1.180 at 49 F",
    "1.171 at 41 F, frozen at 0 F tonight?",
    "dilute 500 gallons of 26% to 23.3%",
    "freezing point of 23.3 % in fahrenheit",
    "300 mS/cm at 49 F",
    "1.178 at 200 F",
]


@pytest.mark.parametrize("question", US_QUESTIONS)
def test_who_asks_in_us_units_is_answered_in_them(
    capsys: pytest.CaptureFixture[str], question: str
) -> None:
    """No degC, litre or kelvin to who writes degF and gallons."""
    _, said = ask(capsys, question)
    assert "degF" in said
    assert not re.search(
        r"degC|\bL\b|kg/m3 (?!\w)|\bm3\b(?!;)", said.replace("write 1178 kg/m3", "")
    )


def test_who_asks_in_none_gets_both(capsys: pytest.CaptureFixture[str]) -> None:
    """A question that names no unit is answered in degC and degF."""
    assert "-21.1 degC (-6 degF)" in ask(capsys, "23.3% freezing point")[1]
    assert "degC" not in ask(capsys, "23.3% freezing point", "--units", "us")[1]
    said = ask(capsys, "23.3% freezing point", "--units", "si")[1]
    assert "degF" not in said.replace("(60/60 degF)", "")  # that is the hydrometer's own scale


@pytest.mark.parametrize(
    ("question", "stated"),
    [
        ("1,945 gal at 21.8 % to 23.3 %", "1,945 gal"),
        ("how much salt in 1,945 gal of 23.3 % brine", "1,945 gal of brine"),
        ("how much salt for 1,234 gal of water to 20 %", "1,234 gal of water"),
        ("how much water for 2,345 lb of salt to 20 %", "2,345 lb ("),
        ("add 1,234 lb of salt to 2,945 gal at 20 %", "1,234 lb ("),
    ],
)
def test_what_was_given_is_said_as_it_was_given(
    capsys: pytest.CaptureFixture[str], question: str, stated: str
) -> None:
    """Answers are rounded to what they mean; the asker's own figures are not."""
    assert stated in ask(capsys, question)[1]


@pytest.mark.parametrize(
    "question",
    [
        "weight of a gallon of 23.3 %",
        "how much does a gallon of 23.3 % brine weigh",
        "how heavy is a gallon of 23.3 %",
        "pounds of salt in a gallon of 23.3 %",
    ],
)
def test_what_a_strength_weighs_and_shows_needs_no_temperature(
    question: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """At 60 degF, where charts are made: 1.178, 88.3 salometer degrees, 2.29 lb of salt a gallon.

    Computed from the density model of Laliberte and Cooper (J. Chem. Eng. Data 2004).
    """
    code, said = ask(capsys, question)
    assert code == 0
    assert "At 60 degF a hydrometer (60/60 degF) should show 1.178, a salometer 88 degrees" in said
    assert "it weighs 9.82 lb/gal, 2.29 of that salt." in said


def test_percent_of_saturation_by_salometer_is_no_strength(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Shops write salometer degrees with a percent sign: 100 of them is saturated."""
    said = ask(capsys, "85% sal at 60 F")[1]
    assert said == ask(capsys, "85 salometer at 60 F")[1]
    assert "22.4 %" in said
