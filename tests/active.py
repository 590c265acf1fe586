"""A journal with alarms in it, for tests of what people do about them."""

from brineward.journal.journal import Journal
from brineward.readings.entries import Take, Tick
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority, Step


def raised(
    number: int,
    at: Instant,
    state: AlarmState = AlarmState.UNACKNOWLEDGED,
    *,
    by: str = "",
    priority: Priority = Priority.HIGH,
    before: AlarmState = AlarmState.NORMAL,
) -> AlarmChanged:
    """One change of an alarm of Tern Hollow; each number is another vessel's."""
    return AlarmChanged(
        time=at,
        depot="tern-hollow",
        alarm="overflow-ahead",
        source=f"tank-{number}",
        number=number,
        before=before,
        state=state,
        priority=priority,
        value=2.3,
        limit=2.25,
        unit="m",
        sentence="main tank near overflow, 7.55 ft (limit 7.38)",
        by=by,
    )


def commit(journal: Journal, *changes: AlarmChanged) -> None:
    """Have them in the journal, as the service commits them."""
    for change in changes:
        journal.commit([Step(Tick(time=change.time), (change,))])


def takes(journal: Journal) -> list[tuple[int, str]]:
    """The takes that wait for the service: number and person."""
    waiting = [entry for _, entry in journal.inbox.waiting()]
    return [(entry.number, entry.by) for entry in waiting if isinstance(entry, Take)]
