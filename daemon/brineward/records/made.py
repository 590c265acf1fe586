"""What a depot made and loaded: batches and loads, numbered, as they are known now."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from brineward.journal.episodes import FIGURES
from brineward.journal.handle import Handle
from brineward.readings.by_hand import BatchJudged, BlendSettings
from brineward.readings.entries import HandRecord, HandTest
from brineward.readings.instants import Instant
from brineward.records.acts import Acts
from brineward.records.by_hand import HandRecords
from brineward.records.ever import NEVER

_FIGURES: Final = ", ".join(FIGURES)
_SELECT: Final = f"""SELECT number, source, began, ended, {_FIGURES} FROM (
        SELECT row_number() OVER (ORDER BY id) AS number, * FROM episode
        WHERE depot = ? AND episode = ?)
    WHERE began < ? AND (ended IS NULL OR ended >= ?) ORDER BY number"""  # noqa: S608 - our own names


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """One load; what is not known, or not yet, is None."""

    depot: str
    number: int
    """Its place among the depot's loads, from 1; it keeps it."""
    began: Instant
    ended: Instant | None
    source: str
    """The pump, or the vessel if no switch shows which pump."""
    volume_m3: float | None
    volume_standard_uncertainty_m3: float | None
    mass_fraction: float | None
    interval_95: tuple[float, float] | None
    temperature_c: float | None
    salt_kg: float | None
    how: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """What people entered of a batch; None where nothing was."""

    accepted: bool | None = None
    settings: Mapping[str, float] | None = None
    """The marks of its blend valves, by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One batch: what was made between two times when the tank stood still. What is not known (yet)
    is None."""

    depot: str
    number: int
    """Its place among the depot's batches, from 1; it keeps it."""
    began: Instant
    ended: Instant | None
    vessel: str
    volume_m3: float | None
    volume_standard_uncertainty_m3: float | None
    mass_fraction: float | None
    """Of the vessel's brine once it was made."""
    interval_95: tuple[float, float] | None
    temperature_c: float | None
    salt_kg: float | None
    """Dissolved in what was made."""
    water_m3: float | None
    how: str | None
    tested: HandTest | None = None
    """The last test of the vessel after its end and before the next batch's."""
    by_hand: ByHand = ByHand()


_Each = TypeVar("_Each", Load, Batch)


def counted(found: Iterable[_Each], start: Instant, end: Instant) -> list[_Each]:
    """Those that ended from `start` to before `end`, and those that go on: of periods that follow
    one another, each that has ended is in one."""
    return [one for one in found if one.ended is None or start <= one.ended < end]


class Made:
    """Batches and loads of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle
        self._acts = Acts(handle)
        self._by_hand = HandRecords(handle)

    def loads(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[Load]:
        """Loads that went on between `start` and `end`, in order."""
        return [
            Load(
                depot=depot,
                number=row["number"],
                began=row["began"],
                ended=row["ended"],
                source=row["source"],
                volume_m3=row["amount_m3"],
                volume_standard_uncertainty_m3=row["amount_uncertainty_m3"],
                mass_fraction=row["mass_fraction"],
                interval_95=_interval(row),
                temperature_c=row["temperature_c"],
                salt_kg=row["salt_kg"],
                how=row["how"],
            )
            for row in self._rows(depot, "load", start, end)
        ]

    def batches(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[Batch]:
        """Batches that went on between `start` and `end`, in order."""
        rows = self._rows(depot, "batch", start, NEVER)
        tests = self._acts.valid_tests(depot, start)
        entered = [one.entry for one in self._by_hand.between(depot, start)]
        found: list[Batch] = []
        next_ended: dict[str, Instant] = {}
        next_began: dict[str, Instant] = {}
        for row in reversed(rows):
            vessel = row["source"]
            until = next_ended.get(vessel, NEVER)
            if row["began"] < end:
                by_hand = ByHand(
                    accepted=_accepted(row, until, entered),
                    settings=_settings(row, next_began.get(vessel, NEVER), entered),
                )
                found.append(_batch(depot, row, _test_of(row, until, tests), by_hand))
            next_began[vessel] = row["began"]
            if row["ended"] is not None:
                next_ended[vessel] = row["ended"]
        return found[::-1]

    def _rows(self, depot: str, episode: str, start: Instant, end: Instant) -> list[dict[str, Any]]:
        names = ("number", "source", "began", "ended", *FIGURES)
        with self._handle.reading() as db:
            rows = db.execute(_SELECT, (depot, episode, end, start)).fetchall()
        return [dict(zip(names, row, strict=True)) for row in rows]


def _interval(row: Mapping[str, Any]) -> tuple[float, float] | None:
    low, high = row["low_95"], row["high_95"]
    return None if low is None or high is None else (low, high)


def _test_of(row: Mapping[str, Any], until: Instant, tests: Sequence[HandTest]) -> HandTest | None:
    """The last test of this batch's brine, before the next one ended; None where there is none."""
    if row["ended"] is None:
        return None
    mine = [
        test for test in tests if test.vessel == row["source"] and row["ended"] <= test.at < until
    ]
    return max(mine, key=lambda test: test.at, default=None)


def _accepted(row: Mapping[str, Any], until: Instant, entered: Sequence[HandRecord]) -> bool | None:
    """The last verdict on it, from its end to the next batch's; None where nobody has judged it."""
    if row["ended"] is None:
        return None
    verdict = None
    for entry in entered:
        if (
            isinstance(entry.record, BatchJudged)
            and entry.record.vessel == row["source"]
            and row["ended"] <= entry.at < until
        ):
            verdict = entry.record.accepted
    return verdict


def _settings(
    row: Mapping[str, Any], until: Instant, entered: Sequence[HandRecord]
) -> Mapping[str, float] | None:
    """The last marks that were entered from its beginning to the next batch's."""
    marks = None
    for entry in entered:
        if (
            isinstance(entry.record, BlendSettings)
            and entry.record.vessel == row["source"]
            and row["began"] <= entry.at < until
        ):
            marks = dict(entry.record.marks)
    return marks


def _batch(depot: str, row: Mapping[str, Any], tested: HandTest | None, by_hand: ByHand) -> Batch:
    return Batch(
        depot=depot,
        number=row["number"],
        began=row["began"],
        ended=row["ended"],
        vessel=row["source"],
        volume_m3=row["amount_m3"],
        volume_standard_uncertainty_m3=row["amount_uncertainty_m3"],
        mass_fraction=row["mass_fraction"],
        interval_95=_interval(row),
        temperature_c=row["temperature_c"],
        salt_kg=row["salt_kg"],
        water_m3=row["water_m3"],
        how=row["how"],
        tested=tested,
        by_hand=by_hand,
    )
