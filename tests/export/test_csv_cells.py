"""Cells of CSV: what is kept and looked up is what would be made anew."""

import csv
import io
import math

from hypothesis import given
from hypothesis import strategies as st

from brineward.export.csv_cells import InstantTexts, ReadingLines, Texts, number
from brineward.readings.instants import instant_from_rfc3339

SERIES = {1: ("tern-hollow", "main-level"), 7: ("kettle-ridge", 'a "tank", main')}
MARKS = {0: ("good", ""), 3: ("bad", "not a number\nat all")}
INSTANTS = st.integers(0, 4_102_444_800_000)
VALUES = st.one_of(
    st.none(),
    st.sampled_from([0.0, -0.0, 5e-324]),
    st.floats(allow_nan=False, allow_infinity=False),
)
READINGS = st.tuples(st.sampled_from([1, 7]), INSTANTS, VALUES, st.sampled_from([0, 3]), st.just(0))


@given(st.lists(st.lists(READINGS, min_size=1, max_size=20), min_size=1, max_size=4))
def test_the_standard_library_reads_back_every_reading(
    pages: list[list[tuple[int, int, float | None, int, int]]],
) -> None:
    """Page after page with the same texts kept: words, time, and the double to the bit and sign."""
    lines = ReadingLines()
    for page in pages:
        read = list(csv.reader(io.StringIO(lines.of(page, SERIES, MARKS), newline="")))
        assert len(read) == len(page)
        for row, (series, time, value, mark, _) in zip(read, page, strict=True):
            assert (row[1], row[2]) == SERIES[series]
            assert (row[4], row[5]) == MARKS[mark]
            assert instant_from_rfc3339(row[0]) == time
            assert (row[3] == "") == (value is None)
            if value is not None:
                assert float(row[3]).hex() == value.hex()
                assert math.copysign(1.0, float(row[3])) == math.copysign(1.0, value)


@given(INSTANTS)
def test_an_instant_is_to_the_millisecond(instant: int) -> None:
    """Whatever minute and second it is in."""
    text = InstantTexts()(instant)
    assert instant_from_rfc3339(text) == instant
    assert len(text) == len("2026-01-01T00:00:00.000Z")


def test_only_so_many_texts_are_kept() -> None:
    """A sensor whose every value is new does not fill the memory, and each is right."""
    texts = Texts(number)
    for place in range(150_000):
        value = 1.0 + place / 7
        assert texts[value] == repr(value)
    assert len(texts) <= 60_000
