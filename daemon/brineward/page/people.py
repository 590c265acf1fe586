"""Who may sign in, and what they may do at a depot."""

from collections.abc import Mapping

from brineward.config.settings import PageSettings, Settings
from brineward.plant.plan import DepotPlan


class Access:
    """By the config: who is on call at a depot looks and acts, whom `look` names looks.

    With `anyone` everybody who calls looks, and nobody acts: for a copy of a journal.
    """

    def __init__(self, settings: Settings, page: PageSettings, *, anyone: bool = False) -> None:
        self._anyone = anyone
        self._look = frozenset(page.look)
        self._plans: Mapping[str, DepotPlan] = settings.depots
        self._numbers = {
            _digits(person.address): person.id
            for person in settings.people.values()
            if _digits(person.address)
        }
        on_call = (who for plan in self._plans.values() for who in plan.duty.on_call)
        self.people = self._look | frozenset(on_call)

    def may_look(self, person: str, depot: str) -> bool:
        """May this person see the depot?"""
        if self._anyone:
            return depot in self._plans
        return person in self._look or self.may_act(person, depot)

    def may_act(self, person: str, depot: str) -> bool:
        """May this person take alarms and enter things at the depot?"""
        plan = self._plans.get(depot)
        return plan is not None and not self._anyone and person in plan.duty.on_call

    def depots_of(self, person: str) -> list[DepotPlan]:
        """The depots that this person may see, in the config's order."""
        return [plan for plan in self._plans.values() if self.may_look(person, plan.id)]

    def person_with(self, number: str) -> str | None:
        """Who may sign in by this number, with or without its country code; None for nobody."""
        wanted = _digits(number)
        found = [
            who
            for own, who in self._numbers.items()
            if who in self.people
            and (own == wanted or (len(wanted) >= _LEAST and own.endswith(wanted)))
        ]
        return found[0] if len(found) == 1 else None


_LEAST = 7
_DIGITS = frozenset("0123456789")


def _digits(number: str) -> str:
    return "".join(sign for sign in number[:40] if sign in _DIGITS)
