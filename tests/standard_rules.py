"""The standard's rules for an alarm, in plain words: independent of the table that alarms run on.

There are no letters and no rows here, only what is so of an alarm (active, acknowledged, latched,
known to people) and the sentences by which that changes.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass
class Rules:
    """What is so of an alarm, and the standard's rules for it."""

    latching: bool = False
    active: bool = False
    acknowledged: bool = True
    latched: bool = False
    known: bool = False
    """People were told of this occurrence."""
    suppressed: bool = False
    shelved: bool = False
    removed: bool = False
    announced: int = 0

    @property
    def held(self) -> bool:
        """Is anything holding it back?"""
        return self.suppressed or self.shelved or self.removed

    @property
    def there(self) -> bool:
        """Is there anything to see to that people know of, or must?"""
        return self.latched or (self.active and not self.untold)

    @property
    def untold(self) -> bool:
        """Did it become active while it was held back, so that nobody has it and nobody must?"""
        return self.active and self.acknowledged and not self.known

    @property
    def state(self) -> str:
        """The name of it; what nobody knows shows only through what holds it back."""
        for holds, name in (
            (self.removed, "out of service"),
            (self.shelved, "shelved"),
            (self.suppressed, "suppressed by design"),
        ):
            if holds:
                return name
        if self.active:
            return "acknowledged" if self.acknowledged else "unacknowledged"
        if self.latched:
            return f"latched {'' if self.acknowledged else 'un'}acknowledged"
        return "normal" if self.acknowledged else "returned unacknowledged"

    def raised(self) -> None:
        """The condition is there: somebody must know, unless it is held back."""
        was_normal = self.acknowledged and not self.latched
        self.active, self.latched = True, False
        if not (self.held and was_normal):
            self.acknowledged, self.known = False, self.known or not self.held
        self._announce()

    def cleared(self) -> None:
        """The condition is gone; a latched alarm stays, also one that nobody knows of yet."""
        unheard = self.untold
        self.active, self.latched = False, self.latching
        if self.latching and unheard:
            self.acknowledged = False
        self._forget()

    def graver(self) -> None:
        """What is worse than people knew must be taken again, and ends a shelving."""
        if self.there:
            self.acknowledged = False
            self._announce()
        if self.shelved:
            self.unshelved()

    def taken(self) -> bool:
        """Somebody has it; was there anything to take?"""
        took, self.acknowledged = not self.acknowledged, True
        self._forget()
        return took

    def back_to_people(self) -> bool:
        """Who had it hasn't, or it was taken too long ago; was it anybody's?"""
        if not (self.there and self.acknowledged):
            return False
        self.acknowledged = False
        self._announce()
        return True

    def reset(self) -> None:
        """It was seen to."""
        if self.latched:
            self.latched, self.acknowledged = False, True
            self._forget()

    def held_by_person(self, how: Literal["shelved", "removed"]) -> None:
        """Who does that knows of it."""
        setattr(self, how, True)
        self.known = self.there
        self.acknowledged = True
        self._forget()

    def unshelved(self) -> None:
        """Judged afresh: what is still there is announced again."""
        self.shelved = False
        self._let_go_by_person()

    def put_back(self) -> None:
        """The same."""
        self.removed = False
        self._let_go_by_person()

    def _let_go_by_person(self) -> None:
        if self.there:
            self.acknowledged = False
            self._announce()
        self._fresh_start()

    def released(self) -> None:
        """The cause is gone: what waits for somebody goes on waiting."""
        self.suppressed = False
        if self.there and not self.acknowledged:
            self._announce()
        self._fresh_start()

    def _fresh_start(self) -> None:
        """What nobody knows of has to last through its delay again."""
        if self.untold and not self.held:
            self.active = False

    def _announce(self) -> None:
        if not self.held:
            self.known = True
            self.announced += 1

    def _forget(self) -> None:
        if not self.active and not self.latched and self.acknowledged:
            self.known = False
