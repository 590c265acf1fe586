"""The life of an alarm, by ISA-18.2 / IEC 62682, as one small state machine without a clock.

Its transitions are the rows of `life_table.py`. Condition, acknowledgement and latch are separate
fields, and so is each of the three things that hold it back, as OPC UA Part 9 has it. Delays, a
take that comes back and a shelving's end are deadlines that the engine keeps.
"""

from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from brineward.alarms.condition import Finding, Verdict
from brineward.book.chatter import LINGERS_FOR, Chatter
from brineward.book.life_table import FIELDS, HOLDS, STATES, TABLE, Event, Letter
from brineward.plant.tracker import shifted
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmState, Priority


class Turn(NamedTuple):
    """What an event came to."""

    event: Event
    announced: bool
    """It is to be announced to people as new."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A person has shelved an alarm, or put it out of service."""

    by: str
    """The person's id."""
    since: Instant
    why: str = ""
    number: int = 0
    """The occurrence that there was; the alarm is still named by it."""
    until: Instant | None = None
    """When it ends by itself; None for out of service."""

    def shifted(self, by: Instant) -> "Hold":
        """The same, shifted by `by` milliseconds because the clock was set."""
        until = None if self.until is None else self.until + by
        return Hold(
            by=self.by,
            since=max(0, self.since + by),
            why=self.why,
            number=self.number,
            until=until,
        )


