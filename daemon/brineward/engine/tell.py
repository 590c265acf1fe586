"""Turns what happened to an alarm into texts that are due. Pure: state in, texts out."""

from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Literal

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import SECOND, Instant, local_from_instant
from brineward.readings.outputs import Output, Priority, TextDue
from brineward.wording import alarm_texts as words
from brineward.wording.gsm import SEGMENT_SEPTETS, shortened, to_gsm

if TYPE_CHECKING:
    from brineward.engine.desk import Watched

Kind = Literal["raised", "again", "over", "summary", "taken", "answer"]

WAKING_HOURS = (7, 21)
"""Low priorities are told between these hours of the depot's clock (common practice, no source)."""


class Teller:
    """Writes the texts of one depot."""

    def __init__(self, plan: DepotPlan) -> None:
        self._plan = plan
        self.letters = 0
        """How many texts were written that belong to no one alarm; numbers the next."""

    def not_before(self, priority: Priority, now: Instant) -> Instant:
        """When a first text may go out: now, or for low priorities the next morning."""
        if priority is not Priority.LOW:
            return now
        local = local_from_instant(now, self._plan.zone)
        first, last = WAKING_HOURS
        if first <= local.hour < last:
            return now
        day = local.date() + timedelta(days=1 if local.hour >= last else 0)
        morning = datetime.combine(day, time(first), tzinfo=self._plan.zone)
        # Through UTC, since a night in which the clocks change is an hour shorter or longer.
        return now + round((morning.timestamp() - local.timestamp()) * SECOND)

    def sentence(self, watched: "Watched") -> str:
        """One line for the log."""
        condition, verdict = watched.watch.condition, watched.life.verdict
        return words.sentence(self._plan, watched.watch.record, condition.source, verdict)

    def round(self, watched: "Watched", now: Instant, *, failed: str = "") -> list[Output]:
        """The texts of the next round of an alarm that nobody has taken; not to who `failed`."""
        life, call = watched.life, watched.call
        again = call.sent > 0
        condition = watched.watch.condition
        # Somebody whose texts fail is not told so by a text.
        but = condition.source if condition.alarm == "texts-failing" else ""
        people = call.next_round(
            self._plan.duty, watched.watch.priority, now, but=but, failed=failed
        )
        body = words.raised_text(
            self._plan,
            watched.watch.record,
            condition.source,
            life.verdict,
            number=life.number,
            since=life.since,
            now=now,
            again=again,
        )
        return [self._text(watched, now, p, "again" if again else "raised", body) for p in people]

    def over(self, watched: "Watched", now: Instant) -> list[Output]:
        """The texts to all who were told that it is over."""
        life = watched.life
        if not watched.call.told or watched.watch.priority is Priority.LOW:
            return []
        condition = watched.watch.condition
        body = words.over_text(
            self._plan,
            watched.watch.record,
            condition.source,
            life.verdict,
            number=life.number,
            since=life.since,
            now=now,
        )
        return [self._text(watched, now, p, "over", body) for p in tuple(watched.call.told)]

    def taken(self, watched: "Watched", now: Instant, others: list[str], by: str) -> list[Output]:
        """The texts to the others who were told that somebody has it."""
        condition = watched.watch.condition
        body = words.taken_text(
            self._plan,
            watched.watch.record,
            condition.source,
            watched.life.verdict,
            number=watched.life.number,
            by=by,
        )
        return [self._text(watched, now, p, "taken", body) for p in others]

    def summary(self, numbers: list[int], since: Instant, now: Instant) -> list[Output]:
        """The one text about alarms that came and went while nothing came through."""
        codes = [words.code(self._plan, number) for number in numbers]
        body = words.summary_text(self._plan, codes=codes, since=since, now=now)
        return [self._letter("summary", p, body, now) for p in self._plan.duty.on_call[:1]]

    def answer(self, person: str, body: str, now: Instant) -> Output:
        """The text that answers a person's own."""
        return self._letter("answer", person, shortened(to_gsm(body), SEGMENT_SEPTETS), now)

    def _letter(self, kind: Kind, person: str, body: str, now: Instant) -> TextDue:
        """A text that belongs to no one alarm."""
        self.letters += 1
        return TextDue(
            id=f"{self._plan.id}-0-{kind}-{self.letters}-{person}",
            time=now,
            depot=self._plan.id,
            number=0,
            person=person,
            kind=kind,
            priority=Priority.MEDIUM,
            body=body,
        )

    def _text(
        self, watched: "Watched", now: Instant, person: str, kind: Kind, body: str
    ) -> TextDue:
        call, number = watched.call, watched.life.number
        call.sent += 1
        if person not in call.told:
            call.told.append(person)
        return TextDue(
            id=f"{self._plan.id}-{number}-{kind}-{call.sent}-{person}",
            time=now,
            depot=self._plan.id,
            number=number,
            person=person,
            kind=kind,
            priority=watched.watch.priority,
            body=body,
        )
