"""The alarm book of one depot: judges conditions, moves alarms on, holds consequences back."""

from collections.abc import Iterator
from typing import Any

from brineward.alarms.causes import may_explain
from brineward.alarms.condition import Site, Verdict
from brineward.alarms.registry import alarms_at, silences_never_announced_at
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.book.handling import handled, is_meant, named_number
from brineward.book.life import Life, Turn
from brineward.book.life_table import Event
from brineward.book.shelving import comes_back_at
from brineward.plant.tracker import Tracker
from brineward.readings.entries import Handling
from brineward.readings.instants import SECOND, Instant, earliest
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.watch.unwatched import Blind
from brineward.wording.operator_units import duration


class AlarmBook:
    """All alarms of one depot."""

    def __init__(self, site: Site) -> None:
        self._depot = site.plan.id
        self._names = site.plan.duty.names
        self._unwatched = site.watch.unwatched
        mode, both = site.trackers.mode, (*alarms_at(site), *silences_never_announced_at(site))
        self.all = tuple(BookedAlarm(configured, mode) for configured in both)
        self.number = 0
        """The last occurrence's number."""
        self._looking = tuple(w for w in self.all if w.looks)
        self._silences = tuple(w for w in self._looking if w.condition.looks_wander)
        self._next_wait: Instant | None = None
        self._next_look: Instant | None = None
        self._next: Instant | None = None
        self._waits_known = self._looks_known = False
        self._after: dict[str, tuple[BookedAlarm, ...]] = {}
        for booked in self.all:
            record, source = booked.configured.record, booked.condition.source
            near = [o for o in self.all if may_explain(site.plan, o.condition.source, source)]
            booked.causes = [o for o in near if o.configured.record.id in record.suppressed_by]
            booked.once_under = [o for o in near if o.configured.record.id in record.once_under]
            for cause in (*booked.causes, *booked.once_under):
                cause.consequences.append(booked)
            for tracker in booked.condition.judged_after:
                self._after[tracker.name] = (*self._after.get(tracker.name, ()), booked)
        self._heard = {
            name: tuple((one, one.life, one.rests) for one in after)
            for name, after in self._after.items()
        }
        """The same for `hear`, which is called for every reading."""

    @property
    def next_deadline(self) -> Instant | None:
        """When a delay is over or a condition wants to be judged; None while nothing waits."""
        if not (self._waits_known and self._looks_known):
            self._find_next()
        return self._next

    def _find_next(self) -> None:
        if not self._waits_known:
            self._next_wait = earliest(*[w.life.deadline for w in self.all])
            self._waits_known = True
        if not self._looks_known:
            self._next_look = min(
                [look for w in self._looking if (look := w.look) is not None], default=None
            )
            self._looks_known = True
        self._next = earliest(self._next_wait, self._next_look)

    def judge(
        self, booked: BookedAlarm, now: Instant, verdict: Verdict | None = None
    ) -> list[Change]:
        """Ask a condition, unless its verdict is given, and apply the verdict to its alarm."""
        life, condition = booked.life, booked.condition
        if verdict is None:
            verdict = condition.judge(now, life.active)
        judged, before = verdict.active, life.judged
        if judged is False and before is False and life.wait is None and not booked.looks:
            return []  # clear, as it was: what most are asked for
        waited = life.wait
        changes: list[Change] = []
        if judged or judged is not life.judged:
            changes = self._hear_verdict(booked, verdict, now)
        if booked.looks:
            self._look_again(booked, now)
        wait = life.wait
        if wait != waited:
            self._waits_known = False
        if wait is not None and wait <= now:
            changes += self._settle(booked, now)
        if judged is None or judged is not before:
            changes += self._weigh_blindness(booked, verdict, now)
        if judged is not before or booked.picks:
            changes += self._let_out(booked, now)
        return changes

    def _look_again(self, booked: BookedAlarm, now: Instant) -> None:
        """Keep when a condition must be judged even if nothing comes, if that is sooner."""
        look = booked.condition.next_look(now)
        if look is not None and look > now and (booked.look is None or look < booked.look):
            booked.look = look
            if self._next_look is None or look < self._next_look:
                self._next_look = look
                self._next = earliest(self._next, look)

    def _let_out(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """What an alarm explains no longer, and what is explained no longer itself, is released.

        Nothing is held back again by this: what was announced stays so while findings change. What
        has become too grave to be held back was long active, and is announced at once.
        """
        changes: list[Change] = []
        for one in (booked, *booked.consequences):
            if one.life.suppressed:
                changes += self._weigh(one, now)
                if one.speaks_up and one.life.wait is not None:
                    one.life.wait = now
                    changes += self._settle(one, now)
        return changes

    def _hear_verdict(self, booked: BookedAlarm, verdict: Verdict, now: Instant) -> list[Change]:
        """A condition is active, or says something else than before."""
        life, before = booked.life, booked.life.state
        lingered = life.chatter.lingers
        life.judge(verdict, now)
        changes: list[Change] = []
        found = verdict.finding
        if found is not None and found.may_be_graver and life.active:
            known, named = life.priority, life.named
            turn = life.graver(now)
            if (life.priority, life.named) != (known, named):
                self._remember_words(booked, now)
            if turn is not None:
                self._waits_known = False  # it may have ended a shelving, or a take's patience
                risen = life.priority is not known
                joined = ", ".join(name for name in life.named if name not in named)
                why = f"graver: {life.priority} now" if risen else f"now: {joined}"
                changes.append(self._change(booked, turn, before, now, why=why))
        if life.chatter.lingers is not lingered:
            changes += self._weigh_consequences(booked, now)
        return changes

    def _weigh_blindness(self, booked: BookedAlarm, verdict: Verdict, now: Instant) -> list[Change]:
        """An alarm has become blind, or can see again; a silent sensor blinds what it serves."""
        record, blind = booked.configured.record, None
        if verdict.blind and record.danger:
            blind = Blind(
                record.danger, record.priority, verdict.why, verdict.sensors, now, record.quiet_in
            )
        changes: list[Change] = []
        if self._unwatched.note(booked.key, blind):
            changes += self.judge_after(self._unwatched, now)
        for sensor in booked.condition.blinds if verdict.active else ():
            for served in self._after[sensor.name]:
                # A delay under way ends as it began: what was seen before the silence counts.
                if served.configured.record.danger and served.life.wait is None:
                    changes += self.judge(served, now, served.condition.without(sensor))
            if self._unwatched.without(sensor.plan.id):
                changes += self.judge(booked, now)  # it names what it has blinded
        return changes

    def judge_after(self, tracker: Tracker, now: Instant) -> list[Change]:
        """Judge all that is judged after a change of this tracker."""
        changes: list[Change] = []
        for booked in self._after.get(tracker.name, ()):
            changes += self.judge(booked, now)
        return changes

    def hear(self, tracker: Tracker, now: Instant) -> list[Change]:
        """The same after a report, but for what was clear and is at rest."""
        changes: list[Change] = []
        for booked, life, rests in self._heard.get(tracker.name, ()):
            if rests and life.judged is False and life.wait is None and booked.condition.at_rest():
                continue
            found = self.judge(booked, now)
            if found:
                changes += found
        return changes

    def fire(self, deadline: Instant, now: Instant, *, silence_counts: bool) -> list[Change]:
        """Do what is due up to a deadline; scheduled checks wait while silence means nothing."""
        changes: list[Change] = []
        delayed = self._next_wait is not None and self._next_wait <= deadline
        if silence_counts:
            self._move_looks_on(now)
        for booked in self.all if delayed else self._looking:
            if booked.look is not None and booked.look <= deadline and silence_counts:
                booked.look = None
                self._looks_known = False
                changes += self.judge(booked, now)
            if delayed:
                changes += self._settle_all(booked, deadline, now)
        return changes

    def _move_looks_on(self, now: Instant) -> None:
        """Forget old checks of sensors that have reported since: else each fires one by one."""
        for booked in self._silences:
            known, life = booked.look, booked.life
            if known is not None and life.judged is False and life.wait is None:
                look = booked.condition.next_look(now)
                if look is not None and look > known and look > now:
                    booked.look = look
                    self._looks_known = False

    def _settle_all(self, booked: BookedAlarm, deadline: Instant, now: Instant) -> list[Change]:
        """What an alarm's own deadlines come to."""
        life, changes = booked.life, []
        if life.wait is not None and life.wait <= deadline:
            changes += self._settle(booked, now)
        if life.comes_back_at is not None and life.comes_back_at <= deadline:
            changes += self._come_back(booked, now)
        hold = life.shelved
        if hold is not None and hold.until is not None and hold.until <= deadline:
            changes += self._end_of_shelving(booked, now)
        return changes

    def put_off_looks(self, deadline: Instant, until: Instant) -> None:
        """Nothing can be said of silence yet: look again then."""
        for booked in self._looking:
            if booked.look is not None and booked.look <= deadline:
                booked.look = until
        self._looks_known = False

    # -- what people do

    def take(self, number: int, by: str, now: Instant) -> list[Change]:
        """A person has the occurrence of this number."""
        changes: list[Change] = []
        for booked in self.all:
            life = booked.life
            if life.number == 0 or life.number != number:
                continue
            before = life.state
            record, again = booked.configured.record, life.taken_at > 0
            back = comes_back_at(record, life.priority, life.finding, now, taken_before=again)
            turn = life.take(by, back, now)
            if turn is not None:
                self._waits_known = False
                changes.append(self._change(booked, turn, before, now, by=by))
        return changes

    def handle(self, handling: Handling, now: Instant) -> list[Change]:
        """A person does something else with an alarm; nothing where it can't be done."""
        changes: list[Change] = []
        for booked in self.all:
            life, configured = booked.life, booked.configured
            if not is_meant(life, configured, handling):
                continue
            before, explained = life.state, life.explains
            turn = handled(life, configured, handling, now)
            if turn is not None:
                by, why = handling.by, handling.why
                changes.append(self._change(booked, turn, before, now, by=by, why=why))
                self._waits_known = False
            if life.explains is not explained:
                changes += self._weigh_consequences(booked, now)
        return changes

    def _end_of_shelving(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        before = booked.life.state
        turn = booked.life.unshelve(now)
        self._waits_known = False
        return [self._change(booked, turn, before, now, why="its time is over")]

    def _come_back(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """Taken long ago, and not cured: it is announced again, first to who has it."""
        life = booked.life
        before, who = life.state, life.taken_by
        record, since = booked.configured.record, life.taken_at
        if life.put_off(now, comes_back_at(record, life.priority, life.finding, now)):
            self._waits_known = False
            return []
        ago = f"{duration((now - since) / SECOND)} ago" if since else "long ago"
        why = f"taken {ago}, and not cured"
        turn = life.overdue(now)
        self._waits_known = False
        return [] if turn is None else [self._change(booked, turn, before, now, by=who, why=why)]

    # -- what the depot is used for

    def mode_changed(self, now: Instant) -> list[Change]:
        """The depot has another mode: hold back what is quiet in it, judge again what is not."""
        changes: list[Change] = []
        for booked in self.all:
            if booked.configured.record.quiet_in:
                changes += self._weigh_all(booked, now)
        return changes

    def _weigh_all(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """An alarm that its mode holds back or releases, and its consequences."""
        changes = self._weigh(booked, now)
        if booked.quiet:
            booked.life.end_occurrence()
            self._waits_known = False
        if changes:
            for consequence in booked.consequences:
                changes += self._weigh_all(consequence, now)
        return changes

    def shift(self, by: Instant, now: Instant) -> None:
        """The clock was set: what waits goes on waiting for as long as it had left."""
        for booked in self.all:
            booked.life.shift(by)
            booked.look = booked.condition.next_look(now)
        self._waits_known = self._looks_known = False

    # -- what follows from what

    def _settle(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """A delay has ended: the alarm becomes what its condition says."""
        life = booked.life
        before = life.state
        explained = life.explains
        caused = booked.caused
        if caused and not life.suppressed:
            life.suppress()
        elif life.suppressed and not caused:
            life.release(now)  # its cause is still active, but it was seen to be good meanwhile
        self._waits_known = False
        turn = life.due(now)
        changes: list[Change] = []
        if turn is not None:
            if life.active:
                self._remember_words(booked, now)
            changes.append(self._change(booked, turn, before, now))
        if turn is not None or life.explains is not explained:
            changes += self._weigh_consequences(booked, now)
        return changes

    def _remember_words(self, booked: BookedAlarm, now: Instant) -> None:
        """Keep the words for when it has cleared: of the gravest that it was found to be."""
        words = booked.words(now)
        booked.life.past = words.past or words.headline

    def _weigh_consequences(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        return [change for one in booked.consequences for change in self._weigh(one, now)]

    def _weigh(self, consequence: BookedAlarm, now: Instant) -> list[Change]:
        """A cause came or went: hold its consequence back, or judge it again."""
        life = consequence.life
        caused = consequence.caused
        if caused == life.suppressed or (caused and not life.active):
            return []
        before = life.state
        turn = life.suppress() if caused else life.release(now)
        self._waits_known = False
        return [self._change(consequence, turn, before, now)]

    def _change(
        self,
        booked: BookedAlarm,
        turn: Turn,
        before: AlarmState,
        now: Instant,
        *,
        by: str = "",
        why: str = "",
    ) -> Change:
        life = booked.life
        fresh = turn.announced and life.number == 0
        if fresh:
            self.number += 1
            life.number = self.number
        output = None
        if life.state is not before or turn.announced or _goes_on_in_sight(life, turn):
            output = self._output(booked, turn, before, now, by=by, why=why)
        change = Change(
            booked,
            turn.event,
            life.number,
            life.state,
            life.active,
            output,
            turn.announced,
            fresh,
            by,
        )
        life.forget_if_done()
        return change

    def _output(
        self,
        booked: BookedAlarm,
        turn: Turn,
        before: AlarmState,
        now: Instant,
        *,
        by: str,
        why: str,
    ) -> AlarmChanged:
        life, finding = booked.life, booked.life.finding
        words = booked.words(now)
        pieces = (words.headline, words.how_bad, words.time_left, words.detail)
        if not life.active and not life.latched and life.past:
            pieces = (life.past, "", "", "")
        sentence = ", ".join(piece for piece in pieces if piece)
        if life.state is AlarmState.SUPPRESSED and not why:
            why = ", ".join(c.configured.record.id for c in booked.held_back_by)
        # Nobody did it where a take comes back by itself.
        who = "" if turn.event is Event.OVERDUE else self._names.get(by, by)
        hold = life.out_of_service or life.shelved
        if hold is not None and not by:
            who, why = self._names.get(hold.by, hold.by), why or hold.why
        return AlarmChanged(
            time=now,
            depot=self._depot,
            alarm=booked.configured.record.id,
            source=booked.condition.source,
            number=named_number(life),
            before=before,
            state=life.state,
            priority=life.priority,
            value=None if finding is None else finding.value,
            limit=None if finding is None else finding.limit,
            unit="" if finding is None else finding.unit,
            sentence=sentence,
            by=who,
            why=why,
            until=None if hold is None else hold.until,
        )

    # -- plain data

    def snapshot(self) -> dict[str, Any]:
        """The book as plain data."""
        return {
            "number": self.number,
            "alarms": {w.key: [w.life.snapshot(), w.look] for w in self.all},
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Become what `snapshot` wrote; alarms that the plan no longer has are left behind."""
        self.number = data["number"]
        for booked in self._known(data["alarms"]):
            life, booked.look = data["alarms"][booked.key]
            booked.life.restore(life, booked.condition.finding)
        self._waits_known = self._looks_known = False

    def _known(self, alarms: dict[str, Any]) -> Iterator[BookedAlarm]:
        return (booked for booked in self.all if booked.key in alarms)


def _goes_on_in_sight(life: Life, turn: Turn) -> bool:
    """Did its condition come or go while a person holds it back? That is kept in the records."""
    judged = turn.event in (Event.RAISED, Event.CLEARED, Event.LATCHED)
    return judged and (life.shelved is not None or life.out_of_service is not None)
