"""What people ask by text: how the depot is, more of an alarm, who is on call, is this way open."""

import logging

from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.records import Records
from brineward.records.short_texts import more_text, status_text, who_text
from brineward.texts.replies import Question

_LOG = logging.getLogger(__name__)


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
            zone = (asked or list(self._plans))[0].units
            return f"Test answered at {zone.clock_time(now, now)}: your texts reach brineward."
        if not asked or asked[0] not in theirs:
            name = asked[0].name if asked else "any depot"
            return f"You are not on call at {name}."
        if len(asked) > 1:
            shorts = " or ".join(f"{one.short} {question.what}" for one in asked[:4])
            return f"Which depot? Reply {shorts}."
        try:
            with Journal.open(self._path, read_only=True) as journal:
                return _told(question, asked[0], Records(journal.handle), now)
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error("replies: %s", why)
            return f"{asked[0].name}: the records can't be read just now. Try again."


def _told(question: Question, plan: DepotPlan, records: Records, now: Instant) -> str:
    if question.what == "status":
        return status_text(plan, records, now)
    if question.what == "who":
        return who_text(plan, records, question.number, now)
    number = question.number or max(
        (one.change.number for one in records.alarms.active(plan.id)), default=0
    )
    if not number:
        return f"{plan.name}: no alarm is active. Reply STATUS for how it is."
    return more_text(plan, records, number, now)
