"""What people ask by text, and the words that carriers keep."""

import pytest

from brineward.texts.replies import (
    CARRIER_WORDS,
    Asked,
    CarrierWord,
    Code,
    Question,
    Unclear,
    parse_reply,
)
from brineward.texts.reply_words import QUESTIONS

TH = ["TH"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("status", Question(what="status")),
        ("Status?", Question(what="status")),
        ("TH status", Question(what="status", short="TH")),
        ("status th", Question(what="status", short="TH")),
        ("th12 more", Question(what="more", short="TH", number=12)),
        ("More TH12", Question(what="more", short="TH", number=12)),
        ("who", Question(what="who")),
        ("Who else knows?", Question(what="who")),
        ("TH12 who?", Question(what="who", short="TH", number=12)),
        ("test", Question(what="test")),
        ("unwatched", Question(what="unwatched")),
        ("Not watched?", Question(what="unwatched")),
        ("th unwatched", Question(what="unwatched", short="TH")),
        ("TH UNWATCHED 2", Question(what="unwatched", short="TH", place=2)),
        ("unwatched 12", Question(what="unwatched", place=12)),
    ],
)
def test_what_is_asked(text: str, found: Question) -> None:
    """With or without a question mark, before or after what it is about."""
    assert parse_reply(text, TH) == found


@pytest.mark.parametrize(
    ("text", "what", "seconds"),
    [
        ("TH12 hold 1h", "shelve", 3600.0),
        ("hold TH12 for 30 min", "shelve", 1800.0),
        ("TH12 hold", "shelve", None),
        ("TH12 back", "hand back", None),
        ("TH12 give it back", "hand back", None),
    ],
)
def test_hold_and_back(text: str, what: str, seconds: float | None) -> None:
    """Shelved with its end, and given back."""
    assert parse_reply(text, TH) == Asked(
        what=what,  # type: ignore[arg-type]
        code=Code(short="TH", number=12),
        seconds=seconds,
    )


@pytest.mark.parametrize(
    "text", ["status quo is bad", "who cares TH12", "TH12 no more", "tests", "unwatched 0", "who 2"]
)
def test_what_may_mean_anything_is_no_question_and_no_take(text: str) -> None:
    """Only the words alone ask."""
    assert isinstance(parse_reply(text, TH), Unclear)


def test_no_word_of_ours_is_one_that_carriers_keep() -> None:
    """STOP, START, HELP and kin never reach us, or mean something else."""
    words = set(QUESTIONS) | {"HOLD", "BACK", "TAKE"}
    assert not words & CARRIER_WORDS
    for word in CARRIER_WORDS:
        assert isinstance(parse_reply(word, TH), CarrierWord)
