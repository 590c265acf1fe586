"""The valve settings that batches were made with, and the strengths they gave. Pure."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from brineward.records.made import Batch


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsUsed:
    """One set of marks in one vessel, and what came of it."""

    vessel: str
    marks: Mapping[str, float]
    batches: Sequence[int]
    """Their numbers."""
    mass_fraction: float
    """On average; of a batch tested by hand, by its test."""
    interval_95: tuple[float, float] | None
    """Of that average; None if it isn't known."""
    rejected: int


def settings_used(batches: Iterable[Batch], target: float) -> list[SettingsUsed]:
    """Each set of marks once, the best first: fewest rejected, then the nearest to `target`.

    Batches without marks or without a strength are left out. `target` is a mass fraction.
    """
    groups: dict[tuple[str, tuple[tuple[str, float], ...]], list[Batch]] = {}
    for batch in batches:
        marks = batch.by_hand.settings
        if marks and batch.mass_fraction is not None:
            groups.setdefault((batch.vessel, tuple(sorted(marks.items()))), []).append(batch)
    found = [_used(vessel, dict(marks), group) for (vessel, marks), group in groups.items()]
    return sorted(
        found,
        key=lambda one: (
            one.rejected / len(one.batches),
            round(abs(one.mass_fraction - target), 6),
            one.batches,
        ),
    )


def _used(vessel: str, marks: Mapping[str, float], group: Sequence[Batch]) -> SettingsUsed:
    strengths = [_strength(one) for one in group]
    values = [value for value, _ in strengths]
    mean = fmean(values)
    doubts = [doubt for _, doubt in strengths if doubt is not None]
    spread = None
    if doubts:
        # Lasting errors are common to all batches; what differs between them averages out.
        common = fmean(doubts)
        scatter = stdev(values) / math.sqrt(len(values)) if len(values) > 1 else 0.0
        spread = 2 * math.hypot(common, scatter)
    return SettingsUsed(
        vessel=vessel,
        marks=marks,
        batches=[one.number for one in group],
        mass_fraction=mean,
        interval_95=None if spread is None else (mean - spread, mean + spread),
        rejected=sum(one.by_hand.accepted is False for one in group),
    )


def _strength(batch: Batch) -> tuple[float, float | None]:
    """Its strength and standard uncertainty: the test's where there is one."""
    if batch.tested is not None:
        return batch.tested.mass_fraction, batch.tested.standard_uncertainty
    value = batch.mass_fraction or 0.0
    if batch.interval_95 is None:
        return value, None
    low, high = batch.interval_95
    return value, (high - low) / 4
