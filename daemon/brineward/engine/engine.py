"""The engine: one `DepotEngine` a depot, and who gets which entry."""

from collections.abc import Mapping

from brineward.engine.depot import DepotEngine
from brineward.plant.plan import DepotPlan
from brineward.plant.state import PlantState
from brineward.readings.entries import Act, Delivery, Entry
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output
from brineward.readings.values import Reading, Refusal


class Engine:
    """All depots of one config. Nothing is shared between two depots but the entries about the
    watch itself; the first depot's people are told of those."""

    def __init__(self, plans: Mapping[str, DepotPlan]) -> None:
        self._depots = {
            plan.id: DepotEngine(plan, keeps_house=place == 0)
            for place, plan in enumerate(plans.values())
        }
        self._in_order = tuple(self._depots.values())

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Handle one entry; an entry of a depot that isn't ours changes nothing."""
        if isinstance(entry, Reading | Refusal | Act | Delivery):
            depot = self._depots.get(entry.depot)
            return depot.step(entry) if depot is not None else ()
        return tuple(output for depot in self._in_order for output in depot.step(entry))

    def plant(self, depot: str) -> PlantState:
        """What is known of a depot's plant; to be read, never changed.

        Raises: KeyError where the config has no such depot.
        """
        return self._depots[depot].plant

    @property
    def now(self) -> Instant:
        """The latest time that any depot has come to; 0 before the first entry."""
        return max((depot.now for depot in self._in_order), default=0)

    @property
    def next_deadline(self) -> Instant | None:
        """When a tick is next wanted; None while nothing waits."""
        due = [d for depot in self._in_order if (d := depot.next_deadline) is not None]
        return min(due, default=None)

    def count_on(self, depot: str, *, number: int, letters: int) -> None:
        """Numbers up to these have been given away: what comes is numbered after them."""
        self._depots[depot].count_on(number=number, letters=letters)

    def snapshots(self) -> dict[str, bytes]:
        """Each depot's state as bytes."""
        return {name: depot.snapshot() for name, depot in self._depots.items()}

    def restore(self, snapshots: Mapping[str, bytes]) -> None:
        """Become what `snapshots` gave; depots without one start fresh.

        Raises: ValueError where a snapshot is of another version.
        """
        for name, snapshot in snapshots.items():
            if name in self._depots:
                self._depots[name].restore(snapshot)
