"""What a person is told, as a notice in the depot's own words, units and clock."""

from dataclasses import replace

from brineward.alarms import replies_unheard
from brineward.alarms.record import AlarmRecord
from brineward.book.booked_alarm import BookedAlarm
from brineward.book.chatter import OFTEN
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant
from brineward.readings.outputs import Notice, Priority
from brineward.telling.handover_words import codes_named
from brineward.watch.troubles import Troubles


class Wordings:
    """The wording for each person of a depot, in the units that they read."""

    def __init__(self, plan: DepotPlan, troubles: Troubles) -> None:
        self._troubles = troubles
        unheard = replace(plan.duty, replies=False, replies_fail=True)
        self._plan, self._plan_unheard = plan, replace(plan, duty=unheard)
        self._made: dict[tuple[bool, bool], Wording] = {}

    @property
    def plan(self) -> DepotPlan:
        """The plan with the way in which people can answer just now."""
        unheard = self._troubles.sentence(replies_unheard.RECORD.id)
        return self._plan_unheard if unheard and self._plan.duty.replies_one_way else self._plan

    @property
    def own(self) -> "Wording":
        """The wording in the depot's own units."""
        return self._of(self.plan)

    def of(self, person: str) -> "Wording":
        """The wording for this person; the depot's own for whoever has none of theirs."""
        return self._of(self.plan.as_read_by(person))

    def _of(self, plan: DepotPlan) -> "Wording":
        return self._made.setdefault((plan.us_units, plan.duty.replies_fail), Wording(plan))


