"""What a report holds, in SI and instants: gathered once, written in several forms."""

from collections.abc import Sequence
from dataclasses import dataclass

from brineward.plant.plan import DepotPlan
from brineward.readings.entries import HandTest
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.records import Batch, Bucket, HandEntry, Load
from brineward.records.acts import EnteredTest
from brineward.records.balance import Balance
from brineward.reports.period import Period


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthPoint:
    """A strength with its 95 % interval, as mass fractions."""

    time: Instant
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TankCourse:
    """How one tank went."""

    vessel: str
    levels: Sequence[Bucket]
    """In m; empty where no sensor measures it."""
    strengths: Sequence[StrengthPoint]
    tests: Sequence[HandTest]
    struck: Sequence[EnteredTest]
    """The tests that were struck."""
    off_band_seconds: float
    """How long its strength lay outside its band, brine that is still being made included."""
    unknown_seconds: float
    """How long there was no strength, of the time in which a probe was there to tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureCourse:
    """How warm one place was."""

    sensor: str
    points: Sequence[Bucket]
    """In degC."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmStory:
    """One occurrence of an alarm."""

    number: int
    alarm: str
    source: str
    priority: Priority
    sentence: str
    raised: Instant
    taken: Instant | None
    by: str
    """Who took it, by id."""
    cleared: Instant | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TextCounts:
    """Texts that fell due, and what became of them."""

    due: int
    dead: int
    """Nobody got these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One depot in one period."""

    plan: DepotPlan
    period: Period
    made: Instant
    begins_with_records: bool
    """Was nothing recorded before its start, which is later than that of the stretch asked for?"""
    tanks: Sequence[TankCourse]
    temperatures: Sequence[TemperatureCourse]
    alarms: Sequence[AlarmStory]
    texts: TextCounts
    modes: Sequence[tuple[Mode, Instant]]
    """What it was used for, and from when on."""
    batches: Sequence[Batch]
    """Those that ended within it, or go on."""
    loads: Sequence[Load]
    """Those that ended within it, or go on."""
    balance: Balance
    entered: Sequence[HandEntry]
    """What people entered by hand of this time."""
    without_readings_seconds: float
    """How long no sensor reported anything."""
