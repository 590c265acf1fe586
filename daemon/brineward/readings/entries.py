"""Entries: everything that can change a decision of the engine, besides readings and refusals."""

from dataclasses import dataclass
from typing import Literal

from brineward.readings.by_hand import ByHand
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.values import Reading, Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """A person has taken an alarm: acknowledged it, in the standard's words."""

    depot: str
    time: Instant
    received: Instant
    number: int
    """The occurrence's number in its depot."""
    by: str
    """The person's id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandTest:
    """A test of brine by hand: where, when, and the strength that it shows."""

    depot: str
    time: Instant
    received: Instant
    vessel: str
    at: Instant
    """When the sample was tested."""
    mass_fraction: float
    """Sodium chloride, 0 to 1."""
    standard_uncertainty: float
    by: str = ""
    cleaned: bool = False
    """The probe was cleaned, moved or replaced since the last test."""
    entered: str = ""
    """What was entered, as a person reads it: "1.178 at 15.6 degC"."""
    kind: str = ""
    """`specific_gravity`, `salometer` or `percent`; empty in tests of older versions."""
    mark: float = 0.0
    """As it was read, in the kind's own unit."""
    sample_c: float | None = None
    """The sample's temperature when it was read."""
    scale: str = ""
    """The hydrometer's."""
    sure: bool = False
    """Confirmed, though a slip would explain it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StruckTest:
    """A test by hand was wrong: it stays on record, and teaches nothing."""

    depot: str
    time: Instant
    received: Instant
    vessel: str
    at: Instant
    """When the sample was tested, as the test says."""
    mass_fraction: float
    """What it showed, to a millionth."""
    by: str = ""
    why: str = ""

    def strikes(self, test: HandTest) -> bool:
        """Is it this test that is struck?"""
        key = self.vessel, self.at, self.mass_fraction
        return key == (test.vessel, test.at, round(test.mass_fraction, 6))


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A person's text is answered, or the person has opted out of texts, or in again."""

    depot: str
    time: Instant
    received: Instant
    person: str
    body: str = ""
    """What to answer; empty for nothing."""
    opted: Literal["", "out", "in"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeSet:
    """A depot's mode was set: by a person, or by the schedule in its config."""

    depot: str
    time: Instant
    received: Instant
    mode: Mode
    single_batch: bool = False
    """One batch is wanted: the plant is not to refill by itself."""
    by: str = ""
    """The person's id; empty for the schedule."""


HandlingKind = Literal[
    "hand back", "shelve", "unshelve", "out of service", "back in service", "reset"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """What a person does with an alarm besides taking it.

    It is named by its number, or by alarm and source if there is no occurrence of it.
    """

    depot: str
    time: Instant
    received: Instant
    what: HandlingKind
    number: int = 0
    """The occurrence's number in its depot; 0 where `alarm` and `source` name it."""
    alarm: str = ""
    source: str = ""
    by: str = ""
    """The person's id."""
    until: Instant = 0
    """When a shelving ends; the alarm's own maximum holds all the same."""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandRecord:
    """A record that a person entered by hand, or one that replaces an earlier one.

    Nothing is ever erased: a correction is its own record, with who made it and why.
    """

    depot: str
    time: Instant
    received: Instant
    at: Instant
    """When what it says was done."""
    record: ByHand
    by: str = ""
    """The person's id."""
    corrects: int = 0
    """The number of the record whose place it takes; 0 for none."""
    why: str = ""
    """Why the earlier one was wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """Somebody is on duty, from `begins` to before `ends`."""

    begins: Instant
    ends: Instant
    person: str
    """The person's id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RotaRead:
    """A depot's rota as the external calendar has it: what it says now replaces what it said
    before."""

    depot: str
    time: Instant
    received: Instant
    shifts: tuple[Shift, ...]
    """In order of their beginnings."""


Act = Take | HandTest | StruckTest | Answer | ModeSet | Handling | HandRecord
"""What a person did. Refused at the edge where it is none.

Where `received` is later than what its depot had come to, it was let through among old news: that
is how old the news was.
"""

ACTS = (Take, HandTest, StruckTest, Answer, ModeSet, Handling, HandRecord)
"""Their kinds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkChanged:
    """The connection to the broker came or went."""

    time: Instant
    up: bool
    gap: bool = False
    """The broker had no session for us on this connect: what was sent meanwhile is lost."""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What became of one text, as the outbox follower says."""

    depot: str
    time: Instant
    text: str
    """The text's id, as in `TextDue.id`."""
    number: int
    """The occurrence that it was about; 0 for none."""
    person: str
    outcome: Literal["accepted", "dead"]
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """The service started: its version, its config's hash, its time-zone data's version."""

    time: Instant
    version: str
    config_hash: str
    zone_data: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmGone:
    """An alarm that was not normal and that the config no longer has, or no longer enables."""

    time: Instant
    depot: str
    alarm: str
    source: str
    number: int
    state: str
    """Its last state, as `AlarmState` writes it."""
    priority: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStepped:
    """This machine's clock was set: it shows `time`, which is `by` milliseconds more (or less)
    than it would show had it only run on."""

    time: Instant
    by: int


TroubleKind = Literal[
    "disk-low",
    "records-damaged",
    "channel-unusable",
    "box-strained",
    "clock-unsynced",
    "part-stopped",
    "export-behind",
    "receipts-missing",
    "replies-unheard",
    "drill",
]
"""A trouble is called by the id of its alarm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceTrouble:
    """Something wrong with the watch itself: the disk, the records, a channel, the machine."""

    time: Instant
    trouble: TroubleKind
    present: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """Time has passed, and nothing else happened."""

    time: Instant


Entry = (
    Reading
    | Refusal
    | Act
    | RotaRead
    | LinkChanged
    | Delivery
    | Started
    | AlarmGone
    | ClockStepped
    | ServiceTrouble
    | Tick
)
