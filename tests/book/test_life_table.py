"""The table of an alarm's life, row by row and run: against the standard's rules in plain words."""

from itertools import product

import orjson
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from brineward.alarms.condition import CLEAR, Finding, Verdict
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.book.life import Life
from brineward.book.life_table import FIELDS, HOLDS, ROWS, STATES, TABLE, Event, Letter
from brineward.readings.entries import Handling
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmState, Priority
from depots import DEPOT
from playing import DEPOT_SILENCE, SILENCE, Bench
from standard_rules import Rules

ON, OFF = 5, 20
HOUR, DAY = 3600, 86_400
OFTEN = 3
PATIENCE = {Priority.HIGH: 2 * HOUR, Priority.LOW: 72 * HOUR}
SHELVED_AT_MOST = {Priority.HIGH: HOUR, Priority.LOW: 24 * HOUR}
SHELVED_FOR = (1, OFF + ON, HOUR, 2 * HOUR, 2 * DAY)
UNKNOWN = Verdict.unknown("nothing heard")


def by_the_rules(letter: Letter, event: Event, *, held: bool) -> tuple[Letter, bool]:
    """Where the rules lead from a letter, and whether people are told."""
    active, acknowledged, latched = FIELDS[letter]
    one = Rules(active=active, acknowledged=acknowledged, latched=latched)
    one.latching = event is Event.LATCHED
    one.known = letter not in (Letter.A, Letter.N)
    one.suppressed = held
    match event:
        case Event.RAISED if not active:
            one.raised()
        case Event.CLEARED | Event.LATCHED if active:
            one.cleared()
        case Event.GRAVER if active:
            one.graver()
        case Event.TAKEN if letter is not Letter.N:
            one.taken()
        case Event.HANDED_BACK | Event.OVERDUE:
            one.back_to_people()
        case Event.RESET if acknowledged:
            one.reset()
        case Event.SHELVED | Event.REMOVED:
            one.held_by_person("shelved" if event is Event.SHELVED else "removed")
        case Event.UNSHELVED:
            one.unshelved()
        case Event.RETURNED:
            one.put_back()
        case Event.RELEASED:
            one.suppressed, one.shelved = True, held
            one.released()
        case _:
            pass
    after = next(
        found
        for found, fields in FIELDS.items()
        if fields == (one.active, one.acknowledged, one.latched)
        and (found is Letter.N) == (one.active and one.acknowledged and not one.known)
    )
    return after, one.announced > 0


# Nobody is left untold without a hold.
WAYS = [
    (letter, event, held)
    for letter, event, held in product(FIELDS, Event, (False, True))
    if letter is not Letter.N or held or event in {hold.left for hold in HOLDS}
]


@pytest.mark.parametrize(("letter", "event", "held"), WAYS)
def test_each_row_is_the_rules_and_none_is_missing(
    letter: Letter, event: Event, held: bool
) -> None:
    """From every letter, at every event, held back or not: the table goes where the rules go."""
    row = TABLE.get((letter, event))
    after = letter if row is None else row.held if held and row.held is not None else row.after
    announced = row is not None and row.announced and not held
    assert (after, announced) == by_the_rules(letter, event, held=held)


def test_no_row_stands_twice_and_every_state_has_a_letter() -> None:
    """One way from a letter at an event; every state that there is can be shown."""
    assert len(TABLE) == len(ROWS)
    assert set(STATES.values()) == set(AlarmState)


def test_what_shows_first() -> None:
    """Out of service before shelved before suppressed by design, each by its events."""
    assert [tuple(hold) for hold in HOLDS] == [
        ("I", "put out of service", "back in service"),
        ("G", "shelved", "shelving over"),
        ("H", "suppressed", "released"),
    ]


