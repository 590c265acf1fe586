"""Telling people, in stages: what a change means for them, whether news is too old to wake
anybody, when, who, and in which words."""

from collections.abc import Iterable
from typing import Any

from brineward.alarms.condition import Site
from brineward.book.book import BookedAlarm, Change
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmState, Notice, Priority, TextDue
from brineward.telling.calls import Call
from brineward.telling.pacing import next_round_at, not_before
from brineward.telling.policy import Wish, wish_of
from brineward.telling.rota import round_of
from brineward.telling.wording import NOT_TAKEN, RETURNED, STILL, Wording

OLD_NEWS = 2 * MINUTE
"""What is raised by news older than this wakes nobody before the present is reached."""


class Telling:
    """Who was told what of one depot's alarms, and what is due next."""

    def __init__(self, site: Site, alarms: Iterable[BookedAlarm]) -> None:
        self._plan = site.plan
        self._watch = site.watch
        self._wording = Wording(site.plan)
        self._calls = {booked.key: (booked, Call()) for booked in alarms}
        self.unnumbered = 0
        """How many texts there were about no one alarm; numbers the next."""
        self._held_since: Instant | None = None
        """Since when alarms have been held that old news raised."""
        self._resumed: Instant = 0
        """When the watch last came back: no second round of an alarm is due before that."""
        self._next: Instant | None = None

    @property
    def next_deadline(self) -> Instant | None:
        """When the next round is due; None while none waits."""
        return self._next

    @property
    def holds(self) -> bool:
        """Is anything held until the present is reached?"""
        return self._held_since is not None

    def follow(self, change: Change, now: Instant, lag: int) -> list[TextDue]:
        """The texts that follow from what became of an alarm."""
        texts = list(self._follow(change, now, lag))
        self._find_next()
        return texts

    def _follow(self, change: Change, now: Instant, lag: int) -> Iterable[TextDue]:
        booked = change.booked
        call = self._calls[booked.key][1]
        match wish_of(change):
            case Wish.CALL:
                if change.fresh:
                    call.begin()
                call.step = 0
                return self._round(booked, call, now, lag)
            case Wish.CALL_ON if call.due is None:
                call.due = now + round(booked.configured.on_delay_seconds * SECOND)
            case Wish.CLEARED:
                call.due = None
                call.held = call.held and call.sent == 0
                if (
                    change.number
                    and not call.held
                    and booked.configured.priority is not Priority.LOW
                ):
                    notice = self._wording.cleared(booked, change.number, now)
                    return self._to(call.told, booked, change.number, notice, now)
            case Wish.TAKEN:
                call.stop()
                others = [person for person in call.told if person != change.by]
                notice = self._wording.taken(booked, change.number, change.by, now)
                return self._to(others, booked, change.number, notice, now)
            case _:
                pass
        return ()

    def rounds_due(self, deadline: Instant, now: Instant, lag: int) -> list[TextDue]:
        """The texts of rounds that fell due up to a deadline."""
        texts: list[TextDue] = []
        for booked, call in self._calls.values():
            if call.due is not None and call.due <= deadline:
                texts += self._round(booked, call, now, lag)
        self._find_next()
        return texts

    def not_reached(self, number: int, person: str, now: Instant, lag: int) -> list[TextDue]:
        """A text of an occurrence did not reach a person: the next is told now, not later.

        `number` 0: none of what the person was told about did.
        """
        texts: list[TextDue] = []
        others = [p for p in self._plan.duty.on_call if p != person]
        for booked, call in self._calls.values():
            about = booked.life.number == number if number else person in call.told[-1:]
            if others and about and call.due is not None and call.step <= len(others):
                texts += self._round(booked, call, now, lag, failed=person)
        self._find_next()
        return texts

    def _round(
        self, booked: BookedAlarm, call: Call, now: Instant, lag: int, *, failed: str = ""
    ) -> list[TextDue]:
        """Text whoever is next, if it is still active and nobody has it, and if it is time to."""
        call.due = None
        life, priority = booked.life, booked.configured.priority
        if life.state is not AlarmState.UNACKNOWLEDGED:
            return []
        if lag > OLD_NEWS:
            call.held = True
            if self._held_since is None:
                self._held_since = now
            return []
        morning = not_before(priority, self._plan.zone, now)
        if morning > now:
            call.due = morning
            return []
        texts = self._tell_round(booked, call, now, failed)
        call.no_sooner(self._resumed)
        return texts

    def _tell_round(
        self, booked: BookedAlarm, call: Call, now: Instant, failed: str
    ) -> list[TextDue]:
        duty, priority = self._plan.duty, booked.configured.priority
        never = {p for p, reach in self._watch.reach.items() if reach.opted_out}
        never.add(booked.condition.untold)
        if priority is Priority.LOW:
            never.add(failed)
        step, pause, everybody = call.step, duty.next_after_seconds, len(duty.on_call)
        people, place = round_of(duty, priority, step, out_of_reach=never)
        call.step = place + 1
        if any(p != booked.condition.untold for p in duty.on_call):
            # Where nobody can be reached now, somebody may opt in again.
            call.due = next_round_at(
                priority, now, step=place, people=everybody, pause_seconds=pause
            )
        number, texts = booked.life.number, []
        for person in people:
            known = self._known(call, person, step)
            notice = self._wording.raised(booked, number, now, known=known)
            texts += self._to([person], booked, number, notice, now)
        return texts

    def _known(self, call: Call, person: str, step: int) -> str:
        if person in call.told:
            return RETURNED if step == 0 else STILL
        return NOT_TAKEN if call.told else ""

    def resume(self, now: Instant) -> None:
        """The watch was down until now: rounds that fell due meanwhile are one round, now."""
        self._resumed = now
        for _, call in self._calls.values():
            call.no_sooner(now)
        self._find_next()

    def present(self, now: Instant, lag: int) -> list[TextDue]:
        """Is the present reached? Then what is still active is told, the rest is one summary."""
        if self._held_since is None or lag > OLD_NEWS:
            return []
        since, self._held_since = self._held_since, None
        gone: list[int] = []
        texts: list[TextDue] = []
        for booked, call in self._calls.values():
            if not call.held:
                continue
            call.held = False
            if booked.life.active:
                texts += self._round(booked, call, now, lag)
            else:
                gone.append(booked.life.number)
        self._find_next()
        for person in self._plan.duty.on_call[:1] if gone else ():
            notice = self._wording.summary(sorted(gone), since, now)
            texts.append(self._unnumbered(person, notice, now))
        return texts

    def answer(self, person: str, body: str, now: Instant) -> TextDue:
        """The text that answers a person's own."""
        return self._unnumbered(person, Notice(kind="answer", plain=body), now)

    def not_before_resumed(self, at: Instant) -> Instant:
        """`at`, or when the watch last came back: what fell due while it was down is said then."""
        return max(at, self._resumed)

    def news(self, body: str, now: Instant) -> list[TextDue]:
        """One low text to the first on call who can be reached: news of the depot, no alarm."""
        never = {p for p, reach in self._watch.reach.items() if reach.opted_out}
        people, _ = round_of(self._plan.duty, Priority.LOW, 0, out_of_reach=never)
        notice = Notice(kind="news", plain=body)
        return [self._unnumbered(person, notice, now, Priority.LOW) for person in people]

    def shift(self, by: Instant) -> None:
        """The watch counts its time anew, `by` milliseconds from where it was."""
        for _, call in self._calls.values():
            if call.due is not None:
                call.due += by
        self._resumed = max(0, self._resumed + by)
        if self._held_since is not None:
            self._held_since = max(0, self._held_since + by)
        self._find_next()

    def _to(
        self, people: Iterable[str], booked: BookedAlarm, number: int, notice: Notice, now: Instant
    ) -> list[TextDue]:
        call = self._calls[booked.key][1]
        texts = []
        for person in tuple(people):
            reach = self._watch.reach.get(person)
            if reach is None or reach.opted_out:
                continue  # who has left since the config was changed is not called any more
            call.sent += 1
            if person not in call.told:
                call.told.append(person)
            count, priority = f"{number}-{notice.kind}-{call.sent}", booked.configured.priority
            texts.append(self._text(count, person, notice, now, number=number, priority=priority))
        return texts

    def _unnumbered(
        self, person: str, notice: Notice, now: Instant, priority: Priority = Priority.MEDIUM
    ) -> TextDue:
        """A text about no one alarm."""
        self.unnumbered += 1
        count = f"0-{notice.kind}-{self.unnumbered}"
        return self._text(count, person, notice, now, priority=priority)

    def _text(
        self,
        count: str,
        person: str,
        notice: Notice,
        now: Instant,
        *,
        number: int = 0,
        priority: Priority = Priority.MEDIUM,
    ) -> TextDue:
        return TextDue(
            id=f"{self._plan.id}-{count}-{person}",
            time=now,
            depot=self._plan.id,
            number=number,
            person=person,
            kind=notice.kind,
            priority=priority,
            notice=notice,
        )

    def _find_next(self) -> None:
        due = [call.due for _, call in self._calls.values() if call.due is not None]
        self._next = min(due, default=None)

    # -- plain data

    def snapshot(self) -> dict[str, Any]:
        """Everything as plain data."""
        return {
            "unnumbered": self.unnumbered,
            "held_since": self._held_since,
            "resumed": self._resumed,
            "calls": {key: call.snapshot() for key, (_, call) in self._calls.items()},
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Become what `snapshot` wrote."""
        self.unnumbered, self._held_since = data["unnumbered"], data["held_since"]
        self._resumed = data["resumed"]
        for key, (_, call) in self._calls.items():
            if key in data["calls"]:
                call.restore(data["calls"][key])
        self._find_next()
