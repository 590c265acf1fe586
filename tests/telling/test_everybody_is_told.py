"""A model of people, a gateway that fails in every way, restarts and a handover: every alarm
reaches somebody or everybody is tried again and again, and nobody reads one step twice.

The engine is the real one; the outbox sends as the real one does: an attempt whose outcome nobody
knows is made again with the same number, a text that is refused is given up in the end.
"""

from dataclasses import dataclass
from datetime import date

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from brineward.engine.engine import Engine
from brineward.plant.plan import Duty
from brineward.plant.rota import Rota
from brineward.readings.entries import Answer, ClockStepped, Delivery, Entry, Started, Take, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, TextDue
from brineward.readings.values import Reading
from depots import DEPOT, START
from engine.scripted import with_sensors

PEOPLE = ("yard", "dispatch", "chief")
ROTA = Rota(people=PEOPLE, every="day", begins=date(2026, 1, 14), handover_minutes=20 * 60)
PLAN = with_sensors("shelter", duty=Duty(on_call=PEOPLE, rota=ROTA, replies=True))
FATES = ("accept", "refuse", "hang", "drop", "twice", "receipt lost")
OPEN = (AlarmState.UNACKNOWLEDGED,)


@dataclass
class Sent:
    """A text in the outbox, and what phones have seen of it."""

    due: TextDue
    state: str = "open"
    tries: int = 0
    at: int = 0
    """When it fell due, by true time, which nobody can set."""


