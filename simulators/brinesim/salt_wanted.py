"""When the hopper truly wants salt, or the brine a test: what may be told of it is no false alarm.

Nobody has to have done anything wrong for it: a bed is used up by loads in the best of weeks.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

LOW_M = 0.50
"""A bed under this makes weaker brine than a full one (see the plant's equations)."""
HALVED = 0.55
"""Of the bed after the last filling; about half, as a sensor that is off by 3 cm may see it."""
FILLED_M = 0.15
"""A bed that rises by less may not have been filled for a sensor that sees it to some centimetres:
it is half, or is not, as before."""
FILLING_SECONDS = 3600.0
"""What rises on within this time of that is of the same filling, which takes its time."""
LASTS_M = 0.12
_WEEKEND = 66 * 3600.0
_SUMMER_HOURS = 1.0
"""So much ahead of the standard time that a scenario names the depot's clock may be; the watchman
has its zone, with summer time."""


class Wants(NamedTuple):
    """Spans in which a hopper wants salt, in seconds from the start."""

    low: list[tuple[float, float]]
    """The bed is low, or won't last the weekend."""
    wanted: list[tuple[float, float]]
    """That, or it is half of what it was."""


def salt_wanted(
    seconds: Sequence[float], beds_m: Sequence[float], start_ms: int, local_hours: float
) -> Wants:
    """When salt is low, halved, or won't last the weekend.

    The last: between Friday noon and Monday 06:00 on the depot's clock, at the use of as long a
    time before.
    """
    wants = Wants([], [])
    full = low = beds_m[0] if beds_m else 0.0
    filled = -FILLING_SECONDS
    used: list[float] = []
    for place, (now, bed) in enumerate(zip(seconds, beds_m, strict=True)):
        before = beds_m[place - 1] if place else bed
        used.append((used[-1] if used else 0.0) + max(0.0, before - bed))
        if bed > low + FILLED_M:
            full = low = bed
            filled = now
        elif now - filled <= FILLING_SECONDS:
            full = max(full, bed)
        low = min(low, bed)
        before_that = _place_of(seconds, place, now - _WEEKEND)
        took = now - seconds[before_that]
        use = (used[place] - used[before_that]) / took if took > 0 else 0.0
        left = _seconds_to_monday(start_ms / 1000 + now, local_hours)
        gone_by_monday = left is not None and bed - use * left < LASTS_M and use > 0
        since = seconds[place - 1] if place else now
        if bed < LOW_M or gone_by_monday:
            _add(wants.low, since, now)
        if bed < LOW_M or gone_by_monday or bed < HALVED * full:
            _add(wants.wanted, since, now)
    return wants


def _add(spans: list[tuple[float, float]], since: float, now: float) -> None:
    """One more time that is wanted: of the last span where that lasted to the time before."""
    if spans and spans[-1][1] == since:
        spans[-1] = (spans[-1][0], now)
    else:
        spans.append((now, now))


def _place_of(seconds: Sequence[float], place: int, at: float) -> int:
    step = seconds[1] - seconds[0] if len(seconds) > 1 else 1.0
    return max(0, min(place, round((at - seconds[0]) / step)))


def _seconds_to_monday(unix: float, local_hours: float) -> float | None:
    """Until Monday 06:00; None but for Friday noon, in summer time too, to then."""
    local = datetime.fromtimestamp(unix, UTC) + timedelta(hours=local_hours)
    day, hour = local.weekday(), local.hour + local.minute / 60
    if not (day > 4 or (day == 4 and hour >= 12 - _SUMMER_HOURS) or (day == 0 and hour < 6)):
        return None
    return ((7 - day) % 7 * 24 + 6 - hour) * 3600
