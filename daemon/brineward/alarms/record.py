"""What is known of an alarm before it is ever raised: one record an alarm.

In the terms of ISA-18.2 / IEC 62682 clause 9 (rationalisation): causes, consequence, response,
time to respond, delays, deadband, priority, what it is suppressed by. Quantities in the texts
are written in braces, `{3 degC}`, and read in the depot's own units.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRecord:
    """One alarm of the catalogue."""

    id: str
    """Stable for ever: journals, configs and scripts name it."""
    title: str
    """Three words or so, for lists."""
    place: int
    """Its place in lists, the gravest first; tens leave room between."""
    priority: Priority
    graver_where_it_blinds: bool = False
    """About a sensor: medium where that sensor serves an alarm of high priority."""
    danger: str = ""
    """What it watches for at the plant, in two or three words, for when nobody can; empty if it is
    no danger itself, or is announced by another alarm."""
    cause: str
    consequence: str
    response: str
    """What to do, in full; says what not to do."""
    text_response: str
    """The same for a text: the fewest words that are still safe."""
    text_asks: str = ""
    """What to reply after the depot's letters for all that a text has no room for."""
    text_afterwards: str = ""
    """What still has to be done once the condition is clear."""
    respond_within: str
    respond_seconds: float | None = None
    """The same in seconds; None where it has no fixed time."""
    on_delay_seconds: float
    off_delay_seconds: float
    limit_quantity: str | None = None
    """What a limit in the config is a quantity of (`temperature`, ...); None where none is set."""
    limit: float | None = None
    """The limit that holds where the config sets none, SI; None where the plan gives it."""
    limit_unit: str = ""
    deadband: float = 0.0
    """How far back over the limit the value must come, SI."""
    basis: str = ""
    """Where limit and delays come from."""
    clears_unsaid: bool = False
    """Whoever did what it asks knows that it is done: nobody is texted that it has cleared, but
    for a siren, which knows nothing by itself."""
    routine: bool = False
    """It asks for what people do by habit: texted by day once they had a morning for it, and not at
    all if it is done by then."""
    suppressed_by: tuple[str, ...] = ()
    """Alarms of the depot under which this one is a consequence and stays quiet."""
    speaks_up_when: str = ""
    """When its causes hold it back no longer: where its finding `speaks_up`. Empty: never."""
    once_under: tuple[str, ...] = ()
    """Alarms of the depot under which it is announced once: while one of them is active, and until
    what it judges was seen to be good, raised again it is the same, and stays quiet."""
    quiet_in: tuple[Mode, ...] = ()
    """Modes of the depot in which its condition is as it should be: suppressed by design."""
    taken_by_reply: bool = True
    """Can it be taken by a reply? Not if it says that replies are not received."""
    latched: bool = False
    """Latched: it stays when its condition is clear, until somebody resets it."""
    shelve_at_most_seconds: float = 86_400.0
    """How long a person may shelve it at once; while its priority is high, an hour or less."""


Cover = Literal["covered", "indirect", "blind"]


class Coverage(NamedTuple):
    """How one alarm at one place is watched."""

    alarm: str
    source: str
    how: Cover
    by: tuple[str, ...] = ()
    """The sensors it is judged from."""
    would_help: str = ""
    """Which sensor would cover it, where it is indirect or blind."""