class Nights(RuleBasedStateMachine):
    """A frozen shelter now and then, and everything that goes wrong on the way to people."""

    def __init__(self) -> None:
        super().__init__()
        self.now: Instant = START
        self.true = 0
        self.engine = Engine({DEPOT: PLAN})
        self.box: dict[str, Sent] = {}
        self.seen: dict[str, set[str]] = {person: set() for person in PEOPLE}
        """The numbers of the texts that each phone shows; a gateway drops repeats of one."""
        self.fate = dict.fromkeys(PEOPLE, "accept")
        self.state, self.number = AlarmState.NORMAL, 0
        self.opened: Instant = 0
        self.shelter = 8.0
        self.out: set[str] = set()

    def step(self, entry: Entry) -> None:
        """The engine is told, and what it concludes is kept."""
        for output in self.engine.step(entry):
            if isinstance(output, TextDue):
                assert output.id not in self.box, "one step, two texts"
                # A carrier would drop it, and the next would wait for nothing.
                assert output.kind == "answer" or output.person not in self.out
                self.box[output.id] = Sent(output, at=self.true)
            if isinstance(output, AlarmChanged) and output.alarm == "shelter-freezing":
                if output.state in OPEN and self.state not in OPEN:
                    self.opened = self.now
                self.state, self.number = output.state, output.number

    def send(self) -> None:
        """The outbox goes round once: each open text is tried."""
        for sent in list(self.box.values()):
            if sent.state != "open":
                continue
            person, fate = sent.due.person, self.fate[sent.due.person]
            sent.tries += 1
            if fate in ("accept", "twice", "receipt lost"):
                self.seen[person].add(sent.due.id)
            if fate in ("accept", "drop", "twice"):
                self.settle(sent, "accepted")
            elif sent.tries >= 3:
                self.settle(sent, "dead")

    def settle(self, sent: Sent, outcome: str) -> None:
        """The engine hears what became of it."""
        sent.state = outcome
        due = sent.due
        self.step(
            Delivery(
                depot=DEPOT,
                time=self.now,
                text=due.id,
                number=due.number,
                person=due.person,
                outcome="dead" if outcome == "dead" else "accepted",
                why="refused" if outcome == "dead" else "",
            )
        )

    @initialize()
    def begin(self) -> None:
        """The service starts."""
        self.step(Started(time=self.now, version="", config_hash="", zone_data=""))

    @rule(minutes=st.integers(1, 90), shelter=st.sampled_from([None, -3.0, -3.0, 8.0]))
    def time_passes(self, minutes: int, shelter: float | None) -> None:
        """Readings come, deadlines fall due, texts go out."""
        self.shelter = self.shelter if shelter is None else shelter
        for _ in range(minutes * 2):
            self.now += 30 * SECOND
            self.true += 30
            self.step(Reading(DEPOT, "shelter", self.now, self.shelter, self.now))
            self.send()

    @rule(person=st.sampled_from(PEOPLE), fate=st.sampled_from(FATES))
    def the_way_changes(self, person: str, fate: str) -> None:
        """What becomes of texts to somebody from now on."""
        self.fate[person] = fate

    @rule(person=st.sampled_from((*PEOPLE, "stranger")), late=st.integers(0, 3))
    def somebody_replies(self, person: str, late: int) -> None:
        """A take, perhaps of an alarm of before, perhaps of a stranger whom the edge lets pass."""
        if person == "stranger":
            return  # refused at the edge: tests/texts holds that
        number = max(1, self.number - late)
        self.step(Take(depot=DEPOT, time=self.now, received=self.now, number=number, by=person))

    @rule(person=st.sampled_from(PEOPLE), way=st.sampled_from(["out", "in"]))
    def somebody_opts(self, person: str, way: str) -> None:
        """STOP and START, of which nobody sends two within a second."""
        self.now += SECOND
        self.true += 1
        (self.out.add if way == "out" else self.out.discard)(person)
        self.step(
            Answer(depot=DEPOT, time=self.now, received=self.now, person=person, opted=way)  # type: ignore[arg-type]
        )

    @rule(down=st.sampled_from([0, 2 * MINUTE, 3 * HOUR, 26 * HOUR]))
    def the_service_restarts(self, down: Instant) -> None:
        """Killed after a commit, and started again from what it remembered."""
        kept = self.engine.snapshots()
        self.engine = Engine({DEPOT: PLAN})
        assert self.engine.restore(kept) == []
        self.now += down
        self.true += down // SECOND
        self.step(Started(time=self.now, version="", config_hash="", zone_data=""))
        self.step(Tick(time=self.now))
        self.send()

    @rule(by=st.sampled_from([-2 * HOUR, -MINUTE, 5 * MINUTE, DAY]))
    def the_clock_jumps(self, by: int) -> None:
        """Somebody sets this machine's clock."""
        self.now += by
        self.step(ClockStepped(time=self.now, by=by))

    @invariant()
    def nobody_reads_a_step_twice(self) -> None:
        """No two texts tell one person the same of one alarm at one time; a text that is tried
        again keeps its number, so a phone that counts numbers shows it once."""
        alarms = [(sent.due, sent.at) for sent in self.box.values() if sent.due.number]
        steps = [(due.person, due.number, due.kind, at) for due, at in alarms]
        assert len(steps) == len(set(steps))

    def teardown(self) -> None:
        """In the end the way is free again: then somebody reads of what nobody has, within hours;
        where all opted out, an alarm says of each that they can't be reached."""
        self.fate = dict.fromkeys(PEOPLE, "accept")
        if self.state in OPEN and self.shelter < 0:
            before = set(self.box)
            for _ in range(10 * 120):
                self.now += 30 * SECOND
                self.true += 30
                self.step(Reading(DEPOT, "shelter", self.now, self.shelter, self.now))
                self.send()
            able = set(PEOPLE) - self.out
            told = {
                sent.due.person
                for id_, sent in self.box.items()
                if id_ not in before and sent.due.number == self.number and sent.state == "accepted"
            }
            if self.state in OPEN:
                assert told == able


class TestNights(Nights.TestCase):  # type: ignore[name-defined, misc]
    """Many nights."""

    settings = settings(max_examples=30, stateful_step_count=12, deadline=None)


def test_after_a_day_without_the_watch_one_person_hears_of_it_once() -> None:
    """Taken and not cured, and duty passes meanwhile to somebody who has opted out: who had it is
    told at the restart, and neither the handover nor the next round tells them a second time."""
    night = Nights()
    night.begin()
    night.shelter = -3.0
    night.time_passes(minutes=20, shelter=-3.0)
    for other in ("dispatch", "chief"):
        night.somebody_opts(person=other, way="out")
    night.somebody_replies(late=0, person="yard")
    night.the_service_restarts(down=26 * HOUR)
    night.nobody_reads_a_step_twice()
    at_restart = [one.due for one in night.box.values() if one.at == night.true]
    assert [due.person for due in at_restart if due.number == 1] == ["yard"]