class Model(Rules):
    """The rules on a clock in whole seconds: delays are counted, never computed ahead."""

    def __init__(self, *, latching: bool) -> None:
        super().__init__(latching=latching)
        self.now = 0
        self.verdict: Verdict = CLEAR
        self.there_for = self.gone_for = 0
        self.lingers = self.caused = False
        self.raisings: list[int] = []
        self.priority = Priority.LOW
        self.found = Priority.LOW
        self.harmed = self.found_harmed = False
        self.owner, self.owned_since, self.patience = "", -1, 0
        self.shelved_until = 0

    def judge(self, verdict: Verdict) -> None:
        """A verdict; one that is graver than what is known counts at once."""
        if verdict.active is not self.verdict.active:
            self.there_for = self.gone_for = 0
        if verdict.active is not False:
            self.lingers = False
        self.verdict = verdict
        if verdict.finding is not None:
            self.found = verdict.finding.priority or Priority.LOW
            self.found_harmed = bool(verdict.finding.names)
        if verdict.active and self.active:
            before, harmed = self.priority, self.harmed
            self._learn()
            high = before is Priority.HIGH is self.priority
            calls = high and not self.acknowledged and not self.held
            if self.priority is not before or (self.harmed is not harmed and not calls):
                self.there_for = self._restarted_if(self.graver)
                self._tidy()

    def _learn(self) -> None:
        """Neither how grave it was found to be nor that its harm has come is forgotten."""
        self.priority = max(self.priority, self.found, key=lambda one: one.rank)
        self.harmed = self.harmed or self.found_harmed

    def second(self) -> None:
        """A second is over."""
        self.now += 1
        self.there_for = self.there_for + 1 if self.verdict.active else 0
        self.gone_for = self.gone_for + 1 if self.verdict.active is False else 0
        if not self.active and self.there_for >= ON:
            self._raise()
        elif self.active and self.gone_for >= OFF:
            self._clear()
        if self.owned_since >= 0 and self.now >= self.owned_since + self.patience:
            self.back_to_people()
        self._tidy()
        if self.shelved and self.now >= self.shelved_until:
            self.end_shelving()

    def _raise(self) -> None:
        self.suppressed = self.suppressed or self.caused
        before = self.announced
        self.raised()
        self._learn()
        if self.announced > before:
            self.raisings.append(self.now)

    def _clear(self) -> None:
        lately = [one for one in self.raisings[-OFTEN:] if self.now - one <= HOUR]
        if self.gone_for == OFF and not self.untold and len(lately) == OFTEN:
            self.lingers = True
        if not self.lingers or self.gone_for >= OFF + HOUR:
            self.lingers = False
            self.cleared()

    def cause(self, active: bool) -> None:
        """What it is a consequence of came or went."""
        self.caused = active
        if active and self.active:
            self.suppressed = True
        elif not active and self.suppressed:
            self.there_for = self._restarted_if(self.released)
            self._tidy()

    def take(self, by: str) -> None:
        """Somebody takes it."""
        if self.taken() and self.there:
            self.owner, self.owned_since = by, self.now
            self.patience = PATIENCE[self.priority]
        self._tidy()

    def hand_back(self, by: str) -> None:
        """Somebody says that they have not got it."""
        if self.owner in ("", by):
            self.back_to_people()
        self._tidy()

    def shelve(self, seconds: int) -> None:
        """For so long, and no longer than it may."""
        if self.removed:
            return
        self.shelved_until = self.now + min(seconds, SHELVED_AT_MOST[self.priority])
        self.owned_since = -1
        self.held_by_person("shelved")
        self._tidy()

    def remove(self) -> None:
        """Out of service."""
        if not self.removed:
            self.owned_since = -1
            self.held_by_person("removed")
            self._tidy()

    def end_shelving(self) -> None:
        """Its time is over, or somebody says so."""
        if self.shelved:
            self.there_for = self._restarted_if(self.unshelved)
            self._tidy()

    def return_to_service(self) -> None:
        """Back."""
        if self.removed:
            self.there_for = self._restarted_if(self.put_back)
            self._tidy()

    def resets(self) -> None:
        """Somebody resets it."""
        self.reset()
        self._tidy()

    def _restarted_if(self, change: object) -> int:
        was = self.active
        change()  # type: ignore[operator]
        return 0 if was and not self.active else self.there_for

    def _tidy(self) -> None:
        """What nobody has is nobody's; what is over leaves nothing."""
        if not self.acknowledged or not (self.active or self.latched):
            self.owner, self.owned_since = "", -1
        if not self.active and not self.latched and self.acknowledged:
            self.priority, self.harmed = Priority.LOW, False


PEOPLE = st.sampled_from(["yard", "dispatch"])


