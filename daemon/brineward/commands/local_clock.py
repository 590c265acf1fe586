"""The wall clock of a depot's people."""

from datetime import tzinfo

from brineward.readings.instants import DAY, Instant, local_from_instant


class LocalClock:
    """Writes instants for somebody who reads them now, in one time zone."""

    def __init__(self, zone: tzinfo, now: Instant) -> None:
        self._zone = zone
        self._now = now
        self.zone_name = str(zone)

    def time(self, instant: Instant) -> str:
        """Hours and minutes, with the day where it is not today, or the date beyond a week."""
        then = local_from_instant(instant, self._zone)
        if self.is_today(instant):
            return f"{then:%H:%M}"
        near = abs(self._now - instant) < 6 * DAY
        return f"{then:%a %H:%M}" if near else f"{then:%Y-%m-%d %H:%M}"

    def day_and_time(self, instant: Instant) -> str:
        """Day, date, hours and minutes."""
        return f"{local_from_instant(instant, self._zone):%a %Y-%m-%d %H:%M}"

    def is_today(self, instant: Instant) -> bool:
        """Is it of the same local day as now?"""
        then, now = (local_from_instant(one, self._zone) for one in (instant, self._now))
        return then.date() == now.date()
