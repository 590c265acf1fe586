"""Refused calls of a gateway: how often they are said, and when they mean that nothing is heard."""

from brineward.texts.handed_in import HttpAnswer
from brineward.texts.refused_calls import RefusedCalls
from texts.test_dispatch import DrivenClock

CHUNKED = HttpAnswer(status=411, sentence="say Content-Length")
FORGED = HttpAnswer(status=401, sentence="no signature fits")
GOOD = HttpAnswer(status=200, sentence="taken")


def test_they_are_said_once_an_hour_with_their_number() -> None:
    """A gateway that calls each minute fills no log, and none of its calls is left out."""
    clock, said = DrivenClock(), list[str]()
    refused = RefusedCalls("/replies", clock, said.append)
    for minute in range(61):
        refused.answered(CHUNKED if minute % 2 else FORGED)
        clock.time += 60_000
    assert said == [
        "a call to /replies refused, the last with 401: no signature fits",
        "60 calls to /replies refused, the last with 401: no signature fits",
    ]


def test_the_reason_is_the_last_one_and_a_good_call_ends_it() -> None:
    """Fewer than three mean nothing: a good call between them starts the count again."""
    refused = RefusedCalls("/replies", DrivenClock(), lambda _: None)
    reasons = []
    for answer in (FORGED, FORGED, GOOD, FORGED, FORGED, CHUNKED, GOOD):
        refused.answered(answer)
        reasons.append(refused.why())
    assert reasons == ["", "", "", "", "", "say Content-Length", ""]
