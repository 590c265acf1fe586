"""Whatever is asked of `brineward salinity`, it ends as its help says, with a sentence to read."""

import json
import re

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from brineward.commands import salinity_words
from brineward.quantities import spellings
from commands.salinity_asking import ask

many = settings(
    max_examples=300,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

# No NUL can be an argument; lone surrogates are what a shell's wrong bytes become.
ANY_TEXT = st.text(st.characters(exclude_characters="\0"), max_size=40)
NUMBERS = st.one_of(
    st.floats().map(str),
    st.floats(min_value=-60, max_value=2000).map(lambda number: f"{number:.3g}"),
    st.integers(-60, 2000).map(str),
    st.sampled_from(["E0", "E5", "1e400", "1e308", "nan", "+", "-", "١٧٢", "10²", "½", "1,5", "."]),
    st.sampled_from(["0", "-0", "1.178", "1178", "23.3", "26.4", "-21.1", "-6", "9" * 10_000]),
)
UNITS = st.sampled_from([*spellings(), "mS", "degrees", "°", "salometer", "sg", "tons", ""])
QUANTITIES = st.builds("{}{}{}".format, NUMBERS, st.sampled_from(["", " "]), UNITS)
LIKELY = st.builds(
    "{:.4g} {}".format,
    st.one_of(st.floats(-30, 130), st.floats(0, 27), st.floats(0.99, 1.21)),
    st.sampled_from(["F", "C", "%", "mS/cm", "gal", "lb of salt", "gal of water", "sg", "kg/m3"]),
)
WORDS = st.sampled_from([*sorted(salinity_words.KNOWN), "to", "to", "frozen", "of water", "60/60"])
QUESTIONS = st.lists(st.one_of(WORDS, QUANTITIES, LIKELY, ANY_TEXT), max_size=8).map(" ".join)
LIKELY_QUESTIONS = st.lists(
    st.one_of(LIKELY, LIKELY, st.sampled_from(["to", "frozen", "is it", "tonight", "make it"])),
    min_size=1,
    max_size=6,
).map(" ".join)
FLAGS = {
    "conductivity": "mS/cm",
    "temperature": "degC",
    "hydrometer": "",
    "salometer": "",
    "density": "kg/m3",
    "strength": "%",
    "volume": "gal",
    "target": "%",
    "water": "gal",
    "salt": "lb",
    "coldest": "degF",
    "low": "%",
    "high": "%",
    "probe-uncertainty": "%",
    "thermometer-uncertainty": "degC",
    "hydrometer-uncertainty": "",
    "salometer-uncertainty": "",
    "density-uncertainty": "kg/m3",
    "strength-uncertainty": "%",
}
FLAG_TEXTS = st.dictionaries(
    st.sampled_from(sorted(FLAGS)), st.one_of(NUMBERS, ANY_TEXT, QUANTITIES), max_size=5
)

RAW_FLOAT = re.compile(r"\d\.\d{5,}|\de[-+]?\d|\bnan\b|\binf\b", re.IGNORECASE)


def judge(code: int, said: str) -> None:
    """A documented exit code, and something that a person can read."""
    assert code in (0, 1, 2)
    assert said.strip()
    if code == 0:
        assert not RAW_FLOAT.search(said)
        assert max(map(len, said.splitlines())) < 400
    elif not said.startswith("usage:"):
        assert len(said.splitlines()) == 1
        assert said.strip()[0] != "<"
        assert len(said) < 800


@many
@given(st.one_of(QUESTIONS, LIKELY_QUESTIONS))
@example("E0 mS/cm")
@example("E5 F")
@example("+ F")
@example("nan mS/cm at 20 C")
@example("1e400 gal at 20 %")
@example("9" * 10_000)
@example("is 23.3 % frozen at -10 F")
def test_any_question_is_answered_or_refused(
    capsys: pytest.CaptureFixture[str], question: str
) -> None:
    """No question in words ends in a traceback, or in a number with digits that mean nothing."""
    judge(*ask(capsys, "--", question))


@many
@given(FLAG_TEXTS, st.booleans())
@example({"conductivity": "E0 mS/cm", "temperature": "20 C"}, True)
@example({"thermometer-uncertainty": "1e300 degC", "density": "1176 kg/m3"}, True)
def test_any_text_in_the_flags_is_answered_or_refused(
    capsys: pytest.CaptureFixture[str], texts: dict[str, str], with_units: bool
) -> None:
    """Nor does any text of the flags; a program always gets one object."""
    words = [f"--{name}={text} {FLAGS[name] if with_units else ''}" for name, text in texts.items()]
    judge(*ask(capsys, *words))
    code, said = ask(capsys, *words, "--json")
    assert isinstance(json.loads(said), dict)
    assert ("error" in json.loads(said)) == (code != 0)


@many
@given(
    st.dictionaries(
        st.sampled_from(["conductivity", "density", "hydrometer", "salometer", "strength"]),
        st.floats(0.0, 1.0),
        min_size=1,
        max_size=2,
    ),
    st.floats(-25.0, 52.0),
    st.dictionaries(
        st.sampled_from(
            ["volume", "target", "water", "salt", "coldest", "thermometer-uncertainty"]
        ),
        st.floats(0.0, 1.0),
        max_size=4,
    ),
)
def test_any_reading_near_brine_is_answered_or_refused(
    capsys: pytest.CaptureFixture[str],
    readings: dict[str, float],
    temperature_c: float,
    further: dict[str, float],
) -> None:
    """Every flag that can be combined, over all of the range and a little beyond."""
    ends = {
        "conductivity": (0.0, 270.0),
        "density": (990.0, 1215.0),
        "hydrometer": (0.99, 1.21),
        "salometer": (0.0, 107.0),
        "strength": (0.0, 28.0),
        "target": (0.0, 28.0),
        "volume": (0.0, 3000.0),
        "water": (0.0, 3000.0),
        "salt": (0.0, 5000.0),
        "coldest": (-30.0, 60.0),
        "thermometer-uncertainty": (0.0, 3.0),
    }
    words = [f"--temperature={temperature_c} degC"]
    for name, share in (readings | further).items():
        low, high = ends[name]
        words.append(f"--{name}={low + share * (high - low)} {FLAGS[name]}")
    judge(*ask(capsys, *words))
