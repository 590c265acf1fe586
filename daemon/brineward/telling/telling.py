"""Telling people, in stages: what a change means for them, whether news is too old to wake
anybody, when, whom, and in which words."""

from collections.abc import Iterable, Sequence
from typing import Any

from brineward.alarms.condition import Site
from brineward.book.booked_alarm import BookedAlarm, Change
from brineward.book.life_table import Event, Letter
from brineward.readings.entries import Shift
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Notice, NoticeKind, Priority, TextDue
from brineward.telling.again import known_as, why_again
from brineward.telling.calls import Call
from brineward.telling.first_text import clears_unsaid, told_at
from brineward.telling.handing_over import both_told, waiting
from brineward.telling.health import health_text, weekly_test_text
from brineward.telling.held_texts import HeldTexts
from brineward.telling.on_duty import OnDuty
from brineward.telling.pacing import next_round_at, not_before, pause_seconds
from brineward.telling.policy import Wish, wish_of
from brineward.telling.reminding import Reminding
from brineward.telling.rota import asleep, round_of
from brineward.telling.set_time import SetTime
from brineward.telling.texts_due import TextsDue
from brineward.telling.wording import HANDED_BACK, HANDED_OVER, NOT_CURED, Wordings

OLD_NEWS = 2 * MINUTE
"""What is raised by news older than this wakes nobody before the present is reached."""


