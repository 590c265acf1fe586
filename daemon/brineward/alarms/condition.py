"""What a condition is: it watches sensors and answers active, clear or unknown."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple, Protocol

from brineward.plant.state import PlantState
from brineward.readings.instants import Instant

Facts = Mapping[str, str | float]
_NO_FACTS: Facts = MappingProxyType({})


class Verdict(NamedTuple):
    """What a condition says now.

    `active` is None where it can't be judged, and `why` then says why in a few words.
    `value`, `limit` and `unit` are SI; `facts` is what its sentence needs besides.
    """

    active: bool | None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    facts: Facts = _NO_FACTS
    why: str = ""


def blind(why: str) -> Verdict:
    """The verdict of a condition that can't be judged."""
    return Verdict(None, why=why)


class Condition(Protocol):
    """One thing that can be wrong at one place."""

    @property
    def alarm(self) -> str:
        """The alarm's id in the catalogue."""
        ...

    @property
    def source(self) -> str:
        """The vessel, pump, sensor or person it is about."""
        ...

    @property
    def watches(self) -> tuple[str, ...]:
        """The sensors after each of whose readings it is judged anew."""
        ...

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Active, clear or unknown; `standing` says that it is active, so the deadband holds."""
        ...
