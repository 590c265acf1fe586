"""Taking an alarm from outside the engine: who may take it, and is there something to take."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Take
from brineward.readings.instants import Instant, local_from_instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority

_TAKABLE = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED)
_PRESSING = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Taking:
    """What came of it."""

    taken: bool
    sentence: str
    """What was taken, or why nothing was; for a person, with its full stop."""


def take(journal_path: Path, plan: DepotPlan, act: Take) -> Taking:
    """Post the take where somebody on call at the depot takes an alarm that nobody has.

    Raises: DiskTrouble, JournalUnusable.
    """
    with Journal.open(journal_path) as journal:
        found = _change(journal, plan, act.number)
        refusal = (
            _not_on_call(plan, act.by)
            or _not_active(journal, plan, act, found)
            or _has_it_already(journal, plan, act, found)
        )
        if refusal or found is None:
            return Taking(taken=False, sentence=refusal)
        journal.post(act)
        return Taking(taken=True, sentence=f"{found.sentence}.")


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
            for alarm in journal.alarms_standing(plan.id):
                change = alarm.change
                if change.state in _TAKABLE and change.number > 0:
                    code = f"{plan.short}{change.number}"
                    found.append((_PRESSING[change.priority], -alarm.since, code))
    return tuple(code for _, _, code in sorted(found))


def on_call_at(plan: DepotPlan) -> str:
    """Who is on call at a depot, as one writes it: "yard (Yard lead) or dispatch (Dispatch)"."""
    people = [f"{id_} ({_name(plan, id_)})" for id_ in plan.duty.on_call]
    return " or ".join(filter(None, (", ".join(people[:-1]), *people[-1:])))


def _not_on_call(plan: DepotPlan, person: str) -> str:
    if person in plan.duty.on_call:
        return ""
    names = " and ".join(_name(plan, each) for each in plan.duty.on_call)
    verb = "is" if len(plan.duty.on_call) == 1 else "are"
    return f"Only who is on call at {plan.name} can take it: {names} {verb}."


def _not_active(journal: Journal, plan: DepotPlan, act: Take, found: AlarmChanged | None) -> str:
    code = f"{plan.short}{act.number}"
    if found is None:
        cleared = _last_change(journal, plan, act.number)
        if cleared is None:
            return f"{code} is not active."
        return f"{code} is not active; it cleared at {_clock(plan, cleared.time, act.time)}."
    if found.state is AlarmState.SUPPRESSED:
        return f"{code} is held back while the alarm that caused it is active. Take that one."
    if found.state not in _TAKABLE and found.state is not AlarmState.ACKNOWLEDGED:
        return f"{code} is {found.state} and needs nobody."
    return ""


def _has_it_already(
    journal: Journal, plan: DepotPlan, act: Take, found: AlarmChanged | None
) -> str:
    code = f"{plan.short}{act.number}"
    if found is not None and found.state is AlarmState.ACKNOWLEDGED:
        taken = _last_taken(journal, plan, act.number) or found
        by, since = taken.by, taken.time
    else:
        # Posted by somebody a moment ago: the service is about to acknowledge it.
        waiting = [
            entry
            for _, entry in journal.inbox()
            if isinstance(entry, Take) and (entry.depot, entry.number) == (plan.id, act.number)
        ]
        if not waiting:
            return ""
        by, since = waiting[0].by, waiting[0].time
    name = _name(plan, by)
    return f"{name or 'Somebody'} has {code} since {_clock(plan, since, act.time)}."


def _change(journal: Journal, plan: DepotPlan, number: int) -> AlarmChanged | None:
    """The last change of an occurrence that is not over."""
    standing = [alarm.change for alarm in journal.alarms_standing(plan.id)]
    return next((change for change in standing if change.number == number), None)


def _last_change(journal: Journal, plan: DepotPlan, number: int) -> AlarmChanged | None:
    found = [change for change in journal.alarm_history(plan.id) if change.number == number]
    return found[-1] if found else None


def _last_taken(journal: Journal, plan: DepotPlan, number: int) -> AlarmChanged | None:
    found = [
        change
        for change in journal.alarm_history(plan.id)
        if change.number == number and change.state is AlarmState.ACKNOWLEDGED and change.by
    ]
    return found[-1] if found else None


def _name(plan: DepotPlan, person: str) -> str:
    """What a person is called; `person` may be the name already."""
    return plan.duty.names.get(person, person)


def _clock(plan: DepotPlan, instant: Instant, now: Instant) -> str:
    """The depot's wall clock, with the day where it is not today."""
    then, today = local_from_instant(instant, plan.zone), local_from_instant(now, plan.zone)
    return f"{then:%H:%M}" if then.date() == today.date() else f"{then:%a %H:%M}"
