"""The alarm book of one depot: judges conditions, lets alarms live, holds consequences back."""

from collections.abc import Iterator
from typing import Any, Literal, NamedTuple

from brineward.alarms.condition import Condition, Site, Words
from brineward.alarms.registry import ConfiguredAlarm, alarms_at
from brineward.book.life import Life
from brineward.plant.mode import ModeTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState


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
    )

    def __init__(self, configured: ConfiguredAlarm, mode: ModeTracker | None = None) -> None:
        self.configured = configured
        self.condition = configured.condition
        self.key = f"{configured.record.id}/{configured.condition.source}"
        self.life = Life(
            on_delay_seconds=configured.on_delay_seconds,
            off_delay_seconds=configured.off_delay_seconds,
        )
        self.looks = type(configured.condition).next_look is not Condition.next_look
        """Does it name deadlines of its own?"""
        self.look: Instant | None = None
        """When it is judged even if nothing comes; may be early, never late."""
        self.mode = mode or ModeTracker()
        """The depot's mode; without one it is in service."""
        self.causes: list[BookedAlarm] = []
        self.consequences: list[BookedAlarm] = []

    @property
    def quiet(self) -> bool:
        """Is what it judges as it should be in the depot's mode?"""
        return self.mode.mode in self.configured.record.quiet_in

    @property
    def caused(self) -> bool:
        """Is an alarm active that this one is a consequence of, or is it quiet in this mode?"""
        return self.quiet or any(c.life.active and not c.life.suppressed for c in self.causes)

    def words(self, now: Instant) -> Words:
        """What people read of it now."""
        if self.life.finding is None:
            return Words(self.life.past or self.configured.record.title.lower())
        return self.condition.words(self.life.finding, now)


class Change(NamedTuple):
    """What became of an alarm, and why."""

    booked: BookedAlarm
    why: Literal["judged", "cause", "taken"]
    """Its condition came or went, a cause of it did, or a person took it."""
    number: int
    """Of the occurrence, also where it is done with now."""
    state: AlarmState
    active: bool
    output: AlarmChanged | None
    """None where its state has the same name as before."""
    fresh: bool = False
    """It is a new occurrence."""
    by: str = ""
    """The person who took it."""