class Wording:
    """Words the notices of one depot."""

    def __init__(self, plan: DepotPlan) -> None:
        self._plan = plan
        self._units = plan.units

    def raised(self, booked: BookedAlarm, number: int, now: Instant, *, known: str) -> Notice:
        """What wakes somebody; `known` says what is to be added to its code, and why."""
        words = booked.words(now, us=self._plan.us_units)
        record, code = booked.configured.record, self._plan.code(number)
        since = booked.life.since if words.since is None else words.since
        when = f"Since {self._units.clock_time(since, now)}"
        # Half awake, one sees first whether it can wait.
        mark = f"{code} NOW" if booked.priority is Priority.HIGH else code
        often = booked.life.chatter.often_since(now) if known == COMES_AND_GOES else None
        if often is not None:
            when = f"{OFTEN} times since {self._units.clock_time(often, now)}"
        return Notice(
            kind="raised" if known in ("", NOT_TAKEN) else "again",
            code=code,
            lead=f"{mark}, {known}," if known else mark,
            place=self._plan.name,
            headline=words.headline,
            how_bad=words.how_bad,
            time_left=f"{words.time_left[:1].upper()}{words.time_left[1:]}",
            when=when,
            response=self._response(record, words.response),
            take=self._take(code) if record.taken_by_reply else "",
        )

    def _response(self, record: AlarmRecord, own: str) -> str:
        """What to do, and where all of it is that a text has no room for."""
        said = self._units.in_units(own or record.text_response)
        if not record.text_asks:
            return said
        duty = self._plan.duty
        if duty.replies:
            return f"{said} For all, reply {self._plan.short} {record.text_asks}."
        return f"{said} Full list: {'on the page' if duty.page else 'brineward status'}."

    def _take(self, code: str) -> str:
        """How to take it; the first words, up to "to" or a comma, are enough."""
        duty = self._plan.duty
        if duty.replies:
            return f"Reply {code} to take it."
        if not duty.replies_fail:
            return ""
        how = "Take it on the page" if duty.page else f"Run brineward take {code}"
        return f"{how}, replies fail."

    def cleared(self, booked: BookedAlarm, number: int, now: Instant) -> Notice:
        """That an alarm has cleared, by the cause that it was raised for."""
        began = self._units.clock_time(booked.life.since, now)
        return Notice(
            kind="cleared",
            code=self._plan.code(number),
            lead=f"{self._plan.code(number)} cleared,",
            place=self._plan.name,
            headline=booked.life.past,
            when=f"{began}-{self._units.clock_time(now, now)}",
            response=booked.configured.record.text_afterwards,
        )

    def taken(self, booked: BookedAlarm, number: int, by: str, now: Instant) -> Notice:
        """That somebody has it; where it has cleared, in the words for that."""
        life, words = booked.life, booked.words(now)
        now_so = life.active or life.latched or not life.past
        return Notice(
            kind="taken",
            code=self._plan.code(number),
            lead=f"{self._plan.duty.names.get(by, by)} has {self._plan.code(number)},",
            place=self._plan.name,
            headline=words.headline if now_so else life.past,
        )

    def reset_wanted(self, booked: BookedAlarm, number: int) -> Notice:
        """To who has it: its condition has gone, and it stays until it is reset."""
        code = self._plan.code(number)
        how = f"reply {code} reset" if self._plan.duty.replies else f"brineward reset {code}"
        return Notice(
            kind="reminder",
            code=code,
            lead=f"{code} is yours,",
            place=self._plan.name,
            headline=booked.life.past,
            response=f"Once somebody has checked it: {how}.",
        )

    def held_back(self, booked: BookedAlarm, number: int, by: str, now: Instant) -> Notice:
        """That somebody has shelved it, or put it out of service."""
        hold, code = booked.life.out_of_service, self._plan.code(number)
        how = f"has put {code} out of service"
        if hold is None:
            hold, how = booked.life.shelved, f"has shelved {code}"
        until = None if hold is None else hold.until
        if until is not None:
            how += f" until {self._units.clock_time(until, now)}"
        return Notice(
            kind="held back",
            code=code,
            lead=f"{self._plan.duty.names.get(by, by)} {how},",
            place=self._plan.name,
            headline=booked.words(now).headline,
            how_bad="" if hold is None else hold.why,
        )

    def waits(self, booked: BookedAlarm, number: int, now: Instant) -> Notice:
        """That its cause is active, so that nobody is called about it meanwhile."""
        return Notice(
            kind="held back",
            code=self._plan.code(number),
            lead=f"{self._plan.code(number)} waits for its cause,",
            place=self._plan.name,
            headline=booked.words(now).headline,
        )

    def reminder(self, removed: list[BookedAlarm], now: Instant) -> Notice:
        """What is out of service, and since when; one by name, several by their count."""
        (booked, hold), *others = sorted(
            ((one, one.life.out_of_service) for one in removed if one.life.out_of_service),
            key=lambda pair: (pair[1].since, pair[0].key),
        )
        title = booked.configured.record.title.lower()
        since = local_from_instant(hold.since, self._plan.zone)
        name = f"{title} ({booked.condition.name})"
        headline = f"{name} out of service since {since:%b} {since.day}"
        return Notice(
            kind="reminder",
            place=self._plan.name,
            headline=headline + (f", and {len(others)} more" if others else ""),
            how_bad=hold.why,
            response="If it's fixed, put it back in service; brineward status lists all.",
        )

    def summary(self, numbers: list[int], since: Instant, now: Instant) -> Notice:
        """The one notice about what came and went while nothing came through."""
        codes = codes_named([self._plan.code(number) for number in numbers])
        count = f"{len(numbers)} alarm{'s' if len(numbers) > 1 else ''} came and went meanwhile"
        return Notice(
            kind="summary",
            place=self._plan.name,
            headline=f"readings since {self._units.clock_time(since, now)} came late",
            how_bad=f"{count}: {codes}",
            response="Look at the plant before you rely on it.",
        )


COMES_AND_GOES = "comes and goes"
GRAVER = "got worse"
HANDED_BACK = "handed back"
HANDED_OVER = "handed over"
NOT_CURED = "still active"
SHELVING_OVER = "shelving ended"
IN_SERVICE_AGAIN = "back in service"
NOT_TAKEN = "not taken yet"
STILL = "still not taken"
RETURNED = "active again"
