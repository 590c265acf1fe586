"""A link that comes and goes: pure, on made-up times."""

import pytest

from brineward.link.dropped import DroppedCount, dropped_in_words
from brineward.link.settling import LOSSES, SETTLED_SECONDS, WITHIN_SECONDS, Settling


def bounced(settling: Settling, count: int, every: float, start: float = 0.0) -> float:
    """Up and lost so often; returns the time of the last loss."""
    now = start
    for number in range(count):
        now = start + number * every
        settling.came(now - every / 2)
        settling.lost(now)
    return now


def test_a_loss_now_and_then_is_none_of_its_business() -> None:
    """A broker restarted three times in five minutes, or lost every two minutes, is up at once."""
    for count, every in ((LOSSES - 1, 60.0), (50, 120.0)):
        settling = Settling()
        now = bounced(settling, count, every)
        settling.came(now + 1)
        assert settling.settled(now + 1)


@pytest.mark.parametrize("every", [2.0, 15.0, 60.0, 99.0])
def test_what_never_stays_is_never_up(every: float) -> None:
    """However fast or slowly it comes and goes, a connection alone no longer means up."""
    settling = Settling()
    now = bounced(settling, LOSSES, every)
    for _ in range(200):
        settling.came(now + 0.5)
        assert not settling.settled(now + every - 0.1)
        now += every
        settling.lost(now)


def test_it_is_up_again_once_it_has_stayed() -> None:
    """Two minutes without a loss, and it is a link again; the next loss soon after is not new."""
    settling = Settling()
    now = bounced(settling, 9, 10.0)
    settling.came(now + 1)
    assert not settling.settled(now + SETTLED_SECONDS)
    assert settling.settled(now + 1 + SETTLED_SECONDS)
    settling.lost(now + SETTLED_SECONDS + 2)
    assert settling.flapping


def test_refused_connections_are_no_losses() -> None:
    """A broker that is away for an hour was lost once, however often it was tried."""
    settling = Settling()
    settling.came(0.0)
    for number in range(100):
        settling.lost(10.0 + number)
    assert not settling.flapping


def test_it_says_how_often_and_who_it_may_be() -> None:
    """The count, the time and the client id, for the person who looks for the other program."""
    settling = Settling()
    now = bounced(settling, 9, 30.0)
    assert settling.in_words(now, "brineward-4f") == (
        "the link was lost 9 times in 4 minutes; another program may use the client id"
        " 'brineward-4f'"
    )
    settling.came(now + WITHIN_SECONDS)
    settling.lost(now + WITHIN_SECONDS + 1)
    assert "lost once in" in settling.in_words(now + WITHIN_SECONDS + 1, "x")


def test_the_count_of_dropped_messages_is_followed() -> None:
    """Each increase once; a broker that started again counts from nothing; nonsense is nothing."""
    count = DroppedCount()
    assert count.heard(b"7", 0.0) is None  # of before our time: accounted for
    assert count.heard(b"7", 10.0) is None
    assert count.heard(b"3107", 20.0) == 3100
    assert count.heard(b"3110", 30.0) is None  # at most once an hour
    assert count.heard(b"3120", 4000.0) == 13
    assert count.heard(b"2", 8000.0) == 2
    for nonsense in (b"", b"-1", b"1e9", b"\xff", b"9" * 40):
        assert count.heard(nonsense, 12_000.0) is None
    assert count.known == 2


def test_what_was_dropped_between_two_runs_is_said() -> None:
    """With the last run's count, the first of this run shows what happened meanwhile."""
    count = DroppedCount(known=5)
    assert count.heard(b"3120", 0.0) == 3115
    assert "dropped 3115 messages" in dropped_in_words(3115)
    assert "dropped 1 message that" in dropped_in_words(1)
