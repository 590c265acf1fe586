"""Which open call makes room for another."""

import socket
from collections.abc import Iterator

import pytest

from brineward.texts.open_calls import OpenCalls

HERE, THERE = "192.0.2.1", "192.0.2.2"


class Caller:
    """Both ends of one connection."""

    def __init__(self) -> None:
        self.ours, self.theirs = socket.socketpair()
        self.theirs.settimeout(0.05)

    def hung_up_on(self) -> bool:
        """Has our end been shut down?"""
        try:
            return self.theirs.recv(1) == b""
        except TimeoutError:
            return False


@pytest.fixture
def callers() -> Iterator[list[Caller]]:
    """Five connections."""
    made = [Caller() for _ in range(5)]
    yield made
    for caller in made:
        caller.ours.close()
        caller.theirs.close()


def test_one_address_cannot_push_out_another(callers: list[Caller]) -> None:
    """A flood from one address hangs up on its own calls, never on somebody else's."""
    calls = OpenCalls(most=4, most_an_address=2)
    assert calls.begin(callers[0].ours, THERE)
    for caller in callers[1:]:
        assert calls.begin(caller.ours, HERE)
    assert [caller.hung_up_on() for caller in callers] == [False, True, True, False, False]


def test_a_call_that_has_said_all_keeps_its_place(callers: list[Caller]) -> None:
    """A reply that is being judged is never cut off for a newcomer, which is turned away."""
    calls = OpenCalls(most=4, most_an_address=2)
    for caller in callers[:2]:
        assert calls.begin(caller.ours, HERE)
        calls.said_all(caller.ours)
    assert not calls.begin(callers[2].ours, HERE)
    calls.end(callers[0].ours)
    assert calls.begin(callers[2].ours, HERE)
    assert not any(caller.hung_up_on() for caller in callers)


def test_calls_are_bounded_in_all(callers: list[Caller]) -> None:
    """Many addresses together can't use up the machine: the longest idle of all goes."""
    calls = OpenCalls(most=2, most_an_address=2)
    for number, caller in enumerate(callers[:3]):
        assert calls.begin(caller.ours, f"192.0.2.{number}")
    assert [caller.hung_up_on() for caller in callers[:3]] == [True, False, False]
    calls.end(callers[0].ours)  # of no consequence: its place was given away
    calls.said_all(callers[0].ours)
