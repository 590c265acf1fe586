"""Taking an alarm from outside the engine: who may take it, and is there anything to take?"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from brineward.alarms.registry import CATALOGUE
from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Take
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from brineward.records import Records

_TAKABLE = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
)
_HAD = (AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)
_PRESSING = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class ActResult:
    """What came of it."""

    done: bool
    sentence: str
    """What was done, or why nothing was; for a person, with its full stop."""


def take(journal_path: Path, plan: DepotPlan, act: Take) -> ActResult:
    """Post the take where somebody on call at the depot takes an alarm that nobody has.

    Raises: DiskTrouble, JournalUnusable.
    """
    with Journal.open(journal_path) as journal:
        records = Records(journal.handle)
        found = _change(records, plan, act.number)
        refusal = (
            _not_active(records, plan, act, found)
            or _not_on_call(plan, act)
            or _taken_already(records, plan, act, found)
            or _about_to_be_taken(journal, plan, act)
        )
        if refusal or found is None:
            return ActResult(done=False, sentence=refusal)
        journal.inbox.post(act)
        return ActResult(done=True, sentence=f"{found.sentence}.")


def takable_codes(
    journal_path: Path, depots: Mapping[str, DepotPlan], person: str
) -> tuple[str, ...]:
    """The codes of what this person could take now: high priorities first, then the newest.

    Raises: DiskTrouble, JournalUnusable.
    """
    found: list[tuple[int, Instant, str]] = []
    with Journal.open(journal_path, read_only=True) as journal:
        for plan in depots.values():
            if person not in plan.duty.on_call:
                continue
            for alarm in Records(journal.handle).alarms.active(plan.id):
                change = alarm.change
                if change.state in _TAKABLE and change.number > 0:
                    code = plan.code(change.number)
                    found.append((_PRESSING[change.priority], -alarm.since, code))
    return tuple(code for _, _, code in sorted(found))


def on_call_at(plan: DepotPlan) -> str:
    """Who is on call at a depot, as one writes it: "yard (Yard lead) or dispatch (Dispatch)"."""
    return _either([f"{id_} ({_name(plan, id_)})" for id_ in plan.duty.on_call])


def _either(names: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def _not_on_call(plan: DepotPlan, act: Take) -> str:
    if act.by in plan.duty.on_call:
        return ""
    names = _either([_name(plan, each) for each in plan.duty.on_call])
    code = plan.code(act.number)
    return f"You are not on call at {plan.name}. {names or 'Nobody'} can take {code}."


def _not_active(records: Records, plan: DepotPlan, act: Take, found: AlarmChanged | None) -> str:
    code = plan.code(act.number)
    if found is None:
        cleared = _last_change(records, plan, act.number)
        if cleared is None:
            return f"{code} is not active."
        return (
            f"{code} is not active; it cleared at {plan.units.clock_time(cleared.time, act.time)}."
        )
    if found.state is AlarmState.SUPPRESSED:
        return _suppressed(records, plan, code, found.alarm)
    if found.state is AlarmState.SHELVED and found.until is not None:
        until = plan.units.clock_time(found.until, act.time)
        return f"{code} is shelved until {until} by {found.by}."
    if found.state not in (*_TAKABLE, *_HAD):
        return f"{code} is {found.state} and needs nobody."
    return ""


def _suppressed(records: Records, plan: DepotPlan, code: str, alarm: str) -> str:
    """Whether the depot's mode makes it quiet, or another alarm."""
    record, mode = CATALOGUE.get(alarm), records.modes.now(plan.id).mode
    if record is not None and mode in record.quiet_in:
        return f"{code} needs nobody while {plan.name} is {mode.value}."
    causes = [
        plan.code(one.change.number)
        for one in records.alarms.active(plan.id)
        if record is not None
        and one.change.alarm in record.suppressed_by
        and one.change.state in (*_TAKABLE, *_HAD)
        and one.change.number
    ]
    if not causes:
        return f"{code} is held back while the alarm that caused it is active. Take that one."
    cause = _either(causes)
    return f"{code} is held back while {cause} is active. Take {cause}."


def _taken_already(records: Records, plan: DepotPlan, act: Take, found: AlarmChanged | None) -> str:
    if found is None or found.state not in _HAD:
        return ""
    taken = last_taken(records, plan, act.number) or found
    return _has_it(plan, act, taken.by, taken.time)


def _about_to_be_taken(journal: Journal, plan: DepotPlan, act: Take) -> str:
    """Somebody was a moment quicker, and the service has not come to it yet."""
    for _, entry in journal.inbox.waiting():
        if isinstance(entry, Take) and (entry.depot, entry.number) == (plan.id, act.number):
            return _has_it(plan, act, entry.by, entry.time)
    return ""


def _has_it(plan: DepotPlan, act: Take, by: str, since: Instant) -> str:
    code, name = plan.code(act.number), _name(plan, by) or "Somebody"
    return f"{name} has {code} since {plan.units.clock_time(since, act.time)}."


def _change(records: Records, plan: DepotPlan, number: int) -> AlarmChanged | None:
    """The last change of an occurrence that is not normal again."""
    active = [alarm.change for alarm in records.alarms.active(plan.id)]
    return next((change for change in active if change.number == number), None)


def _last_change(records: Records, plan: DepotPlan, number: int) -> AlarmChanged | None:
    found = [change for change in records.alarms.history(plan.id) if change.number == number]
    return found[-1] if found else None


def last_taken(records: Records, plan: DepotPlan, number: int) -> AlarmChanged | None:
    """The change by which a person took an occurrence last; None where nobody did."""
    found = [
        change
        for change in records.alarms.history(plan.id)
        if change.number == number and change.state in _HAD and change.by
    ]
    return found[-1] if found else None


def _name(plan: DepotPlan, person: str) -> str:
    """What a person is called; `person` may be the name already."""
    return plan.duty.names.get(person, person)
