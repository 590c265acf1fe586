"""The engine: one `DepotEngine` a depot, and who gets which entry."""

from collections.abc import Mapping

from brineward.engine.depot import DepotEngine
from brineward.plant.plan import DepotPlan
from brineward.plant.trackers import Trackers
from brineward.readings.entries import (
    AlarmGone,
    Answer,
    Delivery,
    Entry,
    Handling,
    HandRecord,
    HandTest,
    ModeSet,
    RotaRead,
    StruckTest,
    Take,
)
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, Priority
from brineward.readings.values import Reading, Refusal


class Engine:
    """All depots of one config. Nothing is shared between two depots but the entries about the
    service itself; the first depot's people are told about those."""

    def __init__(self, plans: Mapping[str, DepotPlan]) -> None:
        self._depots = {
            plan.id: DepotEngine(plan, keeps_house=place == 0)
            for place, plan in enumerate(plans.values())
        }

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Handle one entry; an entry of a depot that isn't ours changes nothing."""
        if type(entry) is Reading:  # first and apart, since nearly all are
            depot = self._depots.get(entry[0])
            return depot.reading(entry) if depot is not None else ()
        if isinstance(entry, _OF_ONE_DEPOT):
            depot = self._depots.get(entry.depot)
            return depot.step(entry) if depot is not None else ()
        if isinstance(entry, AlarmGone):
            return (_closed(entry),)
        return tuple(output for depot in self._depots.values() for output in depot.step(entry))

    def plant(self, depot: str) -> Trackers:
        """What is known of a depot's plant; to be read, never changed.

        Raises: KeyError where the config has no such depot.
        """
        return self._depots[depot].plant

    @property
    def now(self) -> Instant:
        """The latest time that any depot has come to; 0 before the first entry."""
        return max((depot.now for depot in self._depots.values()), default=0)

    def reached(self, depot: str) -> Instant | None:
        """The time that a depot has come to, as this machine's clock shows it; None before its
        first entry, and where the config has no such depot."""
        found = self._depots.get(depot)
        return found.reached if found is not None and found.now else None

    @property
    def next_deadline(self) -> Instant | None:
        """When a tick is next wanted; None while nothing waits."""
        due = [d for depot in self._depots.values() if (d := depot.next_deadline) is not None]
        return min(due, default=None)

    def state_of(self, depot: str, alarm: str, source: str) -> AlarmState | None:
        """The state of an alarm; None where it isn't watched."""
        return self._depots[depot].state_of(alarm, source) if depot in self._depots else None

    def count_on(self, depot: str, *, number: int, unnumbered: int) -> None:
        """Numbers up to these have been given away: what comes is numbered after them."""
        self._depots[depot].count_on(number=number, unnumbered=unnumbered)

    def count_records_on(self, depot: str, last: int) -> None:
        """The depot has so many records by hand: the next one's number follows."""
        records = self._depots[depot].plant.records
        records.last = max(records.last, last)

    def snapshots(self) -> dict[str, bytes]:
        """Each depot's state as bytes."""
        return {name: depot.snapshot() for name, depot in self._depots.items()}

    def restore(self, snapshots: Mapping[str, bytes]) -> list[str]:
        """Become what `snapshots` gave; depots without one start fresh, and so does a tracker
        that has changed since: returns the names of these, `<depot>/<tracker>`.

        Raises: ValueError where a snapshot is of another version or damaged; its depot, and those
        after it, are left as they were.
        """
        afresh = []
        for name, snapshot in snapshots.items():
            if name in self._depots:
                depot = self._depots[name].afresh()
                afresh += [f"{name}/{tracker}" for tracker in depot.restore(snapshot)]
                self._depots[name] = depot
        return afresh


_OF_ONE_DEPOT = (
    Refusal,
    Take,
    Handling,
    HandTest,
    StruckTest,
    HandRecord,
    Answer,
    ModeSet,
    Delivery,
    RotaRead,
)


def _closed(gone: AlarmGone) -> AlarmChanged:
    """An alarm that the config no longer has is closed: nobody could ever take it."""
    return AlarmChanged(
        time=gone.time,
        depot=gone.depot,
        alarm=gone.alarm,
        source=gone.source,
        number=gone.number,
        before=AlarmState(gone.state),
        state=AlarmState.NORMAL,
        priority=Priority(gone.priority),
        value=None,
        limit=None,
        unit="",
        sentence="closed: this alarm is no longer in the config",
    )
