"""What a depot is being used for, as its people say."""

from enum import StrEnum


class Mode(StrEnum):
    """One of the phases of a depot's year; set by people or a schedule, never guessed."""

    FILLING_UP = "filling up"
    """The season is being opened: tanks are filled for the first time."""
    IN_SERVICE = "in service"
    STORM_WATCH = "storm watch"
    """A storm is ahead or under way: trucks may load at any hour."""
    STANDING_BY = "standing by"
    """Filled, but nobody loads for a while."""
    DRAINING = "being drained"
    LAID_UP = "laid up"
    """Empty, flushed, the water and the pumps off, until the next season."""
