"""The inbox between network and worker: what is taken at once is bounded in number and in bytes."""

from brineward.link.inbox import TAKEN_BYTES, Inbox
from brineward.link.messages import Message, Token
from brineward.readings.entries import LinkChanged


def messages(count: int, size: int) -> list[Message]:
    return [Message("t", b"x" * size, 0, False, Token(1, n)) for n in range(count)]


def test_a_batch_is_bounded_in_bytes_too() -> None:
    """Of 400 packs of 64 KB a few are taken at a time, in order, and all in the end; so what they
    unfold to never stands in memory all at once."""
    inbox = Inbox(most_messages=1_000, most_bytes=8_000_000)
    sent = messages(400, 65_536)
    inbox.put(sent)
    assert not inbox.has_room
    got: list[object] = []
    while len(inbox):
        taken, failure = inbox.take(500, 0.0)
        assert failure is None
        assert 1 <= len(taken) <= TAKEN_BYTES // 65_536
        got += taken
    assert got == sent
    assert inbox.has_room


def test_a_usual_batch_is_not_cut() -> None:
    """Five hundred readings are taken at once, and a message of any length alone."""
    inbox = Inbox(most_messages=1_000, most_bytes=8_000_000)
    inbox.put([*messages(499, 200), LinkChanged(time=0, up=False)])
    assert len(inbox.take(500, 0.0)[0]) == 500
    inbox.put(messages(2, 1_000_000))
    assert [len(inbox.take(500, 0.0)[0]) for _ in range(2)] == [1, 1]
