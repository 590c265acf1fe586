"""Who is on call at a depot at any time: from its plan, and the calendar as it was last read."""

from dataclasses import dataclass

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.plant.plan import DepotPlan
from brineward.plant.rota import turn_at
from brineward.readings.entries import RotaRead, Shift
from brineward.readings.instants import Instant
from brineward.records.ever import NEVER


@dataclass(frozen=True, slots=True, kw_only=True)
class OnCall:
    """Who is called at one moment."""

    on_duty: str
    """The person's id; empty where the rota names nobody then."""
    order: tuple[str, ...]
    """Who is called, the first one first; never empty where anybody is on call."""
    backups: tuple[str, ...]
    until: Instant | None
    """When it is another's turn; None: for good."""
    next: str
    """Whose turn it is then; empty where nobody's."""


class CalendarsRead:
    """What external calendars said, whenever that changed, and twice a day."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def shifts(self, depot: str, at: Instant = NEVER) -> tuple[Shift, ...]:
        """The shifts as they were known at an instant; empty if none was ever read."""
        select = """SELECT body FROM happening WHERE kind = 'rota' AND depot = ? AND time <= ?
            ORDER BY time DESC, seq DESC LIMIT 1"""
        with self._handle.reading() as db:
            rows = db.execute(select, (depot, at)).fetchall()
        made = self._handle.readable("happening", rows, lambda r: bodies.entry_from("rota", r[0]))
        return next((one.shifts for one in made if isinstance(one, RotaRead)), ())

    def last_read(self, depot: str) -> Instant | None:
        """When the calendar was last known to be read, to half a day; None where it never was."""
        select = "SELECT max(time) FROM happening WHERE kind = 'rota' AND depot = ?"
        with self._handle.reading() as db:
            found = db.execute(select, (depot,)).fetchone()[0]
        return None if found is None else int(found)

    def on_call(self, plan: DepotPlan, at: Instant) -> OnCall:
        """Who is on call at an instant, as far as the calendar is known now."""
        rota, people = plan.duty.rota, plan.duty.on_call
        shifts = self.shifts(plan.id) if rota is not None and rota.calendar else ()
        return on_call_at(plan, at, shifts) if people else _nobody()


def on_call_at(plan: DepotPlan, at: Instant, shifts: tuple[Shift, ...] = ()) -> OnCall:
    """Who is on call at an instant, by the plan and a calendar's shifts."""
    rota, people = plan.duty.rota, plan.duty.on_call
    known = tuple(one for one in shifts if one.person in people)
    turn = turn_at(rota, people, at, plan.zone, known)
    until = None if rota is None else rota.next_handover(at, plan.zone, known)
    after = "" if until is None else turn_at(rota, people, until, plan.zone, known).on_duty
    return OnCall(
        on_duty=turn.on_duty, order=turn.order, backups=turn.backups, until=until, next=after
    )


def _nobody() -> OnCall:
    return OnCall(on_duty="", order=(), backups=(), until=None, next="")