class BookAgainstTheRules(RuleBasedStateMachine):
    """Any order of verdicts, times, causes, acts and restarts: the book says what the rules say."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = Bench()
        self.latching = False
        self.model = Model(latching=False)
        self.announced = 0

    @initialize(latching=st.booleans())
    def begun(self, latching: bool) -> None:
        """With an alarm that latches, or one that doesn't."""
        self.latching = latching
        self.model = Model(latching=latching)
        self._fit()

    def _fit(self) -> None:
        """Lives with short delays; the cause comes and goes at once."""
        self.alarm.life = Life(
            on_delay_seconds=ON,
            off_delay_seconds=OFF,
            priority=Priority.LOW,
            latching=self.latching,
        )
        self.bench.alarm(DEPOT_SILENCE).life = Life(on_delay_seconds=0, off_delay_seconds=0)

    @property
    def alarm(self) -> BookedAlarm:
        """The one that is watched."""
        return self.bench.alarm(SILENCE)

    def _count(self, changes: list[Change]) -> None:
        for change in changes:
            if change.booked is self.alarm:
                self.announced += change.announced
                assert change.output is not None or not change.announced

    def _wait(self, seconds: int) -> None:
        self._count(self.bench.wait(seconds * SECOND))
        for _ in range(seconds):
            self.model.second()

    @rule(
        says=st.sampled_from([True, False, None]),
        grave=st.booleans(),
        harmed=st.booleans(),
        seconds=st.sampled_from([0, 1, ON - 1, ON, OFF - 1, OFF]),
    )
    def judged(self, says: bool | None, grave: bool, harmed: bool, seconds: int) -> None:
        """A verdict that holds for some seconds; its harm may have come."""
        self._judge(says, grave, seconds, harmed=harmed)

    def _judge(self, says: bool | None, grave: bool, seconds: int, *, harmed: bool = False) -> None:
        # Of the alarm's own make, as a condition's is: only that comes back as it was.
        made = self.alarm.condition.finding
        finding = made(
            value=1.0,
            priority=Priority.HIGH if grave else None,
            names=("harm",) if harmed else (),
        )
        verdict = {True: Verdict(True, finding), False: CLEAR, None: UNKNOWN}[says]
        self._count(self.bench.says(SILENCE, verdict))
        self.model.judge(verdict)
        self._wait(seconds)

    @rule(seconds=st.sampled_from([1, ON, OFF + 1, HOUR - 1, HOUR, 2 * HOUR]))
    def waited(self, seconds: int) -> None:
        """Nothing new for some time."""
        self._wait(seconds)

    @rule(by=PEOPLE)
    def taken(self, by: str) -> None:
        """Somebody takes it."""
        self._take(by)

    def _take(self, by: str) -> None:
        number = self.alarm.life.number
        self._count(self.bench.book.take(number, by, self.bench.now))
        if number:  # nobody can take what has no code
            self.model.take(by)

    def _handle(self, what: str, *, by: str = "yard", until: int = 0) -> None:
        alarm, source = SILENCE.split("/")
        self._count(
            self.bench.book.handle(
                Handling(
                    depot=DEPOT,
                    time=self.bench.now,
                    received=self.bench.now,
                    what=what,  # type: ignore[arg-type]
                    alarm=alarm,
                    source=source,
                    by=by,
                    until=until,
                ),
                self.bench.now,
            )
        )

    @rule(by=PEOPLE)
    def handed_back(self, by: str) -> None:
        """Somebody has not got it after all."""
        self._handle("hand back", by=by)
        self.model.hand_back(by)

    @rule(how=st.sampled_from(["shelve", "out of service"]), seconds=st.sampled_from(SHELVED_FOR))
    def held(self, how: str, seconds: int) -> None:
        """A person holds it back: for a while, perhaps longer than it may, or for good."""
        self._handle(how, until=self.bench.now + seconds * SECOND)
        if how == "shelve":
            self.model.shelve(seconds)
        else:
            self.model.remove()

    @rule()
    def let_go(self) -> None:
        """What a person holds back comes back before its time."""
        self._let_go()

    def _let_go(self) -> None:
        self._handle("unshelve")
        self.model.end_shelving()
        self._handle("back in service")
        self.model.return_to_service()

    @rule(grave=st.booleans(), by=st.sampled_from(["", "yard", "dispatch"]))
    def is_there(self, grave: bool, by: str) -> None:
        """The condition comes, stays for its on-delay, and perhaps somebody takes it."""
        self._judge(True, grave, ON)
        if by:
            self._take(by)

    @rule()
    def is_taken(self) -> None:
        """Free of all that holds it back, it is raised, and somebody takes it."""
        self._cause(False)
        self._let_go()
        self._judge(True, False, ON)
        self._take("yard")

    @rule(again=st.booleans())
    def is_gone(self, again: bool) -> None:
        """It goes for its off-delay, and perhaps comes back."""
        self._judge(False, False, OFF)
        if again:
            self._judge(True, False, ON)

    @rule()
    def was_reset(self) -> None:
        """Seen to."""
        self._handle("reset")
        self.model.resets()

    @rule(active=st.booleans())
    def cause(self, active: bool) -> None:
        """A cause comes or goes."""
        self._cause(active)

    def _cause(self, active: bool) -> None:
        verdict = Verdict(True, Finding(value=1.0)) if active else CLEAR
        self._count(self.bench.says(DEPOT_SILENCE, verdict))
        self.model.cause(active)

    @rule()
    def restarted(self) -> None:
        """Written down as bytes and restored, it goes on."""
        before = orjson.dumps(self.bench.book.snapshot())
        played, now = self.bench.played, self.bench.now
        self.bench = Bench()
        self.bench.now = now
        for key, condition in played.items():
            self.bench.played[key].verdict = condition.verdict
        self._fit()
        self.bench.book.restore(orjson.loads(before))
        assert orjson.dumps(self.bench.book.snapshot()) == before

    @invariant()
    def same(self) -> None:
        """Both say the same, and people were told as often."""
        life, model = self.alarm.life, self.model
        assert life.state.value == model.state
        assert (life.active, life.acknowledged) == (model.active, model.acknowledged)
        assert life.latched is model.latched
        assert life.number == 0 or model.known
        assert life.number > 0 or model.held or not model.there
        assert (life.priority, life.taken_by) == (model.priority, model.owner)
        assert self.announced == model.announced
        assert life.number <= self.bench.book.number

    def teardown(self) -> None:
        """Nothing waits for a time that is over."""
        due = self.bench.book.next_deadline
        assert due is None or due >= self.bench.now


TestBookAgainstTheRules = BookAgainstTheRules.TestCase
TestBookAgainstTheRules.settings = settings(max_examples=200, stateful_step_count=40, deadline=None)
