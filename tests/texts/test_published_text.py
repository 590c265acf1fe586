"""Received texts that a gateway publishes: read as they are pinned, or refused with a sentence."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.texts.published_text import LARGEST_BYTES, PublishedText, received_text
from brineward.texts.reply_fields import Unreadable

GOOD = {"from": "+15550141", "text": "TH3", "id": "m1", "received": "2026-01-20T03:14:00Z"}


def test_a_published_text_is_read() -> None:
    """Number, words, id and time, in whatever zone; what else a gateway says is passed over."""
    east = GOOD | {"received": "2026-01-20T05:14:00.250+02:00", "sim": 2}
    assert received_text(json.dumps(east).encode()) == PublishedText(
        sender="+15550141", text="TH3", id="m1", received=1_768_878_840_250
    )


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"from": None}, "the field from is wrong or missing, expected the sender's number"),
        ({"from": ""}, "the field from"),
        ({"text": 3}, "the field text"),
        ({"text": "x" * 2001}, "the field text"),
        ({"id": 7}, "the field id"),
        ({"id": ""}, "the field id"),
        ({"received": "2026-01-20T03:14:00"}, "the field received .* with its zone"),
        ({"received": 1_768_878_840}, "the field received"),
        ({"received": "yesterday"}, "the field received"),
    ],
)
def test_what_is_not_as_pinned_is_refused(changed: dict[str, object], said: str) -> None:
    """The sentence names the field and what was expected, and quotes nothing of it."""
    with pytest.raises(Unreadable, match=said):
        received_text(json.dumps(GOOD | changed).encode())


@pytest.mark.parametrize("name", list(GOOD))
def test_every_field_is_needed(name: str) -> None:
    """Without its id or time a text can't be told from a copy, or from one of last night."""
    with pytest.raises(Unreadable, match=f"the field {name} is wrong or missing"):
        received_text(json.dumps({n: v for n, v in GOOD.items() if n != name}).encode())


def test_what_is_too_large_is_not_read() -> None:
    """A flood costs no parsing."""
    with pytest.raises(Unreadable, match="at most"):
        received_text(json.dumps(GOOD | {"more": "x" * LARGEST_BYTES}).encode())


@given(
    st.binary(max_size=300)
    | st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=9),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from([*GOOD, "x"]), inner)
        ),
        max_leaves=8,
    ).map(lambda found: json.dumps(found).encode())
)
def test_any_payload_is_read_or_refused(payload: bytes) -> None:
    """Whatever is published, nothing else is raised."""
    try:
        assert received_text(payload).sender
    except Unreadable:
        return
