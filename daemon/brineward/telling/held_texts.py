"""Texts what the hourly cap has held back from a person, as one text, once there is room for it.

It gives each alarm's state by then: somebody who had no room for "raised" and for "cleared" reads
once that it cleared.
"""

from collections.abc import Container, Mapping
from typing import Final, NamedTuple

from brineward.book.booked_alarm import BookedAlarm
from brineward.book.life_table import Letter
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.outputs import Notice, TextDue
from brineward.telling.again import known_as
from brineward.telling.calls import Call
from brineward.telling.pacing import not_before
from brineward.telling.several_words import several_text
from brineward.telling.texts_due import TextsDue
from brineward.telling.wording import Wordings

_ASLEEP_PAUSE: Final = 10 * MINUTE
"""How long until it is checked again whether somebody sleeps (common practice, no source)."""

_CALLING: Final = (Letter.B, Letter.E)
_THEIRS: Final = (Letter.C, Letter.F)


class _Held(NamedTuple):
    booked: BookedAlarm
    call: Call
    number: int

    @property
    def gone(self) -> bool:
        """Has this occurrence ended, or its condition cleared?"""
        life = self.booked.life
        return life.number != self.number or not (life.active or life.latched or life.held)

    @property
    def calls(self) -> bool:
        """Does it still wait for somebody to take it?"""
        return not self.gone and self.booked.life.letter in _CALLING

    def known_to(self, person: str) -> bool:
        """Have they taken it themselves, with nothing new to be told about it?"""
        life = self.booked.life
        return not self.gone and life.letter is Letter.C and life.taken_by == person


class HeldTexts:
    """What is held of the people of one depot."""

    def __init__(
        self,
        plan: DepotPlan,
        calls: Mapping[str, tuple[BookedAlarm, Call]],
        texts: TextsDue,
        wordings: Wordings,
    ) -> None:
        self._plan, self._calls, self._texts, self._wordings = plan, calls, texts, wordings

    def tell(self, asleep: Container[str], now: Instant) -> list[TextDue]:
        """The texts to whom there is room for now; `asleep` are woken by high alarms alone."""
        texts: list[TextDue] = []
        cap = self._texts.cap
        for person, numbers in cap.ready(now):
            held = self._what_is_held(numbers, person)
            if not held or not self._texts.can_be_texted(person):
                cap.told(person)
                continue
            at = not_before(held[0].booked.priority, self._plan.zone, now)
            if person in asleep:
                at = max(at, now + _ASLEEP_PAUSE)
            if at > now:
                cap.put_off(person, at)
                continue
            cap.told(person)
            texts += self._one_text(person, held, now)
        return texts

    def _what_is_held(self, numbers: Mapping[str, int], person: str) -> list[_Held]:
        """The gravest that nobody has first, without what the person knows."""
        found = [
            _Held(*self._calls[key], number)
            for key, number in numbers.items()
            if key in self._calls
        ]
        found = [one for one in found if not one.known_to(person)]
        return sorted(found, key=lambda e: (not e.calls, -e.booked.priority.rank, e.number))

    def _one_text(self, person: str, held: list[_Held], now: Instant) -> list[TextDue]:
        first, *others = held
        call, number = first.call, first.number
        if not others and first.calls:
            known = known_as(call, person, "")
            notice = self._wordings.of(person).raised(first.booked, number, now, known=known)
        else:
            notice = self._several(person, held, now)
        texts = self._texts.about(first.booked, call, number, [person], notice=notice, now=now)
        for one in others:
            if person in one.call.latest:
                one.call.within = number
        return texts

    def _several(self, person: str, held: list[_Held], now: Instant) -> Notice:
        plan = self._wordings.plan
        calling: list[tuple[str, str]] = []
        in_hand: list[str] = []
        gone: list[str] = []
        to_reset: list[str] = []
        for one in held:
            code, life = plan.code(one.number), one.booked.life
            if one.calls:
                calling.append((code, one.booked.words(now).headline))
            elif one.gone:
                gone.append(code)
            elif life.letter in _THEIRS and life.taken_by == person:
                to_reset.append(code)
            else:
                in_hand.append(code)
        body = several_text(plan, calling=calling, in_hand=in_hand, gone=gone, to_reset=to_reset)
        return Notice(kind="several", plain=body, also=tuple(one.number for one in held[1:]))
