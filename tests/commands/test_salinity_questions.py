"""How `brineward salinity` takes a question in words: nothing skipped, nothing guessed."""

import pytest

from brineward.commands.salinity_question import EXAMPLES, UnreadQuestion, read_question
from brineward.physics.brines import NotSodiumChloride

READ = [
    ("what is 172 mS/cm at 9.5 °C?", {"conductivity": "172 mS/cm", "temperature": "9.5 degC"}),
    ("172 mS at 49 degrees F", {"conductivity": "172 mS/cm", "temperature": "49 degF"}),
    ("172,000 uS at 49 F", {"conductivity": "172,000 uS/cm", "temperature": "49 F"}),
    ("172 mS at 49 F and 1.171 at 49 F", {"conductivity": "172 mS/cm", "hydrometer": "1.171"}),
    ("what is 1.171 on the hydrometer at 41 °F?", {"hydrometer": "1.171"}),
    ("1.178 at 60F", {"hydrometer": "1.178", "temperature": "60 F"}),
    ("1178 at 60 F", {"hydrometer": "1.178", "temperature": "60 F"}),
    ("density 1178 at 60 F", {"density": "1178 kg/m3", "temperature": "60 F"}),
    ("sg 1.16 at 50 degrees fahrenheit", {"hydrometer": "1.16"}),
    ("specific gravity of 1.16 at 50 F", {"hydrometer": "1.16", "temperature": "50 F"}),
    ("1.171 on a 20/4 °C hydrometer at 5 C", {"scale": "20/4", "hydrometer": "1.171"}),
    ("85 salometer at 60 F", {"salometer": "85", "temperature": "60 F"}),
    ("85 on the salometer at 41F", {"salometer": "85", "temperature": "41 F"}),
    ("salometer reads 85 at -5 degC", {"salometer": "85", "temperature": "-5 degC"}),
    ("85 degrees salometer at minus 5 C", {"salometer": "85", "temperature": "-5 C"}),
    ("a meter says 1176 kg/m3 at −5 °C", {"density": "1176 kg/m3"}),  # noqa: RUF001 - typeset minus
    ("9.82 lb/gal at 60 F", {"density": "9.82 lb/gal", "temperature": "60 F"}),
    ("what should the probe read for 23.3 % at 4 °C?", {"strength": "23.3 %"}),
    ("23.3% freezing point", {"strength": "23.3 %"}),
    ("freezing point of 20 percent by weight", {"strength": "20 percent"}),
    ("is 23.3 % frozen at -10 F", {"strength": "23.3 %", "coldest": "-10 F"}),
    ("is it frozen at -5 F tonight", {"coldest": "-5 F"}),
    ("what strength for -5 F", {"coldest": "-5 F"}),
    (
        "will 1.150 at 45 F freeze tonight at 5 F",
        {"hydrometer": "1.150", "temperature": "45 F", "coldest": "5 F"},
    ),
    (
        "2,000 gal at 1.150 on the hydrometer at 45 F to 23.3 %",
        {
            "volume": "2,000 gal",
            "hydrometer": "1.150",
            "temperature": "45 F",
            "target": "23.3 %",
        },
    ),
    ("how much salt for 1000 gal of water to 23.3 %?", {"water": "1000 gal", "target": "23.3 %"}),
    ("how much water for 2000 lb of salt to 23 %", {"salt": "2000 lb", "target": "23 %"}),
    ("500 lb of salt in 1000 gal of water", {"salt": "500 lb", "water": "1000 gal"}),
    (
        "add 200 gal of water to 1000 gal at 25 %",
        {"water": "200 gal", "volume": "1000 gal", "strength": "25 %"},
    ),
    ("1000 gal of salt water at 20 %", {"volume": "1000 gal", "strength": "20 %"}),
]
CORRECTED = {"volume": "1900 gal", "strength": "25 %", "target": "23.3 %"}
ASKED_ALIKE = [
    "1900 gal at 25 % to 23.3 %",
    "1900 gal 25% to 23.3%",
    "bring 1900 gal from 25 to 23.3 %",
    "how much water to add to 1900 gal at 25 % to get 23.3 %",
    "what do I add to 25 % brine for 23.3 %, 1900 gal",
    "1900 gal at 25 %: what brings it to 23.3 %?",
    "I have 1900 gal at 25 %, want 23.3 %",
    "1900-gal tank at 25 %, make it 23.3 %",
]


