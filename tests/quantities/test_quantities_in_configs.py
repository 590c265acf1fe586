"""Any text where a config wants a quantity: `brineward check` tells the mistake, or takes it."""

import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from brineward.commands.main import main
from brineward.quantities import spellings

GOOD = Path(__file__).parents[1] / "configs" / "good" / "every-feature.toml"
# Every value that is a number with a unit in quotes, and so may be any other text.
WRITTEN = re.compile(r'"-?[\d.,]+ [^"\s]+"')

NUMBERS = st.one_of(
    st.floats().map(str),
    st.sampled_from(["E0", "E5", ".E1", "1e400", "1e308", "nan", "+", "-", "١٧٢", "10²", "½", "."]),
    st.sampled_from(["9" * 10_000, "1_0", "1,00", "0x1", "-0"]),
)
TEXTS = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=30),
    st.builds("{} {}".format, NUMBERS, st.sampled_from(spellings())),
    st.builds("{}{}".format, NUMBERS, st.text(st.characters(codec="utf-8"), max_size=6)),
)


def quoted(text: str) -> str:
    """The text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


PLACES = [found.span() for found in WRITTEN.finditer(GOOD.read_text())]


def test_the_file_has_quantities_of_every_kind() -> None:
    """The test below changes lengths, flows, durations, strengths, powers and alarm limits."""
    written = {GOOD.read_text()[start:end].strip('"').split()[-1] for start, end in PLACES}
    assert {"ft", "m", "gal/min", "min", "%", "kW", "degF"} <= written
    assert len(PLACES) > 20


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.dictionaries(st.sampled_from(PLACES), TEXTS, min_size=1, max_size=6))
@example(dict.fromkeys(PLACES, "E0 m"))
@example(dict.fromkeys(PLACES, "E5 F"))
@example(dict.fromkeys(PLACES, "+ F"))
@example(dict.fromkeys(PLACES, "1e308 d"))
@example(dict.fromkeys(PLACES, "9" * 10_000 + " m"))
def test_any_text_for_a_quantity_is_a_mistake_told_or_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], texts: dict[tuple[int, int], str]
) -> None:
    """Exit 0 or 2, and each mistake is one line that names its key: never a traceback."""
    written = GOOD.read_text()
    for (start, end), text in sorted(texts.items(), reverse=True):
        written = written[:start] + quoted(text) + written[end:]
    path = tmp_path / "any.toml"
    path.write_text(written, encoding="utf-8")
    code = main(["check", str(path)])
    said = capsys.readouterr()
    assert code in (0, 2)
    if code == 2:
        *mistakes, count = said.err.splitlines()
        assert all(line.startswith(str(path)) and len(line) < 1000 for line in mistakes)
        assert count.startswith(f"{len(mistakes)} mistake")
