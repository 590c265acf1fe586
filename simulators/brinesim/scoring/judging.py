"""Judge what the watchman said of one run by what was true in it. Pure."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

from brinesim.durations import seconds_from_rfc3339
from brinesim.scoring.explained import Explained, after_any

BEFORE_SECONDS = 60.0
AFTER_SECONDS = 1800.0
"""An alarm is a catch from a minute before a fault's onset to half an hour after its mending."""
BATCH_LOST = 0.005
"""Brine that is off its band by so much, as a mass fraction, can hardly be saved by what is still
to come into the tank."""
OFF_BAND = 0.01
"""Brine that is off its band by so much, as a mass fraction, is clearly off."""
ABOUT_A_SENSOR = frozenset({"sensor-silent", "sensor-implausible", "switch-contradicted"})
"""Alarms that name a sensor: naming the wrong one catches nothing."""
KNOWN_STATES = frozenset({"unacknowledged", "acknowledged"})
"""States of an alarm that is active and that people were told of."""
SLIPS = "a person's slip"
AFTERMATH_SECONDS = 8 * 3600.0
"""Other alarms this long after a mending are put down to the fault, not counted as false."""
FLOOD_SECONDS = 600.0
"""What one person is sent within so long is judged together (ISA-18.2-2016, clause 16)."""


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
    """From the moment at which the depot was truly wrong; below 0: predicted."""
    lead_seconds: float | None
    """From the alarm to the harm, where harm would have come; below 0: too late."""
    harm_was_due: bool
    room_seconds: float | None
    """From truly wrong to the harm: more lead than this nobody can give without foretelling."""
    every_seconds: float | None
    """How often the fault's sensor speaks, where it has one."""
    clearly_off: bool
    """Was a batch off its band by `OFF_BAND` when it ended?"""
    since_batch_seconds: float | None
    """From the end of the first such batch; below 0: announced before it ended."""
    since_start_seconds: float | None
    """From the pump's first start after the fault's onset; below 0: announced before it."""
    before_lost_seconds: float | None = None
    """From the alarm to the tank's being off its band by `BATCH_LOST`; None where it never was."""
    lost: bool = False
    """Was it ever?"""
    texted_seconds: float | None = None
    """From truly wrong to the first text about it; None where there was none."""
    texts_judged: bool = False
    """Was that looked at? In verdicts that were kept before, it was not."""
    known: bool = False
    """Its alarm was active already, from before: people knew of it, and nothing new was said."""
    most_off: float | None = None
    """For brine: how far off its band it was at most, as a mass fraction, before it was inside
    again; None where that was not looked at."""


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
    """Ids of alarms raised during or soon after a fault that was to raise another one, or none, or
    that never came to anything."""
    slips_noticed: int
    """Raisings that a person's slip explains."""
    texts: int
    """Texts about alarms."""
    repeats: int
    """Texts sent again of what was told before."""
    lines: int = 0
    """Texts about no alarm: the depot's daily line."""
    most_texts: int = 0
    """The most texts that one person was sent within ten minutes."""
    wet_noticed: int = 0
    """Raisings that rain in the containment explains."""
    salt_wanted: int = 0
    """Raisings about salt while the hopper truly wanted some, besides a fault's own."""
    tests_asked: int = 0
    """Raisings that ask for a test of what was made: people's habit, and no fault."""
    wear_noticed: int = 0
    """Raisings about a probe that had truly fouled by use."""
    brine_noticed: int = 0
    """Raisings about brine that was truly off its band, by no fault."""
    faults: int = 0
    """How many faults it had, whether they showed or not."""
    texts_about: dict[str, int] = field(default_factory=dict)
    """How many of the texts each alarm sent; those of a person's slip are under `SLIPS`."""
    code: str = ""
    """The state of the code that was judged, as `code_state` names it."""


def raised(changes: Sequence[Mapping[str, Any]]) -> list[tuple[float, str, str]]:
    """Time, id and source of every raising: it becomes active, and people are told.

    One that only got worse, or comes back to who had taken it, was active already.
    """
    return sorted(
        (seconds_from_rfc3339(change["time"]), str(change["alarm"]), str(change.get("source", "")))
        for change in changes
        if change.get("state") == "unacknowledged" and change.get("before") not in KNOWN_STATES
    )


