"""An alarm book whose conditions say what a test tells them to."""

from dataclasses import dataclass, field
from typing import Any

from brineward.alarms.condition import CLEAR, Condition, Finding, Site, Verdict, Words
from brineward.alarms.registry import site_of
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.plant.plan import DepotPlan
from brineward.plant.tracker import Taker
from brineward.readings.entries import Handling, HandlingKind
from brineward.readings.instants import Instant
from brineward.readings.outputs import TextDue
from brineward.telling.telling import Telling
from depots import DEPOT, START, plan

SILENCE, DEPOT_SILENCE = "sensor-silent/level", "depot-silent/depot"
ACTIVE = Verdict(True, Finding(value=61.0, limit=60.0, unit="s"))


@dataclass
class Played:
    """A condition that says what the test tells it to, and remembers when it was asked."""

    whole: Condition[Any]
    verdict: Verdict = CLEAR
    look: Instant | None = None
    asked: list[Instant] = field(default_factory=list)
    rests: bool = True
    name: str = "played"
    version: int = 1
    lasting: bool = True
    takes: dict[str, Taker] = field(default_factory=dict)
    finding: type[Finding] = Finding
    blinds: tuple[()] = ()
    """Nothing: these tests are of its own alarm alone."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self.whole, name)

    def at_rest(self) -> bool:
        """What it was told to say."""
        return self.rests

    def judge(self, now: Instant, active: bool) -> Verdict:
        """What it was told to say."""
        del active
        self.asked.append(now)
        return self.verdict

    def next_look(self, now: Instant) -> Instant | None:
        """What it was told to say."""
        del now
        return self.look

    def words(self, finding: Finding, now: Instant) -> Words:
        """Some."""
        del finding, now
        return Words("silent", "61 s", past="was silent")


class Bench:
    """A book whose alarms of silence are played."""

    def __init__(self, its: DepotPlan | None = None) -> None:
        self.site: Site = site_of(its or plan())
        self.book = AlarmBook(self.site)
        self.telling = Telling(self.site, self.book.all)
        self.now = START
        self.played: dict[str, Played] = {}
        for booked in self.book.all:
            if booked.key in (SILENCE, DEPOT_SILENCE):
                played = self.played[booked.key] = Played(booked.condition)
                booked.condition = played

    def alarm(self, key: str) -> BookedAlarm:
        """One of its alarms."""
        return next(booked for booked in self.book.all if booked.key == key)

    def says(self, key: str, verdict: Verdict) -> list[Change]:
        """A condition is asked, and says this."""
        self.played[key].verdict = verdict
        return self.book.judge(self.alarm(key), self.now)

    def wait(self, passed: int) -> list[Change]:
        """Time passes, and what is due happens."""
        until, found = self.now + passed, []
        while (due := self.book.next_deadline) is not None and due <= until:
            self.now = max(self.now, due)
            found += self.book.fire(due, self.now, silence_counts=True)
        self.now = until
        return found

    def texts(self, changes: list[Change]) -> list[TextDue]:
        """What people are told of changes."""
        return [text for one in changes for text in self.telling.follow(one, self.now, 0)]

    def told(self, changes: list[Change], passed: int = 0) -> list[TextDue]:
        """The texts of these changes, and of all that falls due while time passes."""
        texts, until = self.texts(changes), self.now + passed
        while True:
            waits = (self.book.next_deadline, self.telling.next_deadline)
            due = min((one for one in waits if one is not None), default=until + 1)
            if due > until:
                break
            self.now = max(self.now, due)
            texts += self.texts(self.book.fire(due, self.now, silence_counts=True))
            texts += self.telling.rounds_due(due, self.now, 0)
        self.now = until
        return texts

    def handle(self, what: HandlingKind, *, by: str = "yard", **more: Any) -> list[Change]:
        """A person does something with the alarm of the depot's silence, or with a number."""
        alarm, source = DEPOT_SILENCE.split("/")
        named = {} if "number" in more else {"alarm": alarm, "source": source}
        times = {"time": self.now, "received": self.now}
        act = Handling(depot=DEPOT, what=what, by=by, **times, **named, **more)
        return self.book.handle(act, self.now)
