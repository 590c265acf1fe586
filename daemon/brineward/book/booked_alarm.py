"""One alarm of a depot's book, its condition and its life; and what became of it."""

from typing import NamedTuple

from brineward.alarms.condition import Condition, Words
from brineward.alarms.registry import ConfiguredAlarm
from brineward.book.life import Life
from brineward.book.life_table import Event
from brineward.plant.mode import ModeTracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority


class BookedAlarm:
    """One condition at this depot, and the life of its alarm."""

    __slots__ = (
        "causes",
        "condition",
        "configured",
        "consequences",
        "key",
        "life",
        "look",
        "looks",
        "mode",
        "once_under",
        "picks",
        "rests",
    )

    def __init__(self, configured: ConfiguredAlarm, mode: ModeTracker | None = None) -> None:
        self.configured = configured
        self.condition = configured.condition
        self.key = f"{configured.record.id}/{configured.condition.source}"
        self.life = Life(
            on_delay_seconds=configured.on_delay_seconds,
            off_delay_seconds=configured.off_delay_seconds,
            priority=configured.priority,
            latching=configured.record.latched,
        )
        self.looks = type(configured.condition).next_look is not Condition.next_look
        """Does it name deadlines of its own?"""
        self.rests = type(configured.condition).at_rest is not Condition.at_rest
        """Does it ever say that it is at rest? Others need not be asked at every report."""
        explains = type(configured.condition).explains
        self.picks = explains is not Condition.explains or bool(configured.record.speaks_up_when)
        """Does it hang on what it found which consequences it explains, or whether it is one?"""
        self.look: Instant | None = None
        """When it is judged even if nothing comes; may be early, never late."""
        self.mode = mode or ModeTracker()
        """The depot's mode; without one it is in service."""
        self.causes: list[BookedAlarm] = []
        self.once_under: list[BookedAlarm] = []
        """Causes under which it is announced once."""
        self.consequences: list[BookedAlarm] = []

    @property
    def quiet(self) -> bool:
        """Is what it judges as it should be in the depot's mode?"""
        return self.mode.mode in self.configured.record.quiet_in

    @property
    def caused(self) -> bool:
        """Is an alarm active that this one is a consequence of, or is it quiet in this mode?"""
        return self.quiet or bool(self.held_back_by)

    @property
    def held_back_by(self) -> "list[BookedAlarm]":
        """The causes that hold it back now."""
        causes = () if self.speaks_up else self.causes
        return [*(c for c in causes if c.explains(self)), *self._known_under()]

    @property
    def speaks_up(self) -> bool:
        """Is it found to be more than its causes' texts have said?"""
        life = self.life
        return bool(life.judged and life.finding is not None and life.finding.speaks_up)

    def explains(self, consequence: "BookedAlarm") -> bool:
        """Is it active, and is that why this other one is?

        While it can't be judged it may long be over: what is seen to be wrong is news then.
        """
        life = self.life
        if not life.explains or (life.judged is None and consequence.life.judged):
            return False
        found = life.finding
        return found is None or self.condition.explains(found, consequence.condition.source)

    def _known_under(self) -> "list[BookedAlarm]":
        """The causes that are active since before it was last announced, if it is the same since.

        What is active since before that is itself what was announced, and goes on.
        """
        life = self.life
        if not self.once_under or not life.chatter.raisings:
            return []
        told = life.chatter.raisings[-1]
        if life.since <= told or self.condition.good_at > told:
            return []
        return [c for c in self.once_under if c.explains(self) and c.life.since <= told]

    @property
    def priority(self) -> Priority:
        """Its own, or the gravest that this occurrence was found to be."""
        return self.life.priority

    def words(self, now: Instant, *, us: bool | None = None) -> Words:
        """What people read of it now; `us` where somebody reads other units than the depot's."""
        if self.life.finding is None:
            return Words(self.life.past or self.configured.record.title.lower())
        condition = self.condition
        if us is not None and us != condition.units.us:
            condition = condition.in_units(us=us)
        return condition.words(self.life.finding, now)


class Change(NamedTuple):
    """What became of an alarm, and at what."""

    booked: BookedAlarm
    event: Event
    number: int
    """Of the occurrence, also where it is done with now."""
    state: AlarmState
    active: bool
    output: AlarmChanged | None
    """None where there is nothing to keep: its state has the same name as before."""
    announced: bool = False
    """It is to be announced to people as new."""
    fresh: bool = False
    """It is a new occurrence."""
    by: str = ""
    """The person who did it; of a take that comes back or is handed back, who had it."""
