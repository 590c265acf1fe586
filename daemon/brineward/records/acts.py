"""What people did."""

from collections.abc import Sequence
from typing import NamedTuple, cast

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.readings.entries import Act, HandTest, StruckTest
from brineward.readings.instants import Instant
from brineward.records.ever import NEVER


class EnteredTest(NamedTuple):
    """A test by hand, and who struck it; None where it counts."""

    test: HandTest
    struck: StruckTest | None


class Acts:
    """Takes, tests by hand, answers and modes that were set."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def between(
        self, depot: str, start: Instant = 0, end: Instant = NEVER, *, kind: str | None = None
    ) -> list[Act]:
        """What people did at a depot, of one kind or all, from `start` to before `end`, in order
        of time."""
        return self._made(depot, start, end, bodies.ACTS if kind is None else (kind,))

    def tests(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[EnteredTest]:
        """The tests by hand that were entered from `start` to before `end`, struck ones too."""
        found: list[EnteredTest] = []
        for act in self._made(depot, start, NEVER, ("test", "strike")):
            if isinstance(act, HandTest):
                found.append(EnteredTest(act, None))
            elif isinstance(act, StruckTest):
                found = [
                    one._replace(struck=act) if not one.struck and act.strikes(one.test) else one
                    for one in found
                ]
        return [one for one in found if one.test.time < end]

    def valid_tests(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[HandTest]:
        """The same without those that were struck."""
        return [one.test for one in self.tests(depot, start, end) if one.struck is None]

    def _made(self, depot: str, start: Instant, end: Instant, kinds: Sequence[str]) -> list[Act]:
        select = f"""SELECT kind, body FROM happening WHERE kind IN ({", ".join("?" * len(kinds))})
            AND time >= ? AND time < ? AND depot = ? ORDER BY time, seq"""  # noqa: S608 - our own
        with self._handle.reading() as db:
            rows = db.execute(select, (*kinds, start, end, depot)).fetchall()
        made = self._handle.readable("happening", rows, lambda row: bodies.entry_from(*row))
        return [cast(Act, entry) for entry in made]
