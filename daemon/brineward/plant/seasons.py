"""The dates of a year at which a depot's mode is set by itself, as its config says."""

from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import NamedTuple

from brineward.readings.instants import SECOND, Instant, local_from_instant
from brineward.readings.modes import Mode

HOUR_OF_DAY = 8
"""At this hour of the depot's clock a scheduled mode begins: whoever reads of it can say otherwise
at once (common practice, no source)."""


class Season(NamedTuple):
    """A mode, and the day of each year on which it begins."""

    month: int
    day: int
    mode: Mode


class Due(NamedTuple):
    """A mode, and when it is next to begin."""

    at: Instant
    mode: Mode


@dataclass(frozen=True, slots=True)
class Seasons:
    """A depot's year; no two of its seasons begin on one day."""

    each: tuple[Season, ...] = ()

    def next_after(self, now: Instant, zone: tzinfo) -> Due | None:
        """What begins next after `now`; None where no season is in the config."""
        year = local_from_instant(now, zone).year
        due = [
            Due(_begin(season, at, zone), season.mode)
            for season in self.each
            for at in (year, year + 1)
        ]
        return min((one for one in due if one.at > now), default=None)


def _begin(season: Season, year: int, zone: tzinfo) -> Instant:
    at = datetime(year, season.month, season.day, HOUR_OF_DAY, tzinfo=zone)
    return round(at.timestamp() * SECOND)
