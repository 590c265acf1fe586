"""Times, spans and strengths of a report as people read them. Pure."""

from datetime import datetime

from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant, local_from_instant
from brineward.records import Batch, Load
from brineward.reports.cells import Parts
from brineward.reports.contents import Report
from brineward.wording.operator_units import percent


def day_and_time(report: Report, at: Instant) -> str:
    """A time with its day of the week."""
    return f"{local(report, at):%a %Y-%m-%d %H:%M}"


def local(report: Report, at: Instant) -> datetime:
    """A time of the depot's own clock."""
    return local_from_instant(at, report.plan.zone)


def short_time(at: datetime, after: datetime | None = None) -> str:
    """A time within a report whose heading says the year; of the day of `after` without the day."""
    if after is not None and at.date() == after.date():
        return f"{at:%H:%M}"
    return f"{at:%a} {at.day} {at:%b %H:%M}"


def hours(seconds: float) -> str:
    """How long something was so."""
    if seconds < 60:
        return "none"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h" if seconds < 72 * 3600 else f"{seconds / 86_400:.1f} days"


def span(length: Instant) -> str:
    """From one moment to another: `6 min`, `10 h 41 min`, `7 d 8 h`."""
    if length < 2 * MINUTE:
        return f"{length // SECOND} s"
    if length < 2 * HOUR:
        return f"{length // MINUTE} min"
    if length < 48 * HOUR:
        return f"{length // HOUR} h {length % HOUR // MINUTE} min"
    return f"{length // (24 * HOUR)} d {length % (24 * HOUR) // HOUR} h"


def strength(made: Load | Batch) -> Parts:
    """A strength with its interval, in percent."""
    if made.mass_fraction is None:
        return Parts("not known", ("", "", ""))
    shown, value = percent(made.mass_fraction), round(made.mass_fraction * 100, 2)
    if made.interval_95 is None:
        return Parts(shown, (value, "", ""))
    low, high = made.interval_95
    numbers = (value, round(low * 100, 2), round(high * 100, 2))
    return Parts(f"{shown} ({percent(low)} to {percent(high)})", numbers)