class Telling:
    """Who was told what about one depot's alarms, and what is due next."""

    def __init__(self, site: Site, alarms: Sequence[BookedAlarm]) -> None:
        self._plan = site.plan
        self._watch = site.watch
        self._mode = site.trackers.mode
        self._wordings = Wordings(site.plan, site.watch.troubles)
        self._calls = {booked.key: (booked, Call()) for booked in alarms}
        self._reminding = Reminding(alarms, site.plan.zone)
        self.on_duty = OnDuty(site.plan)
        duty, self._site = site.plan.duty, site
        self._daily = SetTime(site.plan.zone, duty.daily_minutes)
        weekday, minutes = duty.test_at or (None, None)
        self._weekly = SetTime(site.plan.zone, minutes, weekday)
        self._texts = TextsDue(site)
        self._held_texts = HeldTexts(site.plan, self._calls, self._texts, self._wordings)
        self._held_since: Instant | None = None
        """Since when alarms have been held that old news raised."""
        self._resumed: Instant = 0
        """When the service last came back: no second round of an alarm is due before that."""
        self.next_deadline: Instant | None = None
        """When the next round is due; None while none waits."""
        self.unlooked = True
        """May there be something that depends on the clock, and was never checked?"""

    def holds(self) -> bool:
        """Is anything held until the present is reached?"""
        held = self._held_since is not None or self.on_duty.before is not None
        return held or self._texts.cap.behind

    def follow(self, change: Change, now: Instant, lag: int) -> list[TextDue]:
        """The texts that follow from what became of an alarm."""
        texts = list(self._follow(change, now, lag))
        self._find_next()
        return texts

    def _follow(self, change: Change, now: Instant, lag: int) -> Iterable[TextDue]:
        if change.event in (Event.REMOVED, Event.RETURNED):
            self._reminding.follow(now)
        wish = wish_of(change)
        if change.event is Event.SUPPRESSED:
            return self._hush(change, now)
        if wish is Wish.NOTHING:
            return self._reset_wanted(change, now)
        calls = wish in (Wish.CALL, Wish.CALL_ON, Wish.CALL_WHO_HAD_IT, Wish.CALL_NEXT)
        if calls:
            return self._call(change, wish, now, lag)
        return (*self._end_call(change, wish, now), *self._reset_wanted(change, now))

    def _hush(self, change: Change, now: Instant) -> Iterable[TextDue]:
        """What its cause holds back nobody can take: a siren that howls for it would howl on."""
        booked, call = change.booked, self._calls[change.booked.key][1]
        told = [person for person in call.told if person in self._plan.duty.unlimited]
        if not change.number or call.due is None or not told:
            return ()
        notice = self._wordings.own.waits(booked, change.number, now)
        return self._texts.about(booked, call, change.number, told, notice=notice, now=now)

    def _reset_wanted(self, change: Change, now: Instant) -> Iterable[TextDue]:
        """Whoever has a latched alarm whose condition is clear is told that it stays."""
        life = change.booked.life
        came = change.event in (Event.LATCHED, Event.TAKEN) and life.letter is Letter.F
        if not came or not life.taken_by:
            return ()
        notice = self._wordings.own.reset_wanted(change.booked, change.number)
        call = self._calls[change.booked.key][1]
        return self._texts.about(
            change.booked, call, change.number, [life.taken_by], notice=notice, now=now
        )

    def _call(self, change: Change, wish: Wish, now: Instant, lag: int) -> Iterable[TextDue]:
        """Somebody has to take it."""
        booked = change.booked
        call = self._calls[booked.key][1]
        match wish:
            case Wish.CALL_ON:
                if call.due is None:
                    call.due = now + round(booked.configured.on_delay_seconds * SECOND)
                return ()
            case Wish.CALL_NEXT:
                call.step, call.again = self._place_of(change.by, now) + 1, HANDED_BACK
                return self._round(booked, call, now, lag)
            case Wish.CALL_WHO_HAD_IT:
                call.step, call.again = self._place_of(change.by, now), NOT_CURED
                call.due = self._not_at_night(booked, now)
                if call.due > now:
                    return ()
            case _:
                if change.fresh:
                    call.begin()
                call.step, call.again = 0, why_again(change, now)
        return self._round(booked, call, now, lag)

    def _end_call(self, change: Change, wish: Wish, now: Instant) -> Iterable[TextDue]:
        """Nobody has to take it any more; whoever was told about it is told why."""
        booked, number = change.booked, change.number
        call = self._calls[booked.key][1]
        called = call.due is not None
        if wish is Wish.CLEARED:
            call.due = None
            call.held = call.held and call.sent == 0
            if not number or call.held:
                return ()
            told = call.told
            if clears_unsaid(booked):
                # A siren knows nothing by itself: unsaid, it would howl on.
                told = [person for person in told if person in self._plan.duty.unlimited]
            notice = self._wordings.own.cleared(booked, number, now)
            return self._texts.about(booked, call, number, told, notice=notice, now=now)
        call.stop()
        if not number or (wish is Wish.DONE and not called):
            return ()
        word = self._wordings.own.held_back if wish is Wish.HELD_BACK else self._wordings.own.taken
        others = [person for person in call.told if person != change.by]
        notice = word(booked, number, change.by, now)
        return self._texts.about(booked, call, number, others, notice=notice, now=now)

    def _place_of(self, person: str, now: Instant) -> int:
        """Their place in the order of being on call; the first where they have none."""
        order = self.on_duty.order(now)
        return order.index(person) if person in order else 0

    def _not_at_night(self, booked: BookedAlarm, now: Instant) -> Instant:
        """When to remind who has it; what has no fixed time to respond wakes nobody for that."""
        priority = booked.priority
        if priority is not Priority.HIGH and booked.configured.record.respond_seconds is None:
            priority = Priority.LOW
        return not_before(priority, self._plan.zone, now)

    def rounds_due(self, deadline: Instant, now: Instant, lag: int) -> list[TextDue]:
        """The texts of rounds that fell due up to a deadline."""
        texts: list[TextDue] = []
        if self.on_duty.due is not None and self.on_duty.due <= deadline:
            self.on_duty.look(now)
            texts += self._hand_over(now, lag)
        for booked, call in self._calls.values():
            if call.due is not None and call.due <= deadline:
                texts += self._round(booked, call, now, lag)
        texts += self._tell_held(now, lag)  # what a round has said just now is no longer held
        removed = self._reminding.remind(deadline, now)
        for person in self.on_duty.order(now)[:1] if removed else ():
            notice = self._wordings.own.reminder(removed, now)
            texts.append(self._texts.of_depot(person, notice, now))
        if self._daily.fell_due(deadline, now) and lag <= OLD_NEWS:
            alarms = [booked for booked, _ in self._calls.values()]
            for person in self._first_reachable(now):
                body = health_text(self._site, alarms, now, reader=person)
                texts += self.news(body, now)
        if self._weekly.fell_due(deadline, now) and lag <= OLD_NEWS:
            texts += self.news(weekly_test_text(self._wordings.plan), now, kind="test")
        self._find_next()
        return texts

    def declined(self, number: int, person: str, now: Instant, lag: int) -> list[TextDue]:
        """The person texted last will not take it: the next is texted now, not later."""
        calls = self._calls.values()
        about = any(b.life.number == number and person in c.told[-1:] for b, c in calls)
        return self.not_reached(number, person, now, lag) if number and about else []

    def not_reached(self, number: int, person: str, now: Instant, lag: int) -> list[TextDue]:
        """A text about an occurrence did not reach a person: the next is texted now, not later.

        `number` 0: none of what the person was told about did.
        """
        texts: list[TextDue] = []
        others = [p for p in self.on_duty.order(now) if p != person]
        for booked, call in self._calls.values():
            about = number in (booked.life.number, call.within)
            if not number:
                about = person in call.told[-1:]
            if others and about and call.due is not None and call.step <= len(others):
                texts += self._round(booked, call, now, lag, failed=person)
        self._find_next()
        return texts

    def _round(
        self,
        booked: BookedAlarm,
        call: Call,
        now: Instant,
        lag: int,
        *,
        failed: str = "",
    ) -> list[TextDue]:
        """Text whoever is next, if it is still so and nobody has it, and if it is time to.

        `failed` could not be reached.
        """
        call.due = None
        if booked.life.letter not in (Letter.B, Letter.E):
            return []
        if lag > OLD_NEWS:
            call.held = True
            if self._held_since is None:
                self._held_since = now
            return []
        at = told_at(self._plan, booked, call, now)
        if at > now:
            call.due = at
            return []
        texts = self._tell_round(booked, call, now, failed)
        if now < self._resumed:
            # It fell due while the watch was down, so it goes out now: the next one waits for it.
            call.no_sooner(self._resumed + round(self._pause(booked) * SECOND))
        return texts

    def _tell_round(
        self, booked: BookedAlarm, call: Call, now: Instant, failed: str
    ) -> list[TextDue]:
        priority, order = booked.priority, self.on_duty.order(now)
        before = order[call.step - 1 : call.step] if call.step else ()
        declined = before[0] if before and call.again == HANDED_BACK else ""
        never = self._opted_out()
        never.add(booked.condition.untold)
        # Whose text failed or who has declined leaves it to the next: also to who sleeps now.
        passed = {failed, declined}
        if priority is Priority.LOW:
            never |= passed
        never |= asleep(self._plan, priority, order, never | passed, now)
        people, place = round_of(order, priority, call.step, out_of_reach=never)
        call.step = place + 1
        if any(p != booked.condition.untold for p in order):
            # Where nobody can be reached now, somebody may opt in again.
            call.due = next_round_at(
                priority, now, step=place, people=len(order), pause_seconds=self._pause(booked)
            )
        number, texts = booked.life.number, []
        again, call.again = call.again, ""
        for person in people:
            if person == declined:
                continue  # they are texted again when it is everybody's turn next
            known = known_as(call, person, again)
            notice = self._wordings.of(person).raised(booked, number, now, known=known)
            texts += self._texts.about(booked, call, number, [person], notice=notice, now=now)
        call.latest = [p for p in people if p != declined and self._texts.can_be_texted(p)]
        return texts

    def _opted_out(self) -> set[str]:
        return {p for p, reach in self._watch.reach.items() if reach.opted_out}

    def _tell_held(self, now: Instant, lag: int) -> list[TextDue]:
        """Text what the cap has held to whoever has room now; later if it is old news."""
        cap = self._texts.cap
        if cap.due is None or cap.due > now:
            return []
        if lag > OLD_NEWS:
            cap.behind = True
            return []
        order = self.on_duty.order(now)
        sleep = asleep(self._plan, Priority.MEDIUM, order, self._opted_out(), now)
        return self._held_texts.tell(sleep, now)

    def _pause(self, booked: BookedAlarm) -> float:
        """How long whoever is texted has to take it, in seconds."""
        return pause_seconds(
            self._plan.duty.next_after_seconds,
            booked.configured.record.respond_seconds,
            storm_watch=self._mode.mode is Mode.STORM_WATCH,
        )

    # -- handing over

    def look_at_clock(self, now: Instant) -> None:
        """Time has come to the first entry: note who is on duty, and what is due when."""
        for one in (self.on_duty, self._daily, self._weekly):
            if one.unlooked:
                one.look(now)
        self.unlooked = False
        self._find_next()

    def rota_read(self, shifts: Sequence[Shift], now: Instant, lag: int) -> list[TextDue]:
        """The calendar outside says this now; it may hand over at once."""
        self.on_duty.read(shifts, now)
        texts = self._hand_over(now, lag)
        self._find_next()
        return texts

    def _hand_over(self, now: Instant, lag: int) -> list[TextDue]:
        """Tell both, and the new one of each alarm nobody has taken; later if it is old news."""
        handover = None if lag > OLD_NEWS else self.on_duty.say()
        if handover is None:
            return []
        calls = list(self._calls.values())
        said = both_told(self._wordings.plan, handover, calls, now, self.on_duty.due)
        texts = [
            self._texts.of_depot(person, Notice(kind="handover", plain=body), now)
            for person, body in said
            if self._texts.can_be_texted(person)
        ]
        if not self._texts.can_be_texted(handover.new):
            return texts  # the calls go on as they are: nobody is called twice for it
        for booked, call in waiting(calls):
            if handover.new not in call.latest:
                call.step, call.again = 0, HANDED_OVER
                texts += self._round(booked, call, now, lag)
        return texts

    def resume(self, now: Instant) -> None:
        """The service was down until now: rounds that fell due meanwhile are one round, now."""
        self._resumed = now
        self.on_duty.resume(now)
        self._texts.cap.no_sooner(now)
        for _, call in self._calls.values():
            call.no_sooner(now)
        self._find_next()

    def present(self, now: Instant, lag: int) -> list[TextDue]:
        """Is the present reached? Then what is still active is texted, the rest is one summary."""
        if lag > OLD_NEWS:
            return []
        self._texts.cap.behind = False
        texts = self._hand_over(now, lag) + self._tell_what_waited(now, lag)
        texts += self._tell_held(now, lag)
        self._find_next()
        return texts

    def _tell_what_waited(self, now: Instant, lag: int) -> list[TextDue]:
        """What old news raised: the rounds of what is still so, and one text of what is not."""
        if self._held_since is None:
            return []
        texts: list[TextDue] = []
        since, self._held_since = self._held_since, None
        gone: list[int] = []
        for booked, call in self._calls.values():
            if not call.held:
                continue
            call.held = False
            if booked.life.active or booked.life.latched:
                texts += self._round(booked, call, now, lag)
            else:
                gone.append(booked.life.number)
        for person in self.on_duty.order(now)[:1] if gone else ():
            notice = self._wordings.own.summary(sorted(gone), since, now)
            texts.append(self._texts.of_depot(person, notice, now))
        return texts

    def answer(self, person: str, body: str, now: Instant) -> TextDue:
        """The text that answers a person's own."""
        return self._texts.of_depot(person, Notice(kind="answer", plain=body), now)

    def count_on(self, unnumbered: int) -> None:
        """How many texts about no single alarm were numbered; new ones are numbered after them."""
        self._texts.unnumbered = max(self._texts.unnumbered, unnumbered)

    def not_before_resumed(self, at: Instant) -> Instant:
        """`at`, or when the service last came back: what fell due while it was down is due then."""
        return max(at, self._resumed)

    def news(self, body: str, now: Instant, kind: NoticeKind = "news") -> list[TextDue]:
        """One low text to the first on call who can be reached: news of the depot, no alarm."""
        people = self._first_reachable(now)
        notice = Notice(kind=kind, plain=body)
        return [self._texts.of_depot(person, notice, now, Priority.LOW) for person in people]

    def _first_reachable(self, now: Instant) -> tuple[str, ...]:
        order, never = self.on_duty.order(now), self._opted_out()
        return round_of(order, Priority.LOW, 0, out_of_reach=never).people

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        for _, call in self._calls.values():
            if call.due is not None:
                call.due += by
        self._reminding.shift(by)
        self._texts.cap.shift(by)
        self.on_duty.shift(by)
        self._daily.shift(by)
        self._weekly.shift(by)
        self.unlooked = True
        self._resumed = max(0, self._resumed + by)
        if self._held_since is not None:
            self._held_since = max(0, self._held_since + by)
        self._find_next()

    def _find_next(self) -> None:
        due = [call.due for _, call in self._calls.values() if call.due is not None]
        if self._reminding.due is not None:
            due.append(self._reminding.due)
        by_clock = (self.on_duty, self._daily, self._weekly, self._texts.cap)
        due += [one.due for one in by_clock if one.due is not None]
        self.next_deadline = min(due, default=None)

    # -- plain data

    def snapshot(self) -> dict[str, Any]:
        """Everything as plain data."""
        return {
            "unnumbered": self._texts.unnumbered,
            "cap": self._texts.cap.snapshot(),
            "held_since": self._held_since,
            "resumed": self._resumed,
            "reminding": self._reminding.snapshot(),
            "on_duty": self.on_duty.snapshot(),
            "daily": self._daily.snapshot(),
            "weekly": self._weekly.snapshot(),
            "calls": {key: call.snapshot() for key, (_, call) in self._calls.items()},
        }

    def restore(self, data: dict[str, Any]) -> None:
        """Become what `snapshot` wrote."""
        self._texts.unnumbered, self._held_since = data["unnumbered"], data["held_since"]
        self._resumed = data["resumed"]
        self._texts.cap.restore(data.get("cap"))
        self._reminding.restore(data.get("reminding"))
        self.on_duty.restore(data.get("on_duty"))
        self._daily.restore(data.get("daily"))
        self._weekly.restore(data.get("weekly"))
        for key, (_, call) in self._calls.items():
            if key in data["calls"]:
                call.restore(data["calls"][key])
        self.unlooked = True
        self._find_next()
