"""When a service centre got a text: its stamp with its zone, in both modes of a modem."""

from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from smspdudecoder.elements import Date

from brineward.readings.instants import SECOND, instant_from_rfc3339
from brineward.texts.centre_stamp import sent_at

NOON = instant_from_rfc3339("2026-01-20T12:00:00Z")


@pytest.mark.parametrize(
    "stamp",
    [
        "62100221000000",
        "62100231000040",  # one hour ahead: 4 quarters
        "6210026000004A",  # six hours behind in winter: -24 quarters, the sign is bit 3
        "26/01/20,12:00:00+00",
        "26/01/20,13:00:00+04",
        "26/01/20,06:00:00-24",
        "26/01/20,17:45:00+23",
    ],
)
def test_a_stamp_is_read_with_its_zone(stamp: str) -> None:
    """Wherever the centre is, it is the same instant."""
    assert sent_at(stamp) == NOON


@given(st.integers(1, 99 * 365), st.integers(0, 86_399), st.integers(-48, 56))
def test_an_independent_library_reads_the_same(day: int, second: int, quarters: int) -> None:
    """Any time of the century in any zone."""
    zone = timezone(timedelta(minutes=15 * quarters))
    at = datetime(2000, 1, 1, tzinfo=zone) + timedelta(days=day, seconds=second)
    stamp = Date.encode(at).upper()
    assert sent_at(stamp) == round(Date.decode(stamp).timestamp() * SECOND)
    assert sent_at(stamp) == round(at.timestamp() * SECOND)
    sign = "-" if quarters < 0 else "+"
    assert sent_at(f"{at:%y/%m/%d,%H:%M:%S}{sign}{abs(quarters):02}") == sent_at(stamp)


@pytest.mark.parametrize(
    "stamp", ["", "26/13/20,12:00:00+00", "62B00221000000", "62100299000000", "now", "26/01/20"]
)
def test_what_is_no_stamp_is_none(stamp: str) -> None:
    """A modem without a network's time, or one that writes in its own way."""
    assert sent_at(stamp) is None


@given(st.text(max_size=30) | st.from_regex(r"[0-9A-F]{14}", fullmatch=True))
def test_whatever_a_modem_says_raises_nothing(stamp: str) -> None:
    """Read as an instant, or not at all."""
    assert sent_at(stamp) is None or isinstance(sent_at(stamp), int)
