"""What a change of an alarm means for people."""

from enum import Enum, auto
from typing import Final

from brineward.book.booked_alarm import Change
from brineward.book.life_table import Event


class Wish(Enum):
    """What people are to be told, if anything."""

    CALL = auto()
    """Somebody has to take it: begin at the first on call."""
    CALL_ON = auto()
    """It was known before its cause came, and nobody has taken it: continue where it was."""
    CALL_WHO_HAD_IT = auto()
    """It was taken and isn't cured: begin at who has it."""
    CALL_NEXT = auto()
    """Who took it doesn't have it: go on after them."""
    CLEARED = auto()
    TAKEN = auto()
    HELD_BACK = auto()
    """A person holds it back: nobody is called, and whoever was told about it is told so."""
    DONE = auto()
    """Somebody has dealt with it: nobody is called any more."""
    NOTHING = auto()


_CALLS: Final = {
    Event.RELEASED: Wish.CALL_ON,
    Event.OVERDUE: Wish.CALL_WHO_HAD_IT,
    Event.HANDED_BACK: Wish.CALL_NEXT,
}
_OTHERS: Final = {
    Event.TAKEN: Wish.TAKEN,
    Event.CLEARED: Wish.CLEARED,
    Event.SHELVED: Wish.HELD_BACK,
    Event.REMOVED: Wish.HELD_BACK,
    Event.RESET: Wish.DONE,
}


def wish_of(change: Change) -> Wish:
    """What people are to be told about this change."""
    if change.fresh:
        return Wish.CALL
    if change.announced:
        return _CALLS.get(change.event, Wish.CALL)
    return _OTHERS.get(change.event, Wish.NOTHING)
