"""Hours of the depot's clock in which no pump should run."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo

from brineward.readings.instants import MINUTE, SECOND, Instant, local_from_instant

_DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class IdleHours:
    """From one time of day to another, in minutes after midnight; past midnight where need be."""

    begin: int
    end: int

    def hold(self, now: Instant, zone: tzinfo) -> bool:
        """Is it within them now?"""
        local = local_from_instant(now, zone)
        since = (local.hour * 60 + local.minute - self.begin) % _DAY_MINUTES
        return since < (self.end - self.begin) % _DAY_MINUTES

    def next_begin(self, now: Instant, zone: tzinfo) -> Instant:
        """When they begin next, after now; where clocks change, as the wall shows it."""
        local = local_from_instant(now, zone)
        at = time(self.begin // 60, self.begin % 60)
        for day in (local.date(), local.date() + timedelta(days=1)):
            begin = datetime.combine(day, at, tzinfo=zone).timestamp() * SECOND
            if begin > now:
                return round(begin)
        return now + _DAY_MINUTES * MINUTE
