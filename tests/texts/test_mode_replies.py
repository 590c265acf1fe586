"""Modes and steps by text: what sets one, and what does not."""

import pytest

from brineward.readings.modes import Mode
from brineward.texts.replies import ModeReply, StepReply, Unclear, parse_reply

TWO = ("TH", "KR")


@pytest.mark.parametrize("mode", Mode)
def test_each_mode_is_set_by_its_name(mode: Mode) -> None:
    """As a thumb writes it: any case, a stop, a thumb up."""
    wanted = ModeReply(short="TH", mode=mode)
    for text in (f"TH {mode.value}", f"th {mode.value.upper()}.", f" Th  {mode.value} 👍"):
        assert parse_reply(text, TWO) == wanted


@pytest.mark.parametrize(
    ("text", "mode", "single_batch"),
    [
        ("KR filling", Mode.FILLING_UP, None),
        ("KR draining", Mode.DRAINING, None),
        ("KR storm", Mode.STORM_WATCH, None),
        ("KR standby", Mode.STANDING_BY, None),
        ("KR in service, one batch", Mode.IN_SERVICE, True),
        ("kr filling up single batch", Mode.FILLING_UP, True),
        ("KR in service refills", Mode.IN_SERVICE, False),
    ],
)
def test_what_a_thumb_makes_of_it(text: str, mode: Mode, single_batch: bool | None) -> None:
    """Short forms, and whether one batch is wanted."""
    assert parse_reply(text, TWO) == ModeReply(short="KR", mode=mode, single_batch=single_batch)


def test_the_next_step_is_asked_for_by_a_word() -> None:
    """With the depot's letters."""
    assert parse_reply("th next", TWO) == StepReply(short="TH")


@pytest.mark.parametrize(
    "text",
    [
        "laid up", "TH", "TH laid up?", "TH not laid up", "TH isn't in service", "TH laid",
        "TH is laid up", "TH laid up tomorrow", "TH KR laid up", "XX laid up", "TH3 laid up",
        "TH in service or laid up", "next", "TH next?", "TH one batch", "TH laid up TH3",
        "Liked \u201cTH laid up\u201d",
    ],
)  # fmt: skip
def test_what_may_mean_something_else_sets_nothing(text: str) -> None:
    """A mode makes alarms quiet: only its own words set it, with one depot's letters."""
    assert isinstance(parse_reply(text, TWO), Unclear)
