"""What each page of a depot says at its top: that nobody watches, or that an alarm waits."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from brineward.page.screen import AlarmView, Screen
from brineward.readings.outputs import Priority

LARGEST_NUMBER: Final = 10**9
"""No alarm has a number as large."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Banner:
    """What is said; on most days nothing."""

    unwatched: str
    """Why nobody watches, as on the first screen; or empty."""
    waiting: Sequence[AlarmView]
    """The alarms that nobody has taken, the most urgent first."""


def banner(shown: Screen, about: int = 0) -> Banner:
    """What a first screen has for every other page, but for the alarm that the page is about."""
    waiting = [one for one in shown.alarms if one.needed and not (about and one.number == about)]
    waiting.sort(key=lambda one: (not one.active, -Priority(one.priority).rank))
    return Banner(unwatched=shown.unwatched, waiting=waiting)
