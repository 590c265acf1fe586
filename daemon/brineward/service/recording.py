"""A record by hand from outside the engine: posted to the service, and what came of it."""

from dataclasses import replace
from pathlib import Path

from brineward.journal.inbox import post
from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.by_hand import Struck
from brineward.readings.entries import HandRecord
from brineward.records import Records
from brineward.records.by_hand import HandEntry
from brineward.service.taking import ActResult
from brineward.wording.by_hand import sentence_of


def enter(
    journal_path: Path, plan: DepotPlan, record: HandRecord, *, says_when: bool = False
) -> ActResult:
    """Post the record where somebody on call at the depot enters it.

    A correction is about the time of the record that it corrects, unless it `says_when`.

    Raises: DiskTrouble, JournalUnusable.
    """
    if record.by not in plan.duty.on_call:
        on_call = " or ".join(plan.duty.names.get(one, one) for one in plan.duty.on_call)
        return ActResult(
            done=False,
            sentence=f"You are not on call at {plan.name}. {on_call or 'Nobody'} can record it.",
        )
    with Journal.open(journal_path) as journal, journal.handle.writing() as db:
        # One transaction: two people who enter something at once get two numbers.
        known = Records(journal.handle).by_hand.with_waiting(db, plan.id)
        earlier = next((one for one in known if one.number == record.corrects), None)
        refusal = _refusal(known, record, earlier)
        if refusal:
            return ActResult(done=False, sentence=refusal)
        if earlier is not None and not says_when and not isinstance(record.record, Struck):
            record = replace(record, at=earlier.entry.at)
        post(db, record)
    number = known[-1].number + 1 if known else 1
    if isinstance(record.record, Struck):
        sentence = f"{plan.name}, number {number}: number {record.corrects} is struck."
        return ActResult(done=True, sentence=sentence)
    said = sentence_of(record.record, plan.units)
    if record.corrects:
        said = f"{said} It takes the place of number {record.corrects}."
    return ActResult(done=True, sentence=f"{plan.name}, number {number}: {said}")


def entered(journal: Journal, plan: DepotPlan) -> list[HandEntry]:
    """Every record of the depot, also those that the service has not come to yet.

    Raises: DiskTrouble, JournalUnusable.
    """
    with journal.handle.reading() as db:
        return Records(journal.handle).by_hand.with_waiting(db, plan.id)


def _refusal(known: list[HandEntry], record: HandRecord, earlier: HandEntry | None) -> str:
    """Why a correction of an earlier one can't be entered; empty where it can, or is none."""
    if not record.corrects:
        return "" if not isinstance(record.record, Struck) else "Which number is to be struck?"
    if earlier is None:
        last = known[-1].number if known else 0
        return f"There is no number {record.corrects}; the last is {last}."
    if earlier.replaced_by:
        return f"Number {record.corrects} was corrected already: correct {earlier.replaced_by}."
    if isinstance(earlier.entry.record, Struck):
        return f"Number {record.corrects} strikes another: enter that one anew."
    return ""