def judge(truth: Mapping[str, Any], changes: Sequence[Mapping[str, Any]], *, seed: int) -> Judged:
    """The verdict on one run: `changes` are the objects that the watchman printed, texts too."""
    start, end = seconds_from_rfc3339(truth["start"]), seconds_from_rfc3339(truth["end"])
    raisings = raised([c for c in changes if "alarm" in c])
    told: list[tuple[Mapping[str, Any], tuple[float, str, str] | None, float]] = []
    """Each fault that shows, its first raising, and until when it could have been told."""
    owned: set[int] = set()
    spans: list[tuple[float, float]] = []
    for fault in truth["faults"]:
        onset = seconds_from_rfc3339(fault["onset"])
        mended = seconds_from_rfc3339(fault["mended"]) if fault["mended"] else end
        spans.append((onset - BEFORE_SECONDS, mended + AFTERMATH_SECONDS))
        # Brine stays weak after the valve is mended, so such a fault can be caught to the end.
        last = end if fault["band"] else mended + AFTER_SECONDS
        mine = [
            i
            for i, (at, alarm, source) in enumerate(raisings)
            if onset - BEFORE_SECONDS <= at <= last and _tells(fault, alarm, source)
        ]
        if fault["alarm"] and fault["wrong_from"]:
            owned.update(mine)
            told.append((fault, next((raisings[i] for i in mine), None), last))
    explained = Explained(truth, spans, end)
    why: Counter[str] = Counter()
    others: list[str] = []
    false: list[tuple[float, str, str]] = []
    for i, raising in enumerate(raisings):
        by = "" if i in owned else explained.by(raising)
        why[by] += 1
        if by == "fault":
            others.append(raising[1])
        elif by == "nothing":
            false.append(raising)
    true = [one for one in active_stretches(changes) if one.raising not in false]
    catches = [
        _caught(
            truth,
            fault,
            raising,
            seed,
            known=None if raising else _known_of(fault, true, last),
            texted=_first_text(changes, raising),
        )
        for fault, raising, last in told
    ]
    return Judged(
        scenario=truth["scenario"],
        seed=seed,
        days=(end - start) / 86400,
        catches=tuple(catches),
        false_alarms=tuple(alarm for _, alarm, _ in false),
        other_alarms=tuple(others),
        slips_noticed=why["slip"],
        salt_wanted=why["salt"],
        tests_asked=why["habit"],
        wear_noticed=why["wear"],
        brine_noticed=why["brine"],
        texts=sum(_about_alarms(c) and c.get("kind") != "again" for c in changes),
        repeats=sum(_about_alarms(c) and c.get("kind") == "again" for c in changes),
        lines=sum(_is_text(c) and not _about_alarms(c) for c in changes),
        faults=len(truth["faults"]),
        texts_about=_texts_about(changes, explained.slips),
        most_texts=most_texts(
            [(seconds_from_rfc3339(c["time"]), c["person"]) for c in changes if _is_text(c)]
        ),
        wet_noticed=why["wet"],
    )


def _texts_about(changes: Sequence[Mapping[str, Any]], slips: Sequence[float]) -> dict[str, int]:
    """How many texts, repeats left out, came of each alarm; "" where it was raised before."""
    alarms: dict[int, str] = {}
    counted: Counter[str] = Counter()
    for change in changes:
        if "alarm" in change:
            alarm, at = str(change["alarm"]), seconds_from_rfc3339(change["time"])
            if change.get("state") == "unacknowledged":
                slipped = alarm == "closed-valve" and after_any(at, slips)
                alarms[change.get("number", 0)] = SLIPS if slipped else alarm
        elif _about_alarms(change) and change.get("kind") != "again":
            counted[alarms.get(change.get("number", 0), "")] += 1
    return dict(sorted(counted.items()))


def _first_text(
    changes: Sequence[Mapping[str, Any]], raising: tuple[float, str, str] | None
) -> float | None:
    """When somebody was first texted about a raising, in seconds; None where nobody was."""
    number = None
    for change in changes:
        if "alarm" in change:
            if raising and raised([change]) == [raising]:
                number = change.get("number")
            continue
        about = (change.get("number"), *change.get("also", ()))
        if number is not None and _is_text(change) and number in about:
            return seconds_from_rfc3339(change["time"])
    return None


class Stretch(NamedTuple):
    """An alarm of a source was active, and people knew, from one time to another, in seconds."""

    alarm: str
    source: str
    begin: float
    end: float

    @property
    def raising(self) -> tuple[float, str, str]:
        """How it began, as `raised` has it."""
        return self.begin, self.alarm, self.source


def active_stretches(changes: Sequence[Mapping[str, Any]]) -> list[Stretch]:
    """From when to when each alarm was active and told; what never ended lasts for ever."""
    since: dict[tuple[str, str], float] = {}
    found: list[Stretch] = []
    for change in changes:
        if "alarm" not in change:
            continue
        key = (str(change["alarm"]), str(change.get("source", "")))
        if change.get("state") in KNOWN_STATES:
            since.setdefault(key, seconds_from_rfc3339(change["time"]))
        elif key in since:
            found.append(Stretch(*key, since.pop(key), seconds_from_rfc3339(change["time"])))
    return found + [Stretch(*key, begin, math.inf) for key, begin in since.items()]


def _known_of(
    fault: Mapping[str, Any], stretches: Sequence[Stretch], last: float
) -> tuple[float, str, str] | None:
    """The alarm of this fault that was active already when the depot became wrong, or None.

    One that was raised falsely is none.
    """
    wrong = seconds_from_rfc3339(fault["wrong_from"])
    for one in stretches:
        if one.begin <= min(wrong, last) < one.end and _tells(fault, one.alarm, one.source):
            return wrong, one.alarm, one.source
    return None