class Life:
    """One alarm at one source: what is judged of it, and what people know of it.

    `priority` is its own; `latching`: it stays after its condition is clear, until it is reset.
    """

    __slots__ = (
        "_latching",
        "_off_delay",
        "_on_delay",
        "_own_priority",
        "acknowledged",
        "active",
        "beneath",
        "chatter",
        "comes_back_at",
        "finding",
        "harm_was_at",
        "judged",
        "latched",
        "named",
        "number",
        "out_of_service",
        "past",
        "priority",
        "shelved",
        "since",
        "suppressed",
        "taken_at",
        "taken_by",
        "wait",
    )

    def __init__(
        self,
        *,
        on_delay_seconds: float,
        off_delay_seconds: float,
        priority: Priority = Priority.LOW,
        latching: bool = False,
    ) -> None:
        self._on_delay = round(on_delay_seconds * SECOND)
        self._off_delay = round(off_delay_seconds * SECOND)
        self._own_priority = priority
        self._latching = latching
        self.judged: bool | None = None
        """What its condition said last."""
        self.finding: Finding | None = None
        """The last finding while it was active; the alarm's words are made from it."""
        self.past = ""
        """What was wrong when it was raised, in the words for when it has cleared."""
        self.since: Instant = 0
        """When the condition became active this time."""
        self.active: bool
        """Active from the end of its on-delay to the end of its off-delay."""
        self.acknowledged: bool
        self.latched: bool
        """Its condition is clear, and it waits to be reset."""
        self.beneath: Letter
        """Its letter, without what holds it back."""
        self.suppressed = False
        """Held back by design: by a cause, or by what the depot is used for."""
        self.shelved: Hold | None = None
        self.out_of_service: Hold | None = None
        self.number = 0
        """This occurrence's number; 0 when there is none."""
        self.priority = priority
        """Its own, or the gravest that this occurrence was found to be."""
        self.named: tuple[str, ...] = ()
        """The grave things that this occurrence was found to be about, each once."""
        self.wait: Instant | None = None
        """When the on- or off-delay under way is over."""
        self.taken_by = ""
        """The person who has it."""
        self.taken_at: Instant = 0
        """When this occurrence was taken last; 0: never."""
        self.comes_back_at: Instant | None = None
        """When it is announced again although somebody took it."""
        self.harm_was_at: Instant | None = None
        """What its finding said of that when it was taken."""
        self.chatter = Chatter()
        self.become(Letter.A)

    @property
    def held(self) -> bool:
        """Does anything hold it back?"""
        return self.suppressed or self.shelved is not None or self.out_of_service is not None

    @property
    def explains(self) -> bool:
        """Is it active, so that what follows from it is no news?"""
        holds = self.suppressed or self.out_of_service is not None
        return self.active and not holds and not self.chatter.lingers

    @property
    def letter(self) -> Letter:
        """The state's letter in the standard."""
        holds = (self.out_of_service is not None, self.shelved is not None, self.suppressed)
        for hold, holding in zip(HOLDS, holds, strict=True):
            if holding:
                return hold.letter
        return self.beneath

    @property
    def state(self) -> AlarmState:
        """The state's name in the standard's words."""
        return STATES[self.letter]

    @property
    def deadline(self) -> Instant | None:
        """When something happens to it by itself."""
        ends = None if self.shelved is None else self.shelved.until
        due = (self.wait, self.comes_back_at, ends)
        return min((one for one in due if one is not None), default=None)

    def become(self, letter: Letter) -> None:
        """Take on what a letter of the table says, A to F or N."""
        self.beneath = letter
        self.active, self.acknowledged, self.latched = FIELDS[letter]

    # -- judged

    def judge(self, verdict: Verdict, now: Instant) -> None:
        """Take a verdict: start or end a delay. Nothing is announced before `due`."""
        judged = verdict.active
        if judged is None:
            # No data never clears an alarm, and never raises one.
            self.judged = None
            self.wait = None
            self.chatter.lingers = False
            return
        if judged:
            self.finding = verdict.finding
        if judged == self.judged:
            return
        self.judged = judged
        if judged == self.active:
            self.wait = None
            self.chatter.lingers = False
            return
        if judged:
            self.since = now
        self.wait = now + (self._on_delay if judged else self._off_delay)

    def due(self, now: Instant) -> Turn | None:
        """Has a delay run out? Then what the condition says becomes the alarm's."""
        if self.wait is None or now < self.wait:
            return None
        self.wait = None
        if self.judged:
            turn = self._at(Event.RAISED)
            self._weigh_finding()
            if turn is not None and turn.announced:
                self.chatter.raised(now)
            return turn
        if self.beneath is not Letter.N and self.chatter.holds_on(now):
            self.wait = now + LINGERS_FOR
            return None
        self.chatter.lingers = False
        return self._at(Event.LATCHED if self._latching else Event.CLEARED)

    def graver(self, now: Instant) -> Turn | None:
        """Is it found to be graver, or about more, than was known? Neither is forgotten within an
        occurrence.

        A person who shelved it had judged what it was then: its shelving is over.
        """
        known = (self.priority, self.named)
        self._weigh_finding()
        if (self.priority, self.named) == known or not self.active:
            return None
        if self.beneath is Letter.B and not self.held and self._calls_as(known[0]):
            return None
        turn = self._at(Event.GRAVER)
        return turn if self.shelved is None else self.unshelve(now)

    def _calls_as(self, priority: Priority) -> bool:
        """Is it high as before, so that who is called reads how it is now in each next text?"""
        return self.priority is priority is Priority.HIGH

    def _weigh_finding(self) -> None:
        finding = self.finding
        if finding is None:
            return
        if finding.priority is not None and finding.priority.rank > self.priority.rank:
            self.priority = finding.priority
        self.named += tuple(name for name in finding.names if name not in self.named)

    # -- what people do

    def take(
        self, by: str = "", comes_back_at: Instant | None = None, now: Instant = 0
    ) -> Turn | None:
        """A person has it now, and it comes back then; None where there was nothing to take."""
        turn = self._at(Event.TAKEN)
        if turn is not None and self.beneath is not Letter.A:
            self.taken_by, self.taken_at, self.comes_back_at = by, now, comes_back_at
            self.harm_was_at = self._harm_at()
        return turn

    def put_off(self, now: Instant, until: Instant) -> bool:
        """Taken long ago and not cured, but no worse since, so that it is no news: puts it off."""
        was, is_now = self.harm_was_at, self._harm_at()
        due = self.comes_back_at is not None and now >= self.comes_back_at
        if not due or was is None or is_now is None or is_now < was:
            return False
        self.comes_back_at = until
        return True

    def _harm_at(self) -> Instant | None:
        return None if self.finding is None else self.finding.harm_at

    def hand_back(self) -> Turn | None:
        """Who took it does not have it after all."""
        return self._at(Event.HANDED_BACK)

    def overdue(self, now: Instant) -> Turn | None:
        """Was it taken so long ago that it comes back?"""
        if self.comes_back_at is None or now < self.comes_back_at:
            return None
        self.comes_back_at = None  # whatever comes of it: a deadline that stays holds time up
        return self._at(Event.OVERDUE)

    def reset(self) -> Turn | None:
        """Somebody has dealt with what it was latched for; whoever says so has it."""
        if not self.latched:
            return None
        self._at(Event.TAKEN)
        return self._at(Event.RESET)

    def shelve(self, hold: Hold) -> Turn:
        """A person holds it back until an end."""
        self.shelved, self.comes_back_at = hold, None
        self._at(Event.SHELVED)
        return Turn(Event.SHELVED, announced=False)

    def unshelve(self, now: Instant) -> Turn:
        """Its shelving has ended: it is judged again."""
        self.shelved = None
        return self._let_go(Event.UNSHELVED, now)

    def remove(self, hold: Hold) -> Turn:
        """A person puts it out of service, for a reason."""
        self.out_of_service, self.comes_back_at = hold, None
        self._at(Event.REMOVED)
        return Turn(Event.REMOVED, announced=False)

    def put_back(self, now: Instant) -> Turn:
        """It is back in service: it is judged again."""
        self.out_of_service = None
        return self._let_go(Event.RETURNED, now)

    # -- what the plant does

    def suppress(self) -> Turn:
        """It is as it should be, or a consequence of what is active already."""
        self.suppressed = True
        self._at(Event.SUPPRESSED)
        return Turn(Event.SUPPRESSED, announced=False)

    def release(self, now: Instant) -> Turn:
        """That has ended: what is still wrong, and was not announced, begins its on-delay again."""
        self.suppressed = False
        return self._let_go(Event.RELEASED, now)

    def _let_go(self, event: Event, now: Instant) -> Turn:
        unheard = self.beneath is Letter.N
        turn = self._at(event) or Turn(event, announced=False)
        if unheard and self.beneath is Letter.A:
            self.wait = now + self._on_delay if self.judged else None
        return turn

    def _at(self, event: Event) -> Turn | None:
        """Take the table's way from here; None where it has none at this event."""
        row = TABLE.get((self.beneath, event))
        if row is None:
            return None
        held = self.held
        self.become(row.after if row.held is None or not held else row.held)
        if not self.acknowledged or self.beneath is Letter.A:
            self.taken_by, self.comes_back_at = "", None
        return Turn(event, row.announced and not held)

    def forget_if_done(self) -> None:
        """Cleared, and somebody had it: what comes next is another occurrence."""
        if self.beneath is Letter.A:
            self._begin_anew()

    def end_occurrence(self) -> None:
        """It is as it should be now: what is still so when that is over is another occurrence."""
        if self.active:
            self.become(Letter.N)
            self._begin_anew()
            self.taken_by, self.comes_back_at = "", None

    def _begin_anew(self) -> None:
        self.number, self.priority, self.named = 0, self._own_priority, ()
        self.taken_at = 0

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self.since = max(0, self.since + by)
        if self.wait is not None:
            self.wait += by
        if self.comes_back_at is not None:
            self.comes_back_at += by
        if self.harm_was_at is not None:
            self.harm_was_at += by
        self.taken_at = shifted(self.taken_at, by)
        self.shelved = None if self.shelved is None else self.shelved.shifted(by)
        if self.out_of_service is not None:
            self.out_of_service = self.out_of_service.shifted(by)
        self.chatter.shift(by)

    # -- plain data

    def snapshot(self) -> dict[str, Any]:
        """The life as plain data."""
        return {
            "judged": self.judged,
            "letter": self.beneath,
            "holds": [self.suppressed, _plain(self.shelved), _plain(self.out_of_service)],
            "number": self.number,
            "priority": self.priority,
            "named": list(self.named),
            "since": self.since,
            "wait": self.wait,
            "taken": [self.taken_by, self.comes_back_at, self.harm_was_at, self.taken_at],
            "chatter": self.chatter.snapshot(),
            "past": self.past,
            "finding": _plain(self.finding),
        }

    def restore(self, data: dict[str, Any] | list[Any], finding: type[Finding]) -> None:
        """Become what `snapshot` wrote; a finding of another version is dropped."""
        if isinstance(data, list):
            data = _of_older(data)
        self.become(Letter(data["letter"]))
        self.suppressed, shelved, removed = data["holds"]
        self.shelved = None if shelved is None else Hold(**shelved)
        self.out_of_service = None if removed is None else Hold(**removed)
        self.judged, self.number, self.since = data["judged"], data["number"], data["since"]
        self.wait, self.past = data["wait"], data["past"]
        kept = Priority(data["priority"] or self._own_priority)
        self.priority = max(kept, self._own_priority, key=lambda one: one.rank)
        self.named = tuple(data.get("named", ()))
        # Older ones kept less.
        self.taken_by, self.comes_back_at, *known = data["taken"]
        self.harm_was_at = known[0] if known else None
        self.taken_at = known[1] if len(known) > 1 else 0
        self.chatter.restore(data["chatter"])
        self.finding = _finding_of(data["finding"], finding)


def _plain(value: Hold | Finding | None) -> dict[str, Any] | None:
    return None if value is None else asdict(value)


def _finding_of(data: dict[str, Any] | None, finding: type[Finding]) -> Finding | None:
    if data is None:
        return None
    priority = data.get("priority")
    try:
        names = tuple(data.get("names", ()))
        return finding(**data | {"priority": priority and Priority(priority), "names": names})
    except (TypeError, ValueError):
        return None


def _of_older(data: list[Any]) -> dict[str, Any]:
    """What was written before there was more than suppression to hold an alarm back."""
    (judged, active, acknowledged, suppressed), number, since, wait, past, finding = data
    if active:
        known = Letter.C if number or not suppressed else Letter.N
        letter = known if acknowledged else Letter.B
    else:
        letter = Letter.A if acknowledged else Letter.D
    return {
        "judged": judged,
        "letter": letter,
        "holds": [suppressed, None, None],
        "number": number,
        "priority": None,
        "since": since,
        "wait": wait,
        "taken": ["", None],
        "chatter": [[], False],
        "past": past,
        "finding": finding,
    }