@pytest.mark.parametrize(("question", "flags"), READ)
def test_a_question_is_taken_for_its_flags(question: str, flags: dict[str, str]) -> None:
    """What a road crew types, with its own spellings, is taken for what it means."""
    texts = read_question(question).texts
    assert {name: texts.get(name) for name in flags} == flags
    assert set(texts) - set(flags) <= {"temperature"}


@pytest.mark.parametrize("question", ASKED_ALIKE)
def test_what_is_there_and_what_is_wanted_are_never_swapped(question: str) -> None:
    """However it is put, 25 % is there and 23.3 % is wanted."""
    assert read_question(question).texts == CORRECTED


ASKED_BACK = [
    ("", "no number with its unit"),
    ("how is it?", "no number with its unit"),
    ("5 m at 3 degC", "is a length"),
    ("1 %, 2 % and 3 %", "which strength is there"),
    ("1900 gal 21.8 % 23.3 %", "which strength is there"),
    ("1.178 at 60 F and 40 F", "which is the brine's now"),
    ("1.178 at 60 F, 40 F and 30 F", "one temperature at a time"),
    ("172 mS/cm and 150 mS/cm at 49 F", "one conductivity at a time"),
    ("172 mS/cm of unobtainium at 49 F", 'the word "unobtainium"'),
    ("hydrometre 1.17 at 49 F", 'Did you mean "hydrometer"?'),
    ("172 mS/cm at 49Fx", "after 49"),
    ("172 at 49 F", '"172 mS/cm"'),
    ("85 at 60 F", '"85 salometer"'),
    ("49 degrees", '"49 F", "49 C"'),
    ("85 on the hydrometer at 60 F", '"85 salometer"'),
    ("22-25 %", "range"),
    ("22 - 25 %", "minus sign right before"),
    ("10 below", "minus sign"),
    ("two thousand gallons at 20 %", "figures"),
    ("2 tons of salt for 1000 gal of water", "short tons"),
    ("2.29 lb of salt per gallon", "amounts per gallon"),
    ("23.3 % by volume", "percent by mass"),
    ("900 lb in 1000 gal of water", "of what?"),
    ("8000 lb of water", "by volume, as in"),
    ("how much salt for 23.3 %", "For how much"),
    ("１７２ mS/cm at 49 F", "can't read"),  # noqa: RUF001 - wide digits
    ("10² F", "after 10"),
    ("½ %", "can't read"),
    ("E0 mS/cm", 'the word "e0"'),
    ("x" * 501, "too long"),
]


@pytest.mark.parametrize(("question", "sentence"), ASKED_BACK)
def test_what_is_not_sure_is_asked_back(question: str, sentence: str) -> None:
    """An unknown word, a missing unit, one number too many: asked back, never guessed."""
    with pytest.raises(UnreadQuestion) as refusal:
        read_question(question)
    assert sentence in str(refusal.value)


@pytest.mark.parametrize(
    "salt",
    [
        *("calcium chloride", "CaCl2", "CaCl₂", "magnesium chloride", "MgCl2", "mag", "KCl"),
        *("potassium acetate", "an acetate", "CMA", "beet juice", "blend", "glycol", "urea"),
    ],
)
@pytest.mark.parametrize(
    "question",
    [
        "what is 180 mS/cm of {} at 20 degC",
        "{}: 180 mS/cm at 20 degC",
        "180 mS/cm at 20 degC, {}",
        "unobtainium with {} / 5 furlongs",
        "23.3%{} freezing point",
    ],
)
def test_another_salt_is_refused_wherever_it_stands(question: str, salt: str) -> None:
    """No other salt gets sodium chloride's numbers, whatever else the question holds."""
    with pytest.raises(NotSodiumChloride, match="Only sodium chloride"):
        read_question(question.format(salt))


@pytest.mark.parametrize("example", EXAMPLES)
def test_each_example_is_read(example: str) -> None:
    """What is offered as a way to ask can be asked."""
    assert read_question(example).texts


def test_what_was_taken_for_granted_is_said() -> None:
    """An unscaled 1178 and a bare mS are answered, and the answer says how they were taken."""
    assert "taken as 1.178 on a hydrometer" in read_question("1178 at 60 F").notes[0]
    assert "taken as 172 mS/cm" in read_question("172 mS at 49 F").notes[0]
    assert read_question("1.178 at 60 F").notes == ()
