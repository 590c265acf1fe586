"""What a condition is: it is given trackers, and answers active, clear or unknown."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator
from copy import copy
from dataclasses import dataclass, replace
from typing import Any, Generic, NamedTuple, Self, TypeVar

from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.plan import SI_UNITS, AlarmSettings, DepotPlan, Measure, VesselKind
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.plant.trackers import Trackers
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority
from brineward.watch.trackers import WatchTrackers
from brineward.wording.operator_units import OperatorUnits


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a condition found: its number, SI or as `unit` says; each alarm adds its own."""

    value: float | None = None
    limit: float | None = None
    unit: str = ""
    priority: Priority | None = None
    """Where this finding is graver than the alarm's own priority; announced again if it rises."""
    names: tuple[str, ...] = ()
    """The grave things that it is about, or has come to; each one that joins them is announced
    again."""
    harm_soon_at: Instant | None = None
    """When its harm comes at the present course: whoever has taken it is asked once more before
    then, if it is still so. None: that isn't known, or it has come."""
    waits_until: Instant | None = None
    """So long it may wait: for somebody to be awake or, where it is low, for a morning's or
    a day's work to settle it. None: it may not."""
    harm_at: Instant | None = None
    """When its harm comes at the present course. If that is no sooner than was known when it was
    taken, it has not become worse and is not announced again."""
    text_after_seconds: float = 0.0
    """How long it must be active before anybody is texted, where whoever is there likely mends it
    at once and there is time for that; nothing if it was raised in the hour before. The page shows
    it meanwhile."""
    speaks_up: bool = False
    """It is more than its causes' texts have said: they hold it back no longer."""
    clears_unsaid: bool = False
    """Whoever did what it asks knows that it is done: nobody is texted that it has cleared."""

    @property
    def may_be_graver(self) -> bool:
        """Does it say anything of how grave it is?"""
        return self.priority is not None or bool(self.names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained(Finding):
    """A finding of which there are only words to say."""

    why: str


F = TypeVar("F", bound=Finding)


class Verdict(NamedTuple):
    """What a condition says now: `active` is None where it can't be judged, and `why` says why."""

    active: bool | None
    finding: Finding | None = None
    why: str = ""
    sensors: tuple[str, ...] = ()
    """Where it can't be judged: the sensors that are to blame."""
    blind: bool = False
    """It can't be judged though it should be: its danger is unwatched."""

    @staticmethod
    def active_if(active: bool, finding: Finding) -> "Verdict":
        """That it is active with this finding, or clear."""
        return Verdict(True, finding) if active else CLEAR

    @staticmethod
    def explained(why: str) -> "Verdict":
        """That it is active and why, or clear where there is no why."""
        return Verdict(True, Explained(why=why)) if why else CLEAR

    @staticmethod
    def unknown(why: str, *sensors: str) -> "Verdict":
        """That it can't be judged: it is blind, for want of these sensors where they are known."""
        return Verdict(None, None, why, sensors, blind=True)

    @staticmethod
    def not_now(why: str) -> "Verdict":
        """That it can't be judged now: in normal operation, or since another alarm covers it."""
        return Verdict(None, None, why)


CLEAR = Verdict(False)


class Words(NamedTuple):
    """What people read about a finding, in their own units; pieces without a full stop."""

    headline: str
    """What is wrong, in a few words and without numbers."""
    how_bad: str = ""
    time_left: str = ""
    detail: str = ""
    """For a log or a status line, where there is more to say than a text has room for."""
    past: str = ""
    """The headline once it has cleared; empty: the same."""
    since: Instant | None = None
    """When it began, where that was long before it could be found."""
    response: str = ""
    """What to do, in a text, where it is not quite what the alarm's record says; empty: that."""


class Condition(ABC, Generic[F]):
    """One thing that can be wrong at one place. Keeps no state of its own: its trackers do."""

    on_delay_at_least: float = 0.0
    """Seconds: evidence that is slower than the alarm's own delay."""
    untold: str = ""
    """A person who can't be texted about this, since it is about them."""
    looks_wander: bool = False
    """Does each report move its deadline on, so that while it is clear an old one means nothing?"""
    blinds: tuple[SensorTracker, ...] = ()
    """The sensors whose silence it is about: what is judged from them is blind while it is so."""
    value_from: tuple[SensorTracker, ...] | None = None
    """The sensors of which its finding's value is a reading: none where it is worked out from
    several; None for those that it is judged after."""

    def __init__(
        self,
        site: "Site",
        source: str,
        finding: type[F],
        *,
        judged_after: Iterable[Tracker],
        limit: float | None = None,
        unit: str = "",
        side: int = 0,
    ) -> None:
        self.source = source
        """The vessel, pump, sensor or person that it is about."""
        self.finding = finding
        self.judged_after = tuple(judged_after)
        """The trackers whose changes make it be judged again."""
        self.limit = limit
        """SI, or as `unit` says; None where it has none that could be named."""
        self.unit = unit
        self.side = side
        """+1 where what is above the limit is wrong, -1 below; 0 where it isn't that simple."""
        self.units = site.units

    def in_units(self, *, us: bool) -> Self:
        """The same condition, whose words count in US or in metric units."""
        other = copy(self)
        other.units = replace(self.units, us=us)
        return other

    @property
    def name(self) -> str:
        """What people call its source."""
        return self.units.name_of(self.source)

    def beyond(self, value: float) -> bool:
        """Is a value of its own unit outside its limit, before any delay or doubt?"""
        return self.limit is not None and self.side * (value - self.limit) > 0

    def value_sensors(self, unit: str) -> list[str]:
        """The sensors, by id, of which a finding's value in this unit (SI) is a reading."""
        given = self.judged_after if self.value_from is None else self.value_from
        found = [one.plan for one in given if isinstance(one, SensorTracker)]
        return [one.id for one in found if SI_UNITS.get(one.measures) == unit]

    def at_rest(self) -> bool:
        """Was it clear, and nothing has come that could change that? Then it isn't judged."""
        return False

    @property
    def good_at(self) -> Instant:
        """When what it judges was last seen to be good; 0 where it keeps no account of that."""
        return 0

    @abstractmethod
    def judge(self, now: Instant, active: bool) -> Verdict:
        """Active, clear or unknown; `active` says that the alarm is, so the deadband holds."""

    def without(self, silent: SensorTracker) -> Verdict | None:
        """What it says while this sensor is silent; None where it must be judged to know."""
        sensors = [one for one in self.judged_after if isinstance(one, SensorTracker)]
        if sensors != [silent]:
            return None
        return Verdict.unknown(f"{self.units.name_of(silent.plan.id)} is silent", silent.plan.id)

    def explains(self, finding: F, source: str) -> bool:
        """Does what it found explain what a consequence of it finds at this source?"""
        return True

    def next_look(self, now: Instant) -> Instant | None:
        """When it must be judged again even if nothing comes; None: not before something does."""
        return None

    @abstractmethod
    def words(self, finding: F, now: Instant) -> Words:
        """What people read of a finding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One depot as an alarm's conditions see it while they are made."""

    plan: DepotPlan
    trackers: Trackers
    watch: WatchTrackers
    keeps_house: bool
    """Are this depot's people texted about troubles of the watch itself?"""
    units: OperatorUnits

    def settings(self, record: AlarmRecord) -> AlarmSettings:
        """What the config changes of an alarm."""
        return self.plan.alarms.get(record.id) or AlarmSettings()

    def limit(self, record: AlarmRecord, otherwise: float) -> float:
        """The config's limit of an alarm, or else this one."""
        limit = self.settings(record).limit
        return otherwise if limit is None else limit

    def deadband(self, record: AlarmRecord) -> float:
        """The config's deadband of an alarm, or else its own."""
        deadband = self.settings(record).deadband
        return record.deadband if deadband is None else deadband


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """All that makes one alarm; a module in this package has it as `ALARM`."""

    record: AlarmRecord
    conditions: Callable[[Site], Iterable[Condition[Any]]]
    """At every place where the depot's sensors can judge it."""
    coverage: Callable[[DepotPlan], Iterable[Coverage]] = lambda plan: ()
    """At every place where a depot would want it; none for alarms about the watch itself."""
    remarks: Callable[[DepotPlan], Iterable[str]] = lambda plan: ()
    """What this depot's sensors can show, a sentence each, in the depot's own units."""


def covered_by_one(
    record: AlarmRecord, plan: DepotPlan, measure: Measure, source: str, would_help: str
) -> Coverage:
    """Covered by the one sensor that measures this there, or blind where there is none."""
    sensor = plan.sensor_of(measure, source)
    if sensor is None:
        return Coverage(record.id, source, "blind", (), would_help)
    return Coverage(record.id, source, "covered", (sensor.id,))


def blind_without_hopper(record: AlarmRecord, plan: DepotPlan, helps: str) -> Iterator[Coverage]:
    """That it is blind for the hopper which most depots have, where the config has none."""
    if all(vessel.kind is not VesselKind.HOPPER for vessel in plan.vessels.values()):
        would_help = f"the hopper in the config, and {helps}"
        yield Coverage(record.id, "any hopper", "blind", (), would_help)
