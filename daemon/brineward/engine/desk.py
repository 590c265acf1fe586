"""The alarm desk of one depot: lets alarms live, holds consequences back, and has people told.

It is given verdicts and times, and returns nothing: what follows is collected in `outputs`.
"""

from collections.abc import Iterable

from brineward.alarms.condition import Verdict
from brineward.alarms.life import Life
from brineward.alarms.roster import Watch, watches_for
from brineward.engine.calls import Call
from brineward.engine.tell import Teller
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output

OLD_NEWS = 2 * MINUTE
"""What is raised by news older than this wakes nobody before the present is reached."""


class Watched:
    """One condition at this depot: its life, and what people were told of it."""

    __slots__ = ("call", "causes", "consequences", "key", "life", "watch")

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.key = f"{watch.condition.alarm}/{watch.condition.source}"
        self.life = Life(
            on_delay_seconds=watch.on_delay_seconds, off_delay_seconds=watch.off_delay_seconds
        )
        self.call = Call()
        self.causes: list[Watched] = []
        self.consequences: list[Watched] = []

    @property
    def caused(self) -> bool:
        """Does an alarm stand that this one is a consequence of?"""
        return any(c.life.standing and not c.life.suppressed for c in self.causes)


class Desk:
    """All alarms of one depot."""

    def __init__(self, plan: DepotPlan) -> None:
        self._plan = plan
        self.all = tuple(Watched(watch) for watch in watches_for(plan))
        self.by_key = {watched.key: watched for watched in self.all}
        self.teller = Teller(plan)
        self.number = 0
        """The last occurrence's number."""
        self.held_since: Instant | None = None
        """Since when alarms have been held that old news raised."""
        self.resumed: Instant = 0
        """When the watch last came back: no second round of an alarm is due before that."""
        self.lag = 0
        """How old the news is that is being handled."""
        self.outputs: list[Output] = []
        self._next: Instant | None = None
        self._next_known = False
        for watched in self.all:
            by = watched.watch.record.suppressed_by
            watched.causes = [o for o in self.all if o.watch.condition.alarm in by]
            for cause in watched.causes:
                cause.consequences.append(watched)

    @property
    def next_deadline(self) -> Instant | None:
        """When a delay or a pause is over next; None while nothing waits."""
        if not self._next_known:
            due = [w.life.wait for w in self.all if w.life.wait is not None]
            due += [w.call.due for w in self.all if w.call.due is not None]
            self._next = min(due, default=None)
            self._next_known = True
        return self._next

    def fire(self, deadline: Instant, now: Instant) -> None:
        """Let happen what is due up to a deadline."""
        for watched in self.all:
            if watched.life.wait is not None and watched.life.wait <= deadline:
                self._settle(watched, now)
            if watched.call.due is not None and watched.call.due <= deadline:
                self.next_round(watched, now)
        self._next_known = False

    def judge(self, watched: Watched, verdict: Verdict, now: Instant) -> None:
        """Take a condition's word."""
        life = watched.life
        waited = life.wait
        life.judge(verdict, now)
        if life.wait != waited:
            self._next_known = False
        if life.wait is not None and life.wait <= now:
            self._settle(watched, now)

    def take(self, number: object, by: str, now: Instant) -> None:
        """A person has the occurrence of this number."""
        for watched in self.all:
            life = watched.life
            if life.number == 0 or life.number != number:
                continue
            before = life.state
            if not life.take():
                continue
            watched.call.stop()
            self._next_known = False
            name = self._plan.duty.names.get(by, by)
            self._changed(watched, before, now, by=name)
            others = [person for person in watched.call.told if person != by]
            self.outputs += self.teller.taken(watched, now, others, name)
            _forget_if_done(life)

    def hurry(self, number: int, person: str, now: Instant) -> None:
        """A text of this occurrence is a dead letter: the next person is told now, not later."""
        others = [p for p in self._plan.duty.on_call if p != person]
        for watched in self.all:
            call = watched.call
            about = number > 0 and watched.life.number == number
            if others and about and call.due is not None and call.step <= len(others):
                self.next_round(watched, now, failed=person)

    def next_round(self, watched: Watched, now: Instant, *, failed: str = "") -> None:
        """Text whoever is next, if it still stands and nobody has it, and if it is the time to.

        `failed` has just not been reached.
        """
        call = watched.call
        call.due = None
        self._next_known = False
        if watched.life.state is not AlarmState.UNACKNOWLEDGED:
            return
        if self.lag > OLD_NEWS:
            call.held = True
            if self.held_since is None:
                self.held_since = now
            return
        morning = self.teller.not_before(watched.watch.priority, now)
        if morning > now:
            call.due = morning
            return
        self.outputs += self.teller.round(watched, now, failed=failed)
        call.no_sooner(self.resumed)

    def resume(self, now: Instant) -> None:
        """The watch was down until now: rounds that fell due meanwhile are one round, now."""
        self.resumed = now
        for watched in self.all:
            watched.call.no_sooner(now)
        self._next_known = False

    def tell_held(self, now: Instant) -> None:
        """The present is reached: what still stands is told, the rest is one summary."""
        if self.held_since is None or self.lag > OLD_NEWS:
            return
        since, self.held_since = self.held_since, None
        gone: list[int] = []
        for watched in self.all:
            if not watched.call.held:
                continue
            watched.call.held = False
            if watched.life.standing:
                self.next_round(watched, now)
            else:
                gone.append(watched.life.number)
        if gone:
            self.outputs += self.teller.summary(sorted(gone), since, now)

    # -- what follows from what

    def _settle(self, watched: Watched, now: Instant) -> None:
        """A delay is over: let the alarm become what its condition says."""
        life = watched.life
        before = life.state
        if not life.suppressed and watched.caused:
            life.suppress()
        self._next_known = False
        if not life.due(now):
            return
        fresh = life.state is AlarmState.UNACKNOWLEDGED and life.number == 0
        if fresh:
            self.number += 1
            life.number = self.number
        self._changed(watched, before, now)
        self._follow(watched, now, fresh=fresh)
        for consequence in watched.consequences:
            self._weigh(consequence, now)

    def _follow(self, watched: Watched, now: Instant, *, fresh: bool) -> None:
        """Tell people what a change of state means for them."""
        life, call = watched.life, watched.call
        if life.state is AlarmState.UNACKNOWLEDGED:
            if fresh:
                call.begin()
            call.step = 0
            self.next_round(watched, now)
        elif not life.standing:
            call.due = None
            call.held = call.held and call.sent == 0
            if not call.held and life.number:
                self.outputs += self.teller.over(watched, now)
            _forget_if_done(life)

    def _weigh(self, consequence: Watched, now: Instant) -> None:
        """A cause came or went: hold its consequence back, or judge it afresh."""
        life = consequence.life
        caused = consequence.caused
        if caused == life.suppressed or (caused and not life.standing):
            return
        before = life.state
        if caused:
            life.suppress()
        else:
            life.release(now)
        self._next_known = False
        self._changed(consequence, before, now)
        if life.state is AlarmState.UNACKNOWLEDGED and consequence.call.due is None:
            # It was told before its cause came, and rounds fell out since: go on where it stands.
            consequence.call.due = now + round(consequence.watch.on_delay_seconds * SECOND)

    def _changed(self, watched: Watched, before: AlarmState, now: Instant, by: str = "") -> None:
        life = watched.life
        if life.state is before:
            return
        condition, verdict = watched.watch.condition, life.verdict
        self.outputs.append(
            AlarmChanged(
                time=now,
                depot=self._plan.id,
                alarm=condition.alarm,
                source=condition.source,
                number=life.number,
                before=before,
                state=life.state,
                priority=watched.watch.priority,
                value=verdict.value,
                limit=verdict.limit,
                unit=verdict.unit,
                sentence=self.teller.sentence(watched),
                by=by,
            )
        )

    # -- plain data

    def freeze(self) -> dict[str, object]:
        """The desk as plain data."""
        return {
            "number": self.number,
            "held_since": self.held_since,
            "resumed": self.resumed,
            "letters": self.teller.letters,
            "alarms": {w.key: [w.life.freeze(), w.call.freeze()] for w in self.all},
        }

    def thaw(self, data: dict[str, object]) -> None:
        """Become what `freeze` wrote; alarms that the plan no longer has are left behind."""
        match data:
            case {
                "number": int(number),
                "held_since": int() | None as held_since,
                "resumed": int(resumed),
                "letters": int(letters),
                "alarms": dict(alarms),
            }:
                self.number, self.held_since, self.resumed = number, held_since, resumed
                self.teller.letters = letters
            case _:
                raise ValueError("not a desk's snapshot")
        for watched in self._known(alarms):
            life, call = alarms[watched.key]
            watched.life.thaw(life)
            watched.call.thaw(call)
        self._next_known = False

    def _known(self, alarms: dict[str, list[list[object]]]) -> Iterable[Watched]:
        return (watched for watched in self.all if watched.key in alarms)


def _forget_if_done(life: Life) -> None:
    """Over, and somebody had it: what comes next, even under a cause, is another occurrence."""
    if not life.standing and life.acknowledged:
        life.number = 0
