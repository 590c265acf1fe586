"""The life of an alarm, by ISA-18.2 / IEC 62682, as one small state machine without a clock.

Condition, acknowledgement and suppression are separate fields, and the state's name is derived
from them, as OPC UA Part 9 does it. Delays are deadlines that the engine keeps:

    event          | from            | to
    ---------------|-----------------|------------------------------------------------------
    on-delay over  | normal          | unacknowledged
    on-delay over  | returned unack. | unacknowledged (announced again)
    off-delay over | unacknowledged  | returned unacknowledged
    off-delay over | acknowledged    | normal
    taken          | unacknowledged  | acknowledged
    taken          | returned unack. | normal
    suppressed     | any             | suppressed by design; goes on being judged
    released       | suppressed      | as judged afresh: normal until an on-delay is over, or
                   |                 | as it is by now where people knew of it before the cause
"""

from dataclasses import asdict
from typing import Any

from brineward.alarms.condition import Finding, Verdict
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmState


class Life:
    """One alarm at one source: what is judged of it, and what people know of it."""

    __slots__ = (
        "_off_delay",
        "_on_delay",
        "acknowledged",
        "active",
        "finding",
        "judged",
        "number",
        "past",
        "since",
        "suppressed",
        "wait",
    )

    def __init__(self, *, on_delay_seconds: float, off_delay_seconds: float) -> None:
        self._on_delay = round(on_delay_seconds * SECOND)
        self._off_delay = round(off_delay_seconds * SECOND)
        self.judged: bool | None = None
        """What its condition said last."""
        self.finding: Finding | None = None
        """The last finding while it was active; what the alarm's words are made of."""
        self.past = ""
        """What was wrong when it was raised, in the words for when it has cleared."""
        self.since: Instant = 0
        """When the condition became active this time."""
        self.active = False
        """Active after its on-delay, and until its off-delay is over."""
        self.acknowledged = True
        self.suppressed = False
        self.number = 0
        """This occurrence's number; 0 when there is none."""
        self.wait: Instant | None = None
        """When the on- or off-delay under way is over."""

    @property
    def state(self) -> AlarmState:
        """The state's name in the standard's words."""
        if self.suppressed:
            return AlarmState.SUPPRESSED
        if self.active:
            return AlarmState.ACKNOWLEDGED if self.acknowledged else AlarmState.UNACKNOWLEDGED
        return AlarmState.NORMAL if self.acknowledged else AlarmState.RETURNED_UNACKNOWLEDGED

    def judge(self, verdict: Verdict, now: Instant) -> None:
        """Take a verdict: start or end a delay. Nothing is announced before `due`."""
        judged = verdict.active
        if judged is None:
            # No data never clears an alarm, and never raises one.
            self.judged = None
            self.wait = None
            return
        if judged:
            self.finding = verdict.finding
        if judged == self.judged:
            return
        self.judged = judged
        if judged == self.active:
            self.wait = None
            return
        if judged:
            self.since = now
        self.wait = now + (self._on_delay if judged else self._off_delay)

    def due(self, now: Instant) -> bool:
        """Has a delay run out? Then what the condition says becomes the alarm's."""
        if self.wait is None or now < self.wait:
            return False
        self.wait = None
        self.active = bool(self.judged)
        if self.active and not self.suppressed:
            self.acknowledged = False
        return True

    def take(self) -> bool:
        """A person has it; was there anything to take?"""
        if self.acknowledged:
            return False
        self.acknowledged = True
        return True

    def suppress(self) -> None:
        """A cause is active that this is a consequence of."""
        self.suppressed = True

    def release(self, now: Instant) -> None:
        """The cause is gone: what is still so is raised afresh after its on-delay."""
        self.suppressed = False
        if self.active and self.number == 0:
            self.active = False
            self.wait = now + self._on_delay if self.judged else None

    def shift(self, by: Instant) -> None:
        """The watch counts its time anew, `by` milliseconds from where it was."""
        self.since = max(0, self.since + by)
        if self.wait is not None:
            self.wait += by

    def snapshot(self) -> list[Any]:
        """The life as plain data."""
        finding = None if self.finding is None else asdict(self.finding)
        known = [self.judged, self.active, self.acknowledged, self.suppressed]
        return [known, self.number, self.since, self.wait, self.past, finding]

    def restore(self, data: list[Any], finding: type[Finding]) -> None:
        """Become what `snapshot` wrote; a finding of another make is left: it comes anew."""
        known, self.number, self.since, self.wait, self.past, found = data
        self.judged, self.active, self.acknowledged, self.suppressed = known
        try:
            self.finding = None if found is None else finding(**found)
        except TypeError:
            self.finding = None
