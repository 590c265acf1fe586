"""The desk: what the page lets people do. The service has one; the page knows only this."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from brineward.readings.entries import HandlingKind
from brineward.readings.modes import Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What came of an act."""

    done: bool
    sentence: str
    """What was done, or why nothing was; for a person, with its full stop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """What a test by hand shows, before it is entered."""

    sentence: str
    """What was typed, or why it is no test."""
    mass_fraction: float | None = None
    """None: it is no test."""
    standard_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """What a record by hand says, before it is entered."""

    is_record: bool
    sentence: str
    """As it would stand in the list, or what was expected."""
    fault: str = ""
    """Which piece is wrong: as `brineward.decode.by_hand.Fault`."""


Fields = Mapping[str, str | float | int | bool]
"""A test as `brineward.decode.hand_tests` takes it."""


class Desk(Protocol):
    """Hands acts to the journal. Every method may be called from any thread and raises nothing:
    what can't be recorded is said in its sentence."""

    def take(self, depot: str, number: int, person: str) -> Done:
        """Take an alarm."""
        ...

    def handle(
        self, depot: str, what: HandlingKind, number: int, person: str, seconds: float = 0.0
    ) -> Done:
        """Hand an alarm back, shelve it for so long, put it back or reset it."""
        ...

    def computed(self, depot: str, fields: Fields) -> Computed:
        """What a test would show."""
        ...

    def enter_test(self, depot: str, fields: Fields, person: str) -> Done:
        """Enter a test by hand."""
        ...

    def understood(self, depot: str, words: str) -> Understood:
        """What a record in one line says, as the command `record` takes it."""
        ...

    def enter_record(
        self, depot: str, words: str, person: str, corrects: int = 0, why: str = ""
    ) -> Done:
        """Enter a record; with `corrects` in the place of an earlier one, without words to strike
        that."""
        ...

    def set_mode(self, depot: str, mode: Mode, person: str) -> Done:
        """Set what a depot is used for."""
        ...

    def text_code(self, person: str, sentence: str) -> bool:
        """Have a code for signing in texted; False where it can't be."""
        ...

    def note_refused(self, what: str, sentence: str) -> None:
        """Count a refused try, for the status; `what` is a short stable code."""
        ...
