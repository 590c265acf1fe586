"""Makes each text that is due: to whoever can be reached, within the hourly cap, under an id that
no other text has."""

from collections.abc import Iterable

from brineward.alarms.condition import Site
from brineward.book.booked_alarm import BookedAlarm
from brineward.readings.instants import Instant
from brineward.readings.outputs import Notice, Priority, TextDue
from brineward.telling.calls import Call
from brineward.telling.hourly_cap import HourlyCap


class TextsDue:
    """The texts of one depot, each with its number."""

    def __init__(self, site: Site) -> None:
        self._depot = site.plan.id
        self._reach = site.watch.reach
        duty = site.plan.duty
        self.cap = HourlyCap(duty.most_texts_an_hour, duty.most_texts_a_minute, duty.unlimited)
        self.unnumbered = 0
        """How many texts there were about no single alarm; numbers the next."""

    def can_be_texted(self, person: str) -> bool:
        """Has the config this person still, and do they want texts?"""
        reach = self._reach.get(person)
        return reach is not None and not reach.opted_out

    def about(
        self,
        booked: BookedAlarm,
        call: Call,
        number: int,
        people: Iterable[str],
        *,
        notice: Notice,
        now: Instant,
    ) -> list[TextDue]:
        """To each of these people, about an occurrence of an alarm; held for who has no room."""
        texts = []
        for person in tuple(people):
            if not self.can_be_texted(person):
                continue
            if person not in call.told:
                call.told.append(person)
            if not self.cap.admits(person, booked.priority, now):
                self.cap.hold(person, booked.key, number)
                continue
            self.cap.forget(person, booked.key)
            call.sent, call.within = call.sent + 1, 0
            count = f"{number}-{notice.kind.replace(' ', '-')}-{call.sent}"
            texts.append(
                self._text(count, person, notice, now, number=number, priority=booked.priority)
            )
        return texts

    def of_depot(
        self, person: str, notice: Notice, now: Instant, priority: Priority = Priority.MEDIUM
    ) -> TextDue:
        """A text about no single alarm."""
        self.unnumbered += 1
        return self._text(
            f"0-{notice.kind}-{self.unnumbered}", person, notice, now, priority=priority
        )

    def _text(
        self,
        count: str,
        person: str,
        notice: Notice,
        now: Instant,
        *,
        number: int = 0,
        priority: Priority,
    ) -> TextDue:
        return TextDue(
            id=f"{self._depot}-{count}-{person}",
            time=now,
            depot=self._depot,
            number=number,
            person=person,
            kind=notice.kind,
            priority=priority,
            notice=notice,
        )
