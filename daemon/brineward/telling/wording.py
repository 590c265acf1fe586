"""What a person is told, as a notice in the depot's own words, units and clock."""

from brineward.book.book import BookedAlarm
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.readings.outputs import Notice


class Wording:
    """Words the notices of one depot."""

    def __init__(self, plan: DepotPlan) -> None:
        self._plan = plan
        self._units = plan.units

    def raised(self, booked: BookedAlarm, number: int, now: Instant, *, known: str) -> Notice:
        """What wakes somebody; `known` says what is to be added to its code, and why."""
        words, record, code = booked.words(now), booked.configured.record, self._plan.code(number)
        since = booked.life.since if words.since is None else words.since
        return Notice(
            kind="again" if known in (STILL, RETURNED) else "raised",
            code=code,
            lead=f"{code}, {known}," if known else code,
            place=self._plan.name,
            headline=words.headline,
            how_bad=words.how_bad,
            time_left=f"{words.time_left[:1].upper()}{words.time_left[1:]}",
            when=f"Since {self._units.clock_time(since, now)}",
            response=self._units.in_units(record.text_response),
            take=f"Reply {code} to take it." if self._plan.duty.replies else "",
        )

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
        """That somebody has it."""
        return Notice(
            kind="taken",
            code=self._plan.code(number),
            lead=f"{self._plan.duty.names.get(by, by)} has {self._plan.code(number)},",
            place=self._plan.name,
            headline=booked.words(now).headline,
        )

    def summary(self, numbers: list[int], since: Instant, now: Instant) -> Notice:
        """The one notice about what came and went while nothing came through."""
        codes = ", ".join(self._plan.code(number) for number in numbers)
        count = f"{len(numbers)} alarm{'s' if len(numbers) > 1 else ''} came and went"
        return Notice(
            kind="summary",
            place=self._plan.name,
            headline=f"delayed data since {self._units.clock_time(since, now)}",
            how_bad=f"{count}: {codes}",
            response="Check the records before you rely on the plant.",
        )


NOT_TAKEN = "not taken yet"
STILL = "still not taken"
RETURNED = "active again"
