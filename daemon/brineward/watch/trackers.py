"""Everything that one depot's engine remembers about brineward itself."""

from collections.abc import Iterator

from brineward.plant.plan import DepotPlan
from brineward.plant.tracker import Tracker
from brineward.watch.calendar_age import CalendarAge
from brineward.watch.clocks import ClockTracker
from brineward.watch.hearing import Hearing
from brineward.watch.link import LinkTracker
from brineward.watch.missing import MissingReadings
from brineward.watch.reach import Reach
from brineward.watch.troubles import Troubles
from brineward.watch.unwatched import Unwatched


class WatchTrackers:
    """Made once a depot."""

    def __init__(self, plan: DepotPlan) -> None:
        self.link = LinkTracker()
        self.hearing = Hearing()
        self.sensor_clocks = ClockTracker("sensors")
        self.own_clock = ClockTracker("watch")
        self.reach = {person: Reach(person) for person in plan.duty.on_call}
        self.troubles = Troubles()
        self.unwatched = Unwatched()
        self.missing = MissingReadings()
        self.calendar_age = CalendarAge()

    def __iter__(self) -> Iterator[Tracker]:
        clocks = (self.sensor_clocks, self.own_clock)
        own = (self.troubles, self.unwatched, self.missing, self.calendar_age)
        return iter((self.link, self.hearing, *clocks, *self.reach.values(), *own))