def most_texts(texts: Sequence[tuple[float, str]]) -> int:
    """The most texts to one person within ten minutes; each has its time in seconds, and whom."""
    recent: dict[str, list[float]] = {}
    most = 0
    for at, person in sorted(texts):
        times = [one for one in recent.get(person, ()) if at - one < FLOOD_SECONDS]
        recent[person] = [*times, at]
        most = max(most, len(times) + 1)
    return most


def _tells(fault: Mapping[str, Any], alarm: str, source: str) -> bool:
    """Is it this fault that the alarm tells of?"""
    if alarm in ABOUT_A_SENSOR and fault["names"]:
        return alarm in fault["alarms"] and source in fault["names"]
    return alarm in fault["alarms"]


def _is_text(change: Mapping[str, Any]) -> bool:
    return "person" in change and "body" in change


def _about_alarms(change: Mapping[str, Any]) -> bool:
    """Is it a text about one alarm or several?"""
    return _is_text(change) and bool(change.get("number") or change.get("also"))


def _caught(
    truth: Mapping[str, Any],
    fault: Mapping[str, Any],
    raising: tuple[float, str, str] | None,
    seed: int,
    *,
    known: tuple[float, str, str] | None,
    texted: float | None,
) -> Catch:
    raising = raising or known
    first = None if raising is None else raising[0]
    batch = _clearly_off_from(truth, fault)
    start = _next_start(truth, fault)
    lost = _lost_from(truth, fault)
    harm = seconds_from_rfc3339(fault["harm"]) if fault["harm"] else None
    wrong = seconds_from_rfc3339(fault["wrong_from"])
    return Catch(
        scenario=truth["scenario"],
        seed=seed,
        kind=fault["kind"],
        alarm=fault["alarm"],
        sensor=fault["sensor"],
        caught=raising is not None,
        by="" if raising is None else raising[1],
        delay_seconds=None if first is None else first - wrong,
        lead_seconds=None if first is None or harm is None else harm - first,
        harm_was_due=harm is not None,
        room_seconds=None if harm is None else harm - wrong,
        every_seconds=fault["every"],
        clearly_off=batch is not None,
        since_batch_seconds=None if first is None or batch is None else first - batch,
        before_lost_seconds=None if first is None or lost is None else lost - first,
        lost=lost is not None,
        most_off=_most_off(truth, fault),
        known=known is not None,
        texted_seconds=None if texted is None else texted - wrong,
        texts_judged=True,
        since_start_seconds=None if first is None or start is None else first - start,
    )


def _next_start(truth: Mapping[str, Any], fault: Mapping[str, Any]) -> float | None:
    """When the pump first started after the fault's onset; None where it never did."""
    onset = seconds_from_rfc3339(fault["onset"])
    return next((at for at in map(seconds_from_rfc3339, truth["pump_starts"]) if at >= onset), None)


def _lost_from(truth: Mapping[str, Any], fault: Mapping[str, Any]) -> float | None:
    """When the tank was off its band by `BATCH_LOST`, between the truth's rows by a straight line;
    None where it never was.
    """
    if fault["band"] is None or "series" not in truth:
        return None
    limit, side = fault["band"]
    start, onset = seconds_from_rfc3339(truth["start"]), seconds_from_rfc3339(fault["onset"])
    rows = list(zip(truth["series"]["seconds"], truth["series"]["main_strength"], strict=True))
    for (before, was), (at, strength) in pairwise(rows):
        beyond = side * (strength - limit) - BATCH_LOST
        if start + at >= onset and beyond >= 0:
            inside = BATCH_LOST - side * (was - limit)
            share = inside / (inside + beyond) if inside > 0 else 0.0
            return float(start + before + share * (at - before))
    return None


def _most_off(truth: Mapping[str, Any], fault: Mapping[str, Any]) -> float | None:
    """How far off its band the tank was at most, by the truth's rows, until it was inside."""
    if fault["band"] is None or "series" not in truth:
        return None
    limit, side = fault["band"]
    wrong = seconds_from_rfc3339(fault["wrong_from"]) - seconds_from_rfc3339(truth["start"])
    most = 0.0
    for at, strength in zip(
        truth["series"]["seconds"], truth["series"]["main_strength"], strict=True
    ):
        off = side * (strength - limit)
        if at >= wrong and off <= 0:
            break
        most = max(most, off if at >= wrong else 0.0)
    return round(most, 6)


def _clearly_off_from(truth: Mapping[str, Any], fault: Mapping[str, Any]) -> float | None:
    """When the first batch ended that was off its band by `OFF_BAND`; None where none was."""
    if fault["band"] is None:
        return None
    limit, side = fault["band"]
    onset = seconds_from_rfc3339(fault["onset"])
    ends = (
        seconds_from_rfc3339(batch["end"])
        for batch in truth["batches"]
        if side * (batch["strength"] - limit) >= OFF_BAND
    )
    return next((end for end in ends if end >= onset), None)
