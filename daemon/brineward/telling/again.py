"""Why people are told about an alarm again, in the words of a text."""

from typing import Final

from brineward.book.booked_alarm import Change
from brineward.book.life_table import Event
from brineward.readings.instants import Instant
from brineward.telling.calls import Call
from brineward.telling.wording import (
    COMES_AND_GOES,
    GRAVER,
    IN_SERVICE_AGAIN,
    NOT_TAKEN,
    RETURNED,
    SHELVING_OVER,
    STILL,
)

AGAIN: Final = {
    Event.RAISED: RETURNED,
    Event.GRAVER: GRAVER,
    Event.UNSHELVED: SHELVING_OVER,
    Event.RETURNED: IN_SERVICE_AGAIN,
}
"""Why an alarm is announced again, where it is not a matter of who has it."""


def known_as(call: Call, person: str, again: str) -> str:
    """What a text says about earlier texts on it; empty if there were none."""
    unheard = (again == RETURNED and person not in call.told) or (again == GRAVER and not call.told)
    if again and not unheard:
        return again
    if person in call.told:
        return STILL
    return NOT_TAKEN if call.told else ""


def why_again(change: Change, now: Instant) -> str:
    """Why it is announced again; empty where it is announced as new."""
    if change.event is Event.RAISED and change.booked.life.chatter.often_since(now) is not None:
        return COMES_AND_GOES
    return "" if change.fresh else AGAIN[change.event]
