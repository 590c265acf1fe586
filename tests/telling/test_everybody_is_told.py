"""A model of people and of gateways that fail in every way, with receipts and several ways to one
person, clocks that are set, restarts and handovers: every alarm reaches somebody, or every way that
is left to everybody has been tried; and nobody is told one step twice.

Engine, journal, outbox, receipts and replies are the real ones; people and gateways are the model.
"""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from brineward.config.channel_kinds import ReceiptSettings
from brineward.config.secret_table import Secret
from brineward.config.settings import FileChannel, Person, ReplySettings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.plant.plan import Duty
from brineward.plant.rota import Rota
from brineward.readings.entries import Answer, ClockStepped, Entry, Started, Take, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Step, TextDue
from brineward.readings.values import Reading
from brineward.texts.dispatch import Dispatcher, Lane
from brineward.texts.receipt_watch import ReceiptWatch
from brineward.texts.receipts import ReceiptDesk
from brineward.texts.reply_judge import ReplyJudge, ReplyOutcome
from brineward.texts.senders import OutgoingText
from depots import DEPOT, START
from engine.scripted import with_sensors
from telling.faulty_ways import FATES, RECEIPT_WITHIN_SECONDS, SHOWING, Ether, Gateway, Sent

WORD = "open-sesame-47"
WAYS = {"yard": ("phone", "radio"), "dispatch": ("radio", "phone"), "chief": ("phone",)}
"""Who is reached by which gateways, in order; `phone` gives receipts, `radio` does not."""
PEOPLE = tuple(WAYS)
NUMBERS = {person: f"+1555010014{place}" for place, person in enumerate(PEOPLE)}
STRANGER = "+15550100199"
ROTA = Rota(people=PEOPLE, every="day", begins=date(2026, 1, 14), handover_minutes=20 * 60)
PLAN = with_sensors("shelter", duty=Duty(on_call=PEOPLE, rota=ROTA, replies=True))
OPEN = (AlarmState.UNACKNOWLEDGED,)


@dataclass
class Due:
    """A text as it fell due."""

    text: TextDue
    at: int
    """By true time, which nobody can set."""


class Watch:
    """The clock of the service: what somebody may have set, and what goes on counting."""

    def __init__(self, night: "Nights") -> None:
        self._night = night

    def now(self) -> Instant:
        """This machine's time."""
        return self._night.now

    def monotonic_seconds(self) -> float:
        """True time."""
        return float(self._night.ether.true)


class Seen:
    """Which replies were dealt with."""

    def __init__(self) -> None:
        self._keys: set[str] = set()

    def seen(self, key: str, now: Instant) -> bool:
        """Was it?"""
        return key in self._keys

    def remember(self, key: str, now: Instant) -> None:
        """It was."""
        self._keys.add(key)


