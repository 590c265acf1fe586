"""The GSM alphabet against an independent codec, and one segment whatever the names."""

import string
from collections.abc import Callable

import gsm0338  # an independent codec, written from 3GPP TS 23.038 Release 15
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.wording.gsm import (
    SEGMENT_SEPTETS,
    NotGsm,
    Part,
    fit_segment,
    septets,
    shortened,
    to_gsm,
)

CODEC = gsm0338.Codec()
ANY_TEXT = st.text(max_size=200)
PARTS = st.lists(
    st.builds(
        Part,
        text=ANY_TEXT,
        rank=st.integers(0, 4),
        shorter=st.lists(st.text(max_size=30), max_size=2).map(tuple),
        full_rank=st.none() | st.integers(0, 4),
        name=st.booleans(),
    ),
    max_size=8,
)


def codec_septets(text: str) -> int:
    """How many septets the independent codec makes of the text."""
    return len(CODEC.encode(text)[0])


def cost_or_none(cost: Callable[[str], int], sign: str) -> int | None:
    """What the sign costs, or None where it is refused."""
    try:
        return cost(sign)
    except ValueError:
        return None


def test_every_character_costs_what_the_independent_codec_says() -> None:
    """septets() agrees with the gsm0338 library on all of Unicode's first two planes."""
    points = set(range(0x20000)) - set(range(0xD800, 0xE000)) - {0x1B}  # surrogates; the escape
    costs = {point: cost_or_none(codec_septets, chr(point)) for point in points}
    assert set(costs.values()) == {1, 2, None}
    assert [p for p in points if cost_or_none(septets, chr(p)) != costs[p]] == []


def test_the_escape_code_is_not_a_character() -> None:
    """A lone escape would swallow the next letter on the phone: it is refused and rewritten."""
    with pytest.raises(NotGsm):
        septets("\x1b")
    assert to_gsm("a\x1bb") == "a b"


def test_outsiders_are_named() -> None:
    """Whoever words a text is told which characters are outside the alphabet."""
    with pytest.raises(NotGsm, match=r"'°' \(U\+00B0\), '–' \(U\+2013\)"):
        septets("-5 °C – cold")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("main −21.1 °C", "main -21.1 C"),
        ("main 4°C", "main 4 C"),
        ("turned 45° left", "turned 45 deg left"),
        ("1.5 µS/cm – weak…", "1.5 uS/cm - weak..."),
        ("“it’s” ≤ 22 %", '"it\'s" <= 22 %'),
        ("20 m³ ½", "20 m3 1/2"),
        ("Kettlé Rídge Łęka", "Kettlé Ridge Leka"),
        ("Kettle\u0301", "Kettlé"),
        ("ﬁll", "fill"),
        ("a\u200bb\tc", "ab c"),
        ("Ångström Ω {ok} €5", "Ångström Ω {ok} €5"),
        ("снег", "????"),
    ],
)
def test_outsiders_become_the_nearest_thing(text: str, expected: str) -> None:
    """A person reads the same thing; what is in the alphabet stays as it was."""
    assert to_gsm(text) == expected


@given(ANY_TEXT)
def test_to_gsm_always_gives_what_a_phone_can_show(text: str) -> None:
    """Whatever comes in, the independent codec can encode what goes out, and twice is once."""
    written = to_gsm(text)
    assert codec_septets(written) == septets(written)
    assert to_gsm(written) == written


@given(st.text(alphabet=string.ascii_letters + " .,-{€", max_size=300), st.integers(0, 200))
def test_shortened_is_a_beginning_that_fits(text: str, limit: int) -> None:
    """It never exceeds the limit and is always a beginning of the text."""
    short = shortened(text, limit)
    assert septets(short) <= limit
    assert text.startswith(short)


def test_shortened_cuts_after_a_word() -> None:
    """A name is cut between words, and inside one only where the first word is too long."""
    assert shortened("Tern Hollow North, Storage", 17) == "Tern Hollow North"
    assert shortened("Tern Hollow North, Storage", 16) == "Tern Hollow"
    assert shortened("Tern Hollow", 11) == "Tern Hollow"
    assert shortened("Ternhollow", 4) == "Tern"


@given(PARTS)
@example([Part(text="{" * 400)])
@example([Part(text="ab") for _ in range(200)])
@example([Part(text="Grünwäldchen " * 40, name=True), Part(text="Reply TH12 to take it.")])
def test_a_segment_always_fits(parts: list[Part]) -> None:
    """At most 160 septets by the independent codec's count, whatever the parts."""
    assert codec_septets(fit_segment(parts)) <= SEGMENT_SEPTETS


NAMES = st.text(alphabet=string.ascii_letters + "äéßø{ ", min_size=1, max_size=300)


@given(NAMES, NAMES)
def test_what_matters_survives_any_names(depot: str, tank: str) -> None:
    """Code, value and how to take it are whole in every text, however long the names are."""
    text = fit_segment(
        [
            Part(text="TH12 HIGH"),
            Part(text=depot, name=True),
            Part(text=tank, name=True),
            Part(text="strength 21.4 %, limit 22.0 %"),
            Part(text="Freezes at -17 C.", rank=2),
            Part(text="Reply TH12 to take it."),
        ]
    )
    assert text.startswith("TH12 HIGH ")
    assert "strength 21.4 %, limit 22.0 %" in text
    assert text.endswith("Reply TH12 to take it.")


@given(st.lists(st.text(alphabet="abc ", min_size=1, max_size=60), min_size=1, max_size=6))
def test_a_less_important_part_never_costs_a_more_important_one(texts: list[str]) -> None:
    """Taking the least important part away from the request leaves all the others as they were."""
    parts = [Part(text=f"<{place}> {text}", rank=place) for place, text in enumerate(texts)]
    whole, without = fit_segment(parts), fit_segment(parts[:-1])
    assert whole == without or whole.startswith(without)


def test_everything_stays_when_there_is_room() -> None:
    """Nothing is left out or shortened without need."""
    parts = [Part(text="TH12"), Part(text="Tern Hollow", shorter=("TH",)), Part(text="ok", rank=9)]
    assert fit_segment(parts) == "TH12 Tern Hollow ok"


def test_long_forms_give_way_before_pieces_are_left_out() -> None:
    """With a full rank below another piece's, the short form makes room for that piece."""
    long = "main storage tank by the north fence of the yard"
    parts = [
        Part(text=long, shorter=("main tank",), full_rank=5),
        Part(text="x" * 120, rank=1),
        Part(text="since 02:14", rank=2),
    ]
    assert fit_segment(parts) == "main tank " + "x" * 120 + " since 02:14"


def test_extension_characters_count_twice() -> None:
    """A text of 81 braces is too long, one of 80 fits: the count is septets, not characters."""
    assert fit_segment([Part(text="{" * 81)]) == "{" * 80
