"""What people ask by text: how is the depot, more about an alarm, who is on call, what is not
watched, do texts work?
"""

import logging

from brineward.alarms.dangers_unwatched import RECORD as DANGERS_UNWATCHED
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, SECOND, Instant
from brineward.records import Records
from brineward.records.short_texts import more_text, status_text, who_text
from brineward.records.unwatched_words import unwatched_text
from brineward.texts.replies import Question
from brineward.wording.gsm import Part, fit_segment
from brineward.wording.operator_units import duration

_LOG = logging.getLogger(__name__)

_TEST_OLD = DAY
"""An answer after more than a day answers something else."""


class Questions:
    """Answers from the journal, to who is on call at the depot."""

    def __init__(self, settings: Settings) -> None:
        self._path = settings.journal.path
        self._plans = tuple(settings.depots.values())

    def answer(self, question: Question, person: str, now: Instant) -> str:
        """One segment; also where it can't be answered, with the reason. Raises nothing."""
        theirs = [one for one in self._plans if person in one.duty.on_call]
        asked = [one for one in self._plans if one.short == question.short] or theirs
        if question.what == "test":
            plan = (asked or list(self._plans))[0]
            at = plan.units.clock_time(now, now)
            said = f"Test answered at {at}: your texts reach brineward."
            return fit_segment([Part(text=said), Part(text=self._round_trip(plan, person, now))])
        if not asked or asked[0] not in theirs:
            name = asked[0].name if asked else "any depot"
            return f"You are not on call at {name}."
        if len(asked) > 1:
            shorts = " or ".join(f"{one.short} {question.what}" for one in asked[:4])
            return f"Which depot? Reply {shorts}."
        try:
            with Journal.open(self._path, read_only=True) as journal:
                plan = asked[0].as_read_by(person)
                return _told(question, plan, Records(journal.handle), person, now)
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error("replies: %s", why)
            return f"{asked[0].name}: the records can't be read just now. Try again."

    def _round_trip(self, plan: DepotPlan, person: str, now: Instant) -> str:
        """How long the last test text to that person took out, and its answer back."""
        try:
            with Journal.open(self._path, read_only=True) as journal:
                sent = Records(journal.handle).texts.last_of("test", person, now - _TEST_OLD)
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error("replies: %s", why)
            return ""
        if sent is None or sent.settled is None:
            return ""
        out = max(0, sent.settled - sent.created) / SECOND
        back = duration(max(0, now - sent.settled) / SECOND)
        return (
            f"The test text of {plan.units.clock_time(sent.created, now)} took {out:.0f} s out, "
            f"your answer came {back} later."
        )


def _told(question: Question, plan: DepotPlan, records: Records, person: str, now: Instant) -> str:
    if question.what == "status":
        return status_text(plan, records, now)
    if question.what == "who":
        return who_text(plan, records, question.number, now)
    active = {one.change.number: one.change.alarm for one in records.alarms.active(plan.id)}
    number = question.number or max(active, default=0)
    more_of_these = question.what == "more" and active.get(number) == DANGERS_UNWATCHED.id
    if question.what == "unwatched" or more_of_these:
        found = records.unwatched.now(plan.id, records.modes.now(plan.id).mode)
        return unwatched_text(plan, found, question.place)
    if not number:
        return f"{plan.name}: no alarm is active. Reply STATUS for how it is."
    return more_text(plan, records, number, now, person=person)
