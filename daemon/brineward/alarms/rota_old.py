"""The calendar that says who is on call was not read for days: the rota may be wrong."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import DAY, SECOND, Instant
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

OLD: Final = 2 * DAY
"""A swap is rarely put into a calendar later than this before it (common practice, no source)."""

RECORD = AlarmRecord(
    id="rota-old",
    title="ROTA MAY BE OLD",
    place=147,
    priority=Priority.LOW,
    cause="The calendar's address, file or server is gone, or what it sends is no calendar.",
    consequence="Swaps of these days are not known: the wrong person may be texted first.",
    response="Ask who is on call and compare with brineward who. Put the calendar's address right "
    "in the config, or name a swap there.",
    text_response="Ask who is on call: the rota may be wrong. Have the calendar's link fixed.",
    respond_within="the next working morning",
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="The calendar is read every 15 minutes, or as the config says; two days are no outage.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread(Finding):
    """`value` seconds since it was read."""


class RotaOld(Condition[Unread]):
    """The calendar of a depot's rota."""

    def __init__(self, site: Site) -> None:
        self._age = site.watch.calendar_age
        super().__init__(site, "rota", Unread, judged_after=(self._age,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Was it not read for long?"""
        known = self._age.known
        if not known or now - known < OLD:
            return CLEAR
        return Verdict(True, Unread(value=round((now - known) / SECOND, 0), unit="s"))

    def next_look(self, now: Instant) -> Instant | None:
        """When it will be too old, if it is not read until then."""
        return self._age.known + OLD if self._age.known else None

    def words(self, finding: Unread, now: Instant) -> Words:
        """Since when it was not read."""
        said = f"the rota's calendar could not be read for {duration(finding.value or 0.0)}"
        return Words(said, past="the rota's calendar could not be read")


def _conditions(site: Site) -> Iterator[RotaOld]:
    rota = site.plan.duty.rota
    if rota is not None and rota.calendar:
        yield RotaOld(site)


ALARM = Alarm(record=RECORD, conditions=_conditions)
