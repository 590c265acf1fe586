"""What a change of an alarm means for people."""

from enum import Enum, auto

from brineward.book.book import Change
from brineward.readings.outputs import AlarmState


class Wish(Enum):
    """What people are to be told, if anything."""

    CALL = auto()
    """Somebody has to take it: begin at the first on call."""
    CALL_ON = auto()
    """It was known before its cause came, and nobody has taken it: go on where it was."""
    CLEARED = auto()
    TAKEN = auto()
    NOTHING = auto()


def wish_of(change: Change) -> Wish:
    """What this change wants to be told."""
    if change.why == "taken":
        return Wish.TAKEN
    if change.state is AlarmState.UNACKNOWLEDGED:
        return Wish.CALL if change.why == "judged" else Wish.CALL_ON
    if change.why == "judged" and not change.active:
        return Wish.CLEARED
    return Wish.NOTHING
