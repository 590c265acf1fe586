"""What raised an alarm where no fault did: a slip, rain, use, wear, brine that was off. Pure."""

from collections.abc import Mapping, Sequence
from typing import Any

from brinesim.durations import seconds_from_rfc3339

SLIP_SECONDS = 300.0
"""An alarm this long after a person's slip (the valve opened late) is of that, and not false."""
WET = "containment-wet"
WET_SECONDS = 900.0
"""This alarm is true while there is liquid in the containment, rain too, and so long after it."""
ABOUT_SALT = {"salt-half": "salt_wanted", "salt-low": "salt_low"}
"""Alarms that tell of ordinary use, each with the truth's spans in which the hopper wants salt."""
SLACK_SECONDS = 3600.0
"""What the truth's five minutes and an alarm's own delays may put between the two."""
DRIFTED = "probe-drifted"
"""This alarm is true of a conductivity probe that has fouled by use, and of one with a fault."""
A_PROBE = "-conductivity"
"""The end of such a probe's name."""
WEAK, FILL_WEAK = "brine-weak", "fill-weak"
"""The second is true of a fill while what it leaves in the tank is weak."""
ASKS_FOR_A_TEST = frozenset({"batch-untested"})
"""Alarms that ask for what people do by habit: true of people who test seldom, never of a fault."""


class Explained:
    """What a raising that caught no fault was due to, by the truth of its run."""

    def __init__(
        self, truth: Mapping[str, Any], faults: Sequence[tuple[float, float]], end: float
    ) -> None:
        """`faults` is from when to when alarms are put down to each fault; in seconds."""
        self._faults = faults
        self.slips = [seconds_from_rfc3339(slip) for slip in truth["slips"]]
        worn = [at for name, at in truth.get("worn", {}).items() if name.endswith(A_PROBE)]
        self._true: dict[str, tuple[str, list[tuple[float, float]]]] = {
            WET: (
                "wet",
                _spans([(a, b or truth["end"]) for a, b in truth.get("wet", ())], WET_SECONDS),
            ),
            DRIFTED: ("wear", [(seconds_from_rfc3339(at), end) for at in worn]),
        }
        for alarm, wanted in ABOUT_SALT.items():
            self._true[alarm] = "salt", _spans(truth.get(wanted, ()), SLACK_SECONDS)
        for alarm, off in truth.get("brine_off", {}).items():
            self._true[alarm] = "brine", _spans(off, SLACK_SECONDS)
        self._true[FILL_WEAK] = self._true.get(WEAK, ("brine", []))

    def by(self, raising: tuple[float, str, str]) -> str:
        """`slip`, `fault`, `wet`, `salt`, `brine`, `wear`, `habit` or `nothing`."""
        at, alarm, _ = raising
        if alarm == "closed-valve" and after_any(at, self.slips):
            return "slip"
        if _within_any(at, self._faults):
            return "fault"
        reason, spans = self._true.get(alarm, ("", []))
        if _within_any(at, spans):
            return reason
        return "habit" if alarm in ASKS_FOR_A_TEST else "nothing"


def _spans(stamps: Sequence[Sequence[str]], later: float) -> list[tuple[float, float]]:
    return [(seconds_from_rfc3339(a), seconds_from_rfc3339(b) + later) for a, b in stamps]


def _within_any(at: float, spans: Sequence[tuple[float, float]]) -> bool:
    return any(begin <= at <= end for begin, end in spans)


def after_any(at: float, slips: Sequence[float]) -> bool:
    """Is it within `SLIP_SECONDS` after one of these? All in seconds."""
    return any(0 <= at - slip <= SLIP_SECONDS for slip in slips)
