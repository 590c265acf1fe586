"""Judge what the watchman said of one run by what was true in it. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

BEFORE_SECONDS = 60.0
AFTER_SECONDS = 1800.0
"""An alarm is a catch from a minute before a fault's onset to half an hour after its mending."""
UNSEEN = ("clock-wrong",)
"""Kinds of fault that a replayed recording cannot show: it has no times of arrival."""
SLIP_SECONDS = 300.0
"""An alarm this long after a person's slip (the valve opened late) is of that, and not false."""
AFTERMATH_SECONDS = 8 * 3600.0
"""Other alarms this long after a mending are put down to the fault, not counted as false."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Catch:
    """What became of one fault that should have raised an alarm."""

    scenario: str
    seed: int
    kind: str
    alarm: str
    sensor: str
    caught: bool
    by: str
    """The alarm that caught it; empty where none did."""
    delay_seconds: float | None
    """From the moment at which the depot was truly wrong; below 0: foretold."""
    lead_seconds: float | None
    """From the alarm to the harm, where harm would have come; below 0: too late."""
    harm_was_due: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One run's verdict."""

    scenario: str
    seed: int
    days: float
    catches: tuple[Catch, ...]
    false_alarms: tuple[str, ...]
    """Ids of alarms raised when nothing was wrong."""
    other_alarms: tuple[str, ...]
    """Ids of alarms raised during or soon after a fault that was to raise another one, or none."""
    slips_noticed: int
    """Raisings that a person's slip explains."""
    texts: int
    repeats: int
    """Texts sent again: a replay has nobody who takes an alarm."""


def _seconds(stamp: str) -> float:
    return datetime.fromisoformat(stamp).timestamp()


def raised(changes: Sequence[Mapping[str, Any]]) -> list[tuple[float, str]]:
    """Time and id of every raising: from anything but acknowledged to unacknowledged."""
    return sorted(
        (_seconds(change["time"]), str(change["alarm"]))
        for change in changes
        if change.get("state") == "unacknowledged"
    )


def judge(truth: Mapping[str, Any], changes: Sequence[Mapping[str, Any]], *, seed: int) -> Judged:
    """The verdict on one run: `changes` are the objects that the watchman printed, texts too."""
    start, end = _seconds(truth["start"]), _seconds(truth["end"])
    raisings = raised([c for c in changes if "alarm" in c])
    catches: list[Catch] = []
    owned: set[int] = set()
    spans: list[tuple[float, float]] = []
    for fault in truth["faults"]:
        onset = _seconds(fault["onset"])
        mended = _seconds(fault["mended"]) if fault["mended"] else end
        spans.append((onset - BEFORE_SECONDS, mended + AFTERMATH_SECONDS))
        # Brine stays weak after the valve is mended, so such a fault can be caught to the end.
        last = end if fault["kind"] in LINGERING else mended + AFTER_SECONDS
        mine = [
            i
            for i, (at, alarm) in enumerate(raisings)
            if alarm in fault["alarms"] and onset - BEFORE_SECONDS <= at <= last
        ]
        owned.update(mine)
        if fault["alarm"] and fault["wrong_from"] and fault["kind"] not in UNSEEN:
            catches.append(_caught(truth, fault, raisings[mine[0]] if mine else None, seed))
    slips = [_seconds(slip) for slip in truth["slips"]]
    slipped = 0
    others: list[str] = []
    false: list[str] = []
    for i, (at, alarm) in enumerate(raisings):
        if i in owned:
            continue
        if alarm == "closed-valve" and any(0 <= at - slip <= SLIP_SECONDS for slip in slips):
            slipped += 1
        else:
            (others if any(a <= at <= b for a, b in spans) else false).append(alarm)
    return Judged(
        scenario=truth["scenario"],
        seed=seed,
        days=(end - start) / 86400,
        catches=tuple(catches),
        false_alarms=tuple(false),
        other_alarms=tuple(others),
        slips_noticed=slipped,
        texts=sum(_is_text(c) and c.get("kind") != "again" for c in changes),
        repeats=sum(_is_text(c) and c.get("kind") == "again" for c in changes),
    )


def _is_text(change: Mapping[str, Any]) -> bool:
    return "person" in change and "body" in change


LINGERING = frozenset({"weak-brine", "strong-brine", "salt-nearly-gone"})


def _caught(
    truth: Mapping[str, Any], fault: Mapping[str, Any], raising: tuple[float, str] | None, seed: int
) -> Catch:
    first = None if raising is None else raising[0]
    harm = _seconds(fault["harm"]) if fault["harm"] else None
    return Catch(
        scenario=truth["scenario"],
        seed=seed,
        kind=fault["kind"],
        alarm=fault["alarm"],
        sensor=fault["sensor"],
        caught=raising is not None,
        by="" if raising is None else raising[1],
        delay_seconds=None if first is None else first - _seconds(fault["wrong_from"]),
        lead_seconds=None if first is None or harm is None else harm - first,
        harm_was_due=harm is not None,
    )