class Nights(RuleBasedStateMachine):
    """A frozen shelter now and then, and everything that goes wrong on the way to people."""

    def __init__(self) -> None:
        super().__init__()
        self.now: Instant = START
        self.ether = Ether()
        self.engine = Engine({DEPOT: PLAN})
        self.journal = Journal.open(Path(":memory:"))
        self.folder = TemporaryDirectory()
        (Path(self.folder.name) / "word").write_text(WORD)
        replies = ReplySettings(secret=Secret(file=Path(self.folder.name) / "word"), kind="bearer")
        self.people = {
            id_: Person(id=id_, name=id_.title(), channels=ways, number=NUMBERS[id_])
            for id_, ways in WAYS.items()
        }
        self.gateways = {
            name: Gateway(name, self.ether, str.lower, self.judge_attempt, receipts=name == "phone")
            for name in ("phone", "radio")
        }
        clock = Watch(self)
        self.receipts = ReceiptWatch(clock, self.journal.inbox.post)  # type: ignore[arg-type]
        self.desk = ReceiptDesk(
            "phone",
            ReceiptSettings(within_seconds=RECEIPT_WITHIN_SECONDS),
            replies,
            clock,  # type: ignore[arg-type]
            on_receipt=self.note_receipt,
            on_trouble=self.fail,
        )
        self.judge = ReplyJudge(
            replies,
            self.people,
            {"TH": DEPOT},
            clock,  # type: ignore[arg-type]
            seen=Seen(),
            takable=lambda person: (),
            on_take=self.take,
            on_handling=lambda handling: "",
            modes=None,  # type: ignore[arg-type] - nobody sets a mode here
            on_record=lambda record, person, now: (False, ""),
            on_outcome=self.act_on,
            on_trouble=self.fail,
        )
        self.woken = False
        self.dispatcher = self.new_dispatcher()
        self.due: list[Due] = []
        self.confirmed: set[str] = set()
        """What the phone's gateway said it had delivered, and was believed."""
        self.failed: set[str] = set()
        """What it said it had not."""
        self.jumps: list[int] = []
        """When this machine's clock was set, in true time."""
        self.messages = 0
        self.state, self.number = AlarmState.NORMAL, 0
        self.shelter = 8.0
        self.out: set[str] = set()

    # -- the service

    def new_dispatcher(self) -> Dispatcher:
        """As a service that has just started has it."""
        for gateway in self.gateways.values():
            gateway.forget()
        return Dispatcher(
            self.journal.outbox,
            {
                name: Lane(FileChannel(id=name, path=Path("unused")), gateway, gateway)
                for name, gateway in self.gateways.items()
            },
            self.people,
            Watch(self),  # type: ignore[arg-type]
            wake=self.wake,
            on_trouble=self.fail,
            on_missed=self.receipts.missed,
        )

    def wake(self) -> None:
        """There is something to record."""
        self.woken = True

    def fail(self, sentence: str) -> None:
        """Nothing here is the operator's to put right."""
        raise AssertionError(sentence)

    def step(self, entry: Entry) -> None:
        """The engine is told, and what it concludes is kept."""
        texts = []
        for output in self.engine.step(entry):
            if isinstance(output, TextDue):
                # A carrier would drop it, and the next would wait for nothing.
                assert output.kind == "answer" or output.person not in self.out
                texts.append(output)
                self.due.append(Due(output, self.ether.true))
            if isinstance(output, AlarmChanged) and output.alarm == "shelter-freezing":
                self.state, self.number = output.state, output.number
        if texts:
            self.journal.commit([Step(Tick(time=self.now), tuple(texts))])

    def send(self) -> None:
        """The outbox goes round until nothing changes; the service hears what became of texts."""
        for gateway in self.gateways.values():
            gateway.end_of_patience()
        for one in self.ether.due_receipts():
            self.hand_in_receipt(one.key, one.status, WORD)
        self.woken = True
        while self.woken:
            self.woken = False
            self.dispatcher.turn()
        for number, entry in self.journal.inbox.waiting():
            self.step(entry)
            self.journal.commit([], inbox_done=[number])

    def judge_attempt(self, text: OutgoingText, gateway: Gateway) -> None:
        """May this text go out by this way, by all that was said of it so far?"""
        before = [one for one in self.ether.sent if one.key == text.key]
        assert all(one.body == repr(text.notice) for one in before), "one number, two texts"
        assert text.key not in self.confirmed, f"sent by {gateway.name} after it was delivered"

    # -- receipts and replies

    def hand_in_receipt(self, key: str, status: str, word: str) -> tuple[int, str]:
        """The gateway calls; what it is answered."""
        headers = {"content-type": "application/json", "authorization": f"Bearer {word}"}
        body = f'{{"id": "{key}", "status": "{status}"}}'.encode()
        answer = self.desk.receive(headers, body)
        return answer.status, answer.sentence

    def note_receipt(self, known_as: str, delivered: bool, words: str) -> bool:
        """As the service notes it."""
        known = self.journal.outbox.record_receipt(
            known_as, self.now, delivered=delivered, words=words
        )
        if known:
            (self.confirmed if delivered else self.failed).add(known_as.partition(":")[2])
            self.receipts.came("phone")
        return known

    def take(self, take: Take) -> str:
        """A person on call takes it."""
        self.journal.inbox.post(take)
        return ""

    def act_on(self, outcome: ReplyOutcome) -> None:
        """What they are answered, and whether they opted."""
        if outcome.person is not None and (outcome.answer or outcome.opted):
            self.journal.inbox.post(
                Answer(
                    depot=DEPOT,
                    time=self.now,
                    received=self.now,
                    person=outcome.person,
                    body=outcome.answer,
                    opted=outcome.opted,
                )
            )

    # -- what happens

    @initialize()
    def begin(self) -> None:
        """The service starts."""
        self.step(Started(time=self.now, version="", config_hash="", zone_data=""))

    @rule(minutes=st.integers(1, 90), shelter=st.sampled_from([None, -3.0, -3.0, 8.0]))
    def time_passes(self, minutes: int, shelter: float | None) -> None:
        """Readings come, deadlines fall due, texts go out, receipts come back."""
        self.shelter = self.shelter if shelter is None else shelter
        for _ in range(minutes * 2):
            self.now += 30 * SECOND
            self.ether.true += 30
            self.step(Reading(DEPOT, "shelter", self.now, self.shelter, self.now))
            self.send()

    @rule(gateway=st.sampled_from(["phone", "radio"]), fate=st.sampled_from(FATES))
    def the_way_changes(self, gateway: str, fate: str) -> None:
        """What becomes of texts by a gateway from now on."""
        self.gateways[gateway].fate = fate

    @rule(person=st.sampled_from(PEOPLE), late=st.integers(0, 3), copies=st.integers(1, 2))
    def somebody_replies(self, person: str, late: int, copies: int) -> None:
        """A take, perhaps of an alarm of before, perhaps handed in twice."""
        number = max(1, self.number - late)
        self.messages += 1
        for copy in range(copies):
            outcome = self.judge.hand_in(NUMBERS[person], f"TH{number}", f"m{self.messages}")
            assert (outcome is None) == (copy > 0)
        self.send()

    @rule()
    def a_stranger_replies(self) -> None:
        """Whose number nobody has: nothing is taken, and nobody is answered."""
        self.messages += 1
        waiting = self.journal.inbox.waiting()
        outcome = self.judge.hand_in(STRANGER, f"TH{self.number}", f"m{self.messages}")
        assert outcome is not None
        assert outcome.kind == "stranger"
        assert self.journal.inbox.waiting() == waiting

    @rule(status=st.sampled_from(["delivered", "undelivered"]), word=st.sampled_from(["", "x"]))
    def a_receipt_is_forged(self, status: str, word: str) -> None:
        """Without the secret a receipt changes nothing; with it, one of no text changes nothing."""
        before = self.journal.outbox.texts_open(2**62, 10_000)
        for one in self.ether.sent[-3:]:
            assert self.hand_in_receipt(one.key, status, word)[0] == 401
        assert self.hand_in_receipt("k-of-nobody", status, WORD) == (200, "no such text")
        assert self.journal.outbox.texts_open(2**62, 10_000) == before

    @rule(person=st.sampled_from(PEOPLE), word=st.sampled_from(["STOP", "START"]))
    def somebody_opts(self, person: str, word: str) -> None:
        """STOP and START, of which nobody sends two within a second."""
        self.now += SECOND
        self.ether.true += 1
        self.messages += 1
        self.step(Tick(time=self.now))  # what falls due before the word comes goes out as ever
        self.judge.hand_in(NUMBERS[person], word, f"m{self.messages}")
        for number, entry in self.journal.inbox.waiting():
            if isinstance(entry, Answer) and entry.person == person:
                (self.out.add if word == "STOP" else self.out.discard)(person)
            self.step(entry)
            self.journal.commit([], inbox_done=[number])

    @rule(down=st.sampled_from([0, 2 * MINUTE, 3 * HOUR, 26 * HOUR]), in_the_air=st.booleans())
    def the_service_restarts(self, down: Instant, in_the_air: bool) -> None:
        """Killed after a commit, perhaps before it knows what became of a text in the air."""
        if in_the_air:
            before = len(self.ether.sent)
            self.dispatcher.turn()
            for sent in self.ether.sent[before:]:
                sent.said_yes = False  # as far as anybody will ever know
        kept = self.engine.snapshots()
        self.engine = Engine({DEPOT: PLAN})
        assert self.engine.restore(kept) == []
        self.dispatcher = self.new_dispatcher()
        self.now += down
        self.ether.true += down // SECOND
        self.step(Started(time=self.now, version="", config_hash="", zone_data=""))
        self.step(Tick(time=self.now))
        self.send()

    @rule(by=st.sampled_from([-2 * HOUR, -MINUTE, 5 * MINUTE, DAY]))
    def the_clock_jumps(self, by: int) -> None:
        """Somebody sets this machine's clock."""
        self.now += by
        self.jumps.append(self.ether.true)
        self.step(ClockStepped(time=self.now, by=by))

    # -- what must hold

    @invariant()
    def nobody_is_told_a_step_twice(self) -> None:
        """No two texts tell one person the same of one alarm at one time, by this machine's clock
        too, which may be set on by a day twice within a moment; and each has its own number, by
        which a phone or gateway knows one that is sent again."""
        assert len({due.text.id for due in self.due}) == len(self.due)
        alarms = [due for due in self.due if due.text.number]
        steps = [(o.text.person, o.text.number, o.text.kind, o.at, o.text.time) for o in alarms]
        assert len(steps) == len(set(steps))

    @invariant()
    def another_way_is_taken_only_where_the_one_before_failed(self) -> None:
        """Two gateways have one text only where the first refused it, or said in its receipt that
        it failed, or gave none in time."""
        by_key: dict[str, list[Sent]] = {}
        for one in self.ether.sent:
            for earlier in by_key.setdefault(one.key, []):
                if earlier.gateway == one.gateway or not earlier.said_yes:
                    continue
                assert earlier.owes_receipt, "it was taken, and there was no more to wait for"
                waited = one.at - earlier.at >= RECEIPT_WITHIN_SECONDS
                clock_set = any(earlier.at <= at <= one.at for at in self.jumps)
                assert waited or clock_set or one.key in self.failed
            by_key[one.key].append(one)

    def open_long_enough(self, hours: int) -> bool:
        """Does the shelter stay frozen, and nobody has it, all that time?"""
        for _ in range(hours * 120):
            if self.state not in OPEN:
                return False
            self.now += 30 * SECOND
            self.ether.true += 30
            self.step(Reading(DEPOT, "shelter", self.now, self.shelter, self.now))
            self.send()
        return self.state in OPEN

    def everybody_was_tried(self) -> None:
        """With the gateways as they are: whoever has a way that works is shown it; of whoever has
        none every way was tried, but for those after one that took it and owed no receipt."""
        for person in set(PEOPLE) - self.out:
            sent = [o for o in self.ether.sent if (o.person, o.number) == (person, self.number)]
            shown = {one.key for one in sent} & self.ether.shown.get(person, set())
            believed = any(one.said_yes and not one.owes_receipt for one in sent)
            fates = {way: self.gateways[way].fate for way in WAYS[person]}
            works = any(fate in SHOWING for fate in fates.values())
            tried = {one.gateway for one in sent} >= set(WAYS[person])
            assert shown or believed or (tried and not works), (person, fates, sent)

    def teardown(self) -> None:
        """As things are, somebody reads of what nobody has, or all ways were tried; and once the
        ways are free again, all who can be told are, within hours."""
        try:
            self.time_passes(minutes=10, shelter=-3.0)
            if self.open_long_enough(hours=5):
                self.everybody_was_tried()
                for gateway in self.gateways.values():
                    gateway.fate = "deliver"
                before = len(self.ether.sent)
                if self.open_long_enough(hours=10):
                    able = set(PEOPLE) - self.out
                    told = {o.person for o in self.ether.sent[before:] if o.number == self.number}
                    assert told == able
        finally:
            self.journal.close()
            self.folder.cleanup()


class TestNights(Nights.TestCase):  # type: ignore[name-defined, misc]
    """Many nights."""

    settings = settings(max_examples=15, stateful_step_count=12, deadline=None)
