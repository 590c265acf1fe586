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
                   |                 | as it stands by now where it was told before the cause
"""

from typing import Any

from brineward.alarms.condition import Verdict
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmState


class Life:
    """One alarm at one source: what is judged of it, and what people know of it."""

    __slots__ = (
        "_off_delay",
        "_on_delay",
        "acknowledged",
        "number",
        "raised",
        "since",
        "standing",
        "suppressed",
        "truth",
        "verdict",
        "wait",
    )

    def __init__(self, *, on_delay_seconds: float, off_delay_seconds: float) -> None:
        self._on_delay = round(on_delay_seconds * SECOND)
        self._off_delay = round(off_delay_seconds * SECOND)
        self.truth: bool | None = None
        """What its condition said last."""
        self.verdict = Verdict(None)
        """The last verdict that was active; what the alarm's sentence is made of."""
        self.since: Instant = 0
        """When the condition became active this time."""
        self.standing = False
        """Active after its on-delay, and until its off-delay is over."""
        self.acknowledged = True
        self.suppressed = False
        self.number = 0
        """This occurrence's number; 0 when there is none."""
        self.raised: Instant = 0
        self.wait: Instant | None = None
        """When the on- or off-delay under way is over."""

    @property
    def state(self) -> AlarmState:
        """The state's name in the standard's words."""
        if self.suppressed:
            return AlarmState.SUPPRESSED
        if self.standing:
            return AlarmState.ACKNOWLEDGED if self.acknowledged else AlarmState.UNACKNOWLEDGED
        return AlarmState.NORMAL if self.acknowledged else AlarmState.RETURNED_UNACKNOWLEDGED

    def judge(self, verdict: Verdict, now: Instant) -> None:
        """Take a verdict: start or end a delay. Nothing is announced before `due`."""
        truth = verdict.active
        if truth is None:
            # No data never clears an alarm, and never raises one.
            self.truth = None
            self.wait = None
            return
        if truth:
            self.verdict = verdict
        if truth == self.truth:
            return
        self.truth = truth
        if truth == self.standing:
            self.wait = None
            return
        if truth:
            self.since = now
        self.wait = now + (self._on_delay if truth else self._off_delay)

    def due(self, now: Instant) -> bool:
        """Has a delay run out? Then the condition's word becomes the alarm's; did it change?"""
        if self.wait is None or now < self.wait:
            return False
        self.wait = None
        self.standing = bool(self.truth)
        if self.standing and not self.suppressed:
            self.acknowledged = False
            self.raised = now
        return True

    def take(self) -> bool:
        """A person has it; was there anything to take?"""
        if self.acknowledged:
            return False
        self.acknowledged = True
        return True

    def suppress(self) -> None:
        """A cause is standing that this is a consequence of."""
        self.suppressed = True

    def release(self, now: Instant) -> None:
        """The cause is gone: what still holds is raised afresh after its on-delay."""
        self.suppressed = False
        if self.standing and self.number == 0:
            self.standing = False
            self.wait = now + self._on_delay if self.truth else None

    def freeze(self) -> list[Any]:
        """The life as plain data."""
        verdict = [*self.verdict[:4], dict(self.verdict.facts), self.verdict.why]
        return [
            self.truth,
            verdict,
            self.since,
            self.standing,
            self.acknowledged,
            self.suppressed,
            self.number,
            self.raised,
            self.wait,
        ]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        (
            self.truth,
            verdict,
            self.since,
            self.standing,
            self.acknowledged,
            self.suppressed,
            self.number,
            self.raised,
            self.wait,
        ) = data
        self.verdict = Verdict(*verdict)
