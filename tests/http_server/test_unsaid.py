"""Which caller that has not said all yet makes room for another."""

from brineward.http_server.unsaid import Unsaid

HERE, THERE = "192.0.2.1", "192.0.2.2"


class Transport:
    """A connection that notes whether it was hung up on."""

    def __init__(self) -> None:
        self.gone = False

    def abort(self) -> None:
        """It is."""
        self.gone = True


def callers(count: int) -> list[Transport]:
    """So many."""
    return [Transport() for _ in range(count)]


def begun(unsaid: Unsaid, caller: Transport, address: str) -> None:
    """One more that has said nothing."""
    unsaid.begin(caller, address)  # type: ignore[arg-type]  # stands in


def test_one_address_cannot_push_out_another() -> None:
    """A flood from one address hangs up on its own calls, never on somebody else's."""
    unsaid, all_ = Unsaid(most=4, most_an_address=2), callers(5)
    begun(unsaid, all_[0], THERE)
    for caller in all_[1:]:
        begun(unsaid, caller, HERE)
    assert [caller.gone for caller in all_] == [False, True, True, False, False]


def test_a_call_that_has_said_all_keeps_its_place() -> None:
    """A message that is being judged is never cut off for a newcomer."""
    unsaid, all_ = Unsaid(most=4, most_an_address=2), callers(4)
    for caller in all_[:2]:
        begun(unsaid, caller, HERE)
        unsaid.end(caller)  # type: ignore[arg-type]  # stands in
    for caller in all_[2:]:
        begun(unsaid, caller, HERE)
    assert not any(caller.gone for caller in all_)


def test_calls_are_bounded_in_all() -> None:
    """Many addresses together can't use up the machine: the longest idle of all goes."""
    unsaid, all_ = Unsaid(most=2, most_an_address=2), callers(3)
    for number, caller in enumerate(all_):
        begun(unsaid, caller, f"192.0.2.{number}")
    assert [caller.gone for caller in all_] == [True, False, False]
    unsaid.end(all_[0])  # type: ignore[arg-type] # of no consequence: its place was given away