class AlarmBook:
    """All alarms of one depot."""

    def __init__(self, site: Site) -> None:
        self._depot = site.plan.id
        self._names = site.plan.duty.names
        mode = site.trackers.mode
        self.all = tuple(BookedAlarm(configured, mode) for configured in alarms_at(site))
        self.number = 0
        """The last occurrence's number."""
        self._looking = tuple(w for w in self.all if w.looks)
        self._next_wait: Instant | None = None
        self._next_look: Instant | None = None
        self._waits_known = self._looks_known = False
        self._after: dict[str, tuple[BookedAlarm, ...]] = {}
        for booked in self.all:
            by = booked.configured.record.suppressed_by
            booked.causes = [o for o in self.all if o.configured.record.id in by]
            for cause in booked.causes:
                cause.consequences.append(booked)
            for tracker in booked.condition.judged_after:
                self._after[tracker.name] = (*self._after.get(tracker.name, ()), booked)

    @property
    def next_deadline(self) -> Instant | None:
        """When a delay is over or a condition wants to be judged; None while nothing waits."""
        if not self._waits_known:
            waits = (w.life.wait for w in self.all)
            self._next_wait = min((one for one in waits if one is not None), default=None)
            self._waits_known = True
        if not self._looks_known:
            looks = (w.look for w in self._looking)
            self._next_look = min((one for one in looks if one is not None), default=None)
            self._looks_known = True
        wait, look = self._next_wait, self._next_look
        if wait is None or look is None:
            return look if wait is None else wait
        return wait if wait < look else look

    def judge(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """Ask a condition, and let its alarm live by what it says."""
        life, condition = booked.life, booked.condition
        verdict = condition.judge(now, life.active)
        judged = verdict.active
        waited = life.wait
        if judged or judged is not life.judged:
            life.judge(verdict, now)
        if booked.looks:
            look = condition.next_look(now)
            if look is not None and look > now and (booked.look is None or look < booked.look):
                booked.look = look
                self._looks_known = False
        wait = life.wait
        if wait != waited:
            self._waits_known = False
        return self._settle(booked, now) if wait is not None and wait <= now else []

    def judge_after(self, tracker: Tracker, now: Instant) -> list[Change]:
        """Judge all that is judged after a change of this tracker."""
        changes: list[Change] = []
        for booked in self._after.get(tracker.name, ()):
            changes += self.judge(booked, now)
        return changes

    def hear(self, tracker: Tracker, now: Instant) -> list[Change]:
        """The same after a report, but for what was clear and is at rest."""
        changes: list[Change] = []
        for booked in self._after.get(tracker.name, ()):
            life = booked.life
            if life.judged is False and life.wait is None and booked.condition.at_rest:
                continue
            found = self.judge(booked, now)
            if found:
                changes += found
        return changes

    def fire(self, deadline: Instant, now: Instant, *, silence_counts: bool) -> list[Change]:
        """Let happen what is due up to a deadline; looks wait while silence means nothing."""
        changes: list[Change] = []
        delayed = self._next_wait is not None and self._next_wait <= deadline
        for booked in self.all if delayed else self._looking:
            if booked.look is not None and booked.look <= deadline and silence_counts:
                booked.look = None
                self._looks_known = False
                changes += self.judge(booked, now)
            if booked.life.wait is not None and booked.life.wait <= deadline:
                changes += self._settle(booked, now)
        return changes

    def put_off_looks(self, deadline: Instant, until: Instant) -> None:
        """Nothing can be said of silence yet: look again then."""
        for booked in self._looking:
            if booked.look is not None and booked.look <= deadline:
                booked.look = until
        self._looks_known = False

    def take(self, number: int, by: str, now: Instant) -> list[Change]:
        """A person has the occurrence of this number."""
        changes: list[Change] = []
        for booked in self.all:
            life = booked.life
            if life.number == 0 or life.number != number:
                continue
            before = life.state
            if life.take():
                name = self._names.get(by, by)
                changes.append(self._change(booked, "taken", before, now, by=by, name=name))
                _forget_if_done(life)
        return changes

    def mode_changed(self, now: Instant) -> list[Change]:
        """The depot has another mode: hold back what is quiet in it, judge afresh what is not."""
        changes: list[Change] = []
        for booked in self.all:
            if booked.configured.record.quiet_in:
                changes += self._weigh_all(booked, now)
        return changes

    def _weigh_all(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """An alarm that its mode holds back or lets go, and what is a consequence of it."""
        changes = self._weigh(booked, now)
        if booked.quiet:
            _end_occurrence(booked.life)
        if changes:
            for consequence in booked.consequences:
                changes += self._weigh_all(consequence, now)
        return changes

    def shift(self, by: Instant, now: Instant) -> None:
        """The watch counts its time anew: what waits goes on waiting as long as it had to."""
        for booked in self.all:
            booked.life.shift(by)
            booked.look = booked.condition.next_look(now)
        self._waits_known = self._looks_known = False

    # -- what follows from what

    def _settle(self, booked: BookedAlarm, now: Instant) -> list[Change]:
        """A delay is over: let the alarm become what its condition says."""
        life = booked.life
        before = life.state
        if not life.suppressed and booked.caused:
            life.suppress()
        self._waits_known = False
        if not life.due(now):
            return []
        fresh = life.state is AlarmState.UNACKNOWLEDGED and life.number == 0
        if fresh:
            self.number += 1
            life.number = self.number
        if life.active:
            words = booked.words(now)
            life.past = words.past or words.headline
        changes = [self._change(booked, "judged", before, now, fresh=fresh)]
        _forget_if_done(life)
        if booked.quiet:
            _end_occurrence(life)
        for consequence in booked.consequences:
            changes += self._weigh(consequence, now)
        return changes

    def _weigh(self, consequence: BookedAlarm, now: Instant) -> list[Change]:
        """A cause came or went: hold its consequence back, or judge it afresh."""
        life = consequence.life
        caused = consequence.caused
        if caused == life.suppressed or (caused and not life.active):
            return []
        before = life.state
        if caused:
            life.suppress()
        else:
            life.release(now)
        self._waits_known = False
        return [self._change(consequence, "cause", before, now)]

    def _change(
        self,
        booked: BookedAlarm,
        why: Literal["judged", "cause", "taken"],
        before: AlarmState,
        now: Instant,
        *,
        fresh: bool = False,
        by: str = "",
        name: str = "",
    ) -> Change:
        life = booked.life
        output = self._output(booked, before, now, name)
        return Change(booked, why, life.number, life.state, life.active, output, fresh, by)

    def _output(
        self, booked: BookedAlarm, before: AlarmState, now: Instant, by: str
    ) -> AlarmChanged | None:
        life = booked.life
        if life.state is before:
            return None
        words, finding = booked.words(now), life.finding
        pieces = (words.headline, words.how_bad, words.time_left, words.detail)
        if not life.active and life.past:
            pieces = (life.past, "", "", "")
        sentence = ", ".join(piece for piece in pieces if piece)
        return AlarmChanged(
            time=now,
            depot=self._depot,
            alarm=booked.configured.record.id,
            source=booked.condition.source,
            number=life.number,
            before=before,
            state=life.state,
            priority=booked.configured.priority,
            value=None if finding is None else finding.value,
            limit=None if finding is None else finding.limit,
            unit="" if finding is None else finding.unit,
            sentence=sentence,
            by=by,
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


def _forget_if_done(life: Life) -> None:
    """Cleared, and somebody had it: what comes next, even under a cause, is another occurrence."""
    if not life.active and life.acknowledged:
        life.number = 0


def _end_occurrence(life: Life) -> None:
    """It needs nobody in this mode: what is so when the mode is over is another occurrence."""
    if life.active:
        life.take()
        life.number = 0
