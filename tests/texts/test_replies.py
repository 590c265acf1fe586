"""What people text back, and what is made of it."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.texts.replies import (
    CARRIER_WORDS,
    NotUnderstood,
    Take,
    digits_of,
    parse_reply,
    person_with,
)

TWO = ("TH", "KR")


@pytest.mark.parametrize(
    "text",
    [
        "TH12", "th12", "th 12", " Th12. ", "TH-12", "TH#12", "take TH12", "Take th 12", "TH12 ok",
        "TH12 OK!", "I'll take TH12, thanks", "I\u2019ll take TH12", "ok got TH12 👍", "TH12 TH12",
        "\uff34\uff28\uff11\uff12", "TH012", "TH12\nmine, on my way",
    ],
)  # fmt: skip
def test_a_code_is_taken_however_a_thumb_writes_it(text: str) -> None:
    """Case, spaces, signs, an idle word or an emoji make no difference."""
    assert parse_reply(text, TWO) == Take(short="TH", number=12)


@pytest.mark.parametrize(
    "text",
    [
        "TH12 not mine", "not TH12", "can't take TH12", "don't take TH12", "TH12 no", "no TH12",
        "TH12?", "who takes TH12", "you take TH12", "will you take TH12", "TH12 stop", "yes TH12",
        "TH12 later", "TH", "TH0", "TH 0", "XX12", "12", "take 12", "TH12 TH13", "TH12 and KR3",
        "TH12 13", "TH1234567890", "XTH12", "TH12X", "TH1.2", "", "   ", "👍", "ok",
        "TH\u0661\u0662",
        "TH12 " + "ok " * 200,
    ],
)  # fmt: skip
def test_nothing_is_taken_where_the_meaning_is_in_doubt(text: str) -> None:
    """A take stops the calling of everybody else, so any doubt leaves the alarm calling."""
    found = parse_reply(text, TWO)
    assert isinstance(found, NotUnderstood)
    assert found.why


@pytest.mark.parametrize("text", ["12", "take 12", "12 ok", "#12", " 12. "])
def test_the_number_alone_will_do_with_one_depot(text: str) -> None:
    """With one depot nobody needs its texts; with two the number alone is not enough."""
    assert parse_reply(text, ("TH",)) == Take(short="TH", number=12)
    assert isinstance(parse_reply(text, TWO), NotUnderstood)


@pytest.mark.parametrize("text", ["12 gal", "12 13", "0", "1234567890", "not 12", "12?"])
def test_a_stray_number_takes_nothing(text: str) -> None:
    """A number with any other word is no code."""
    assert isinstance(parse_reply(text, ("TH",)), NotUnderstood)


@pytest.mark.parametrize("word", sorted(CARRIER_WORDS))
@pytest.mark.parametrize("shorts", [("TH",), TWO, tuple(CARRIER_WORDS)])
def test_words_of_the_carriers_are_never_commands(word: str, shorts: tuple[str, ...]) -> None:
    """A word alone is the carrier's, whatever the depots are called, in any case."""
    for text in (word, word.lower(), f" {word.title()}! "):
        found = parse_reply(text, shorts)
        assert isinstance(found, NotUnderstood)
        assert found.carrier_word == word


def test_who_has_opted_out_is_seen() -> None:
    """STOP means that texts no longer reach this person; HELP does not."""
    stop, help_ = parse_reply("Stop", TWO), parse_reply("help", TWO)
    assert isinstance(stop, NotUnderstood)
    assert isinstance(help_, NotUnderstood)
    assert stop.opted_out
    assert not help_.opted_out


def test_letters_that_could_be_read_two_ways_take_nothing() -> None:
    """Where one depot's texts begin another's, only what is clear is taken."""
    shorts = ("K", "K2")
    assert isinstance(parse_reply("K212", shorts), NotUnderstood)
    assert parse_reply("K2 12", shorts) == Take(short="K2", number=12)
    assert parse_reply("OK12 ok", ("OK", "TH")) == Take(short="OK", number=12)


def test_no_depot_no_take() -> None:
    """Without depots there is nothing to take, and no example to give."""
    assert isinstance(parse_reply("TH12", ()), NotUnderstood)


@given(
    st.text(string.ascii_uppercase, min_size=2, max_size=4),
    st.integers(1, 999_999_999),
    st.sampled_from(["", " ", "-", "  "]),
    st.booleans(),
)
def test_every_code_that_is_texted_out_can_be_texted_back(
    short: str, number: int, gap: str, small: bool
) -> None:
    """Any texts and number, written together or apart, come back as they went out."""
    text = f"{short}{gap}{number}"
    take = parse_reply(text.lower() if small else text, (short,))
    assert take == Take(short=short, number=number)
    assert isinstance(take, Take)
    assert take.code == f"{short}{number}"


@given(st.text(max_size=400), st.lists(st.text(max_size=4), max_size=3))
def test_any_text_is_survived(text: str, shorts: list[str]) -> None:
    """A reply is a take of a known depot or not understood; nothing else, and no error."""
    found = parse_reply(text, shorts)
    assert isinstance(found, NotUnderstood) or (found.short in shorts and found.number > 0)


def test_numbers_are_compared_by_their_digits() -> None:
    """Gateways write numbers their own way; a console without a number is nobody."""
    people = [("screen", ""), ("yard", "+1 555 0141"), ("desk", "1-555-0140")]
    assert person_with("15550141", people) == "yard"
    assert person_with("+1 (555) 0140", people) == "desk"
    assert person_with("5550141", people) is None
    assert person_with("", people) is None
    assert person_with("anonymous", people) is None
    assert digits_of("+1 555 0141 \u0661") == "15550141"
