"""The hours in which no pump should run, on the depot's own clock."""

from zoneinfo import ZoneInfo

import pytest

from brineward.plant.idle_hours import IdleHours
from brineward.readings.instants import HOUR, instant_from_rfc3339, rfc3339_from_instant

CHICAGO = ZoneInfo("America/Chicago")
NIGHT = IdleHours(begin=22 * 60, end=5 * 60)
NOON = IdleHours(begin=12 * 60, end=13 * 60 + 30)


@pytest.mark.parametrize(
    ("hours", "local", "holds"),
    [
        (NIGHT, "2026-01-14T21:59:00-06:00", False),
        (NIGHT, "2026-01-14T22:00:00-06:00", True),
        (NIGHT, "2026-01-15T04:59:59-06:00", True),
        (NIGHT, "2026-01-15T05:00:00-06:00", False),
        (NOON, "2026-07-14T12:00:00-05:00", True),
        (NOON, "2026-07-14T13:29:00-05:00", True),
        (NOON, "2026-07-14T13:30:00-05:00", False),
    ],
)
def test_the_hours_hold_from_their_begin_to_before_their_end(
    hours: IdleHours, local: str, holds: bool
) -> None:
    """Also past midnight, in winter and in summer time."""
    assert hours.hold(instant_from_rfc3339(local), CHICAGO) is holds


@pytest.mark.parametrize(
    ("now", "begins"),
    [
        ("2026-01-14T21:00:00-06:00", "2026-01-14T22:00:00-06:00"),
        ("2026-01-14T22:00:00-06:00", "2026-01-15T22:00:00-06:00"),
        ("2026-01-15T03:00:00-06:00", "2026-01-15T22:00:00-06:00"),
        # The nights in which the clocks change.
        ("2026-03-07T23:00:00-06:00", "2026-03-08T22:00:00-05:00"),
        ("2026-10-31T23:00:00-05:00", "2026-11-01T22:00:00-06:00"),
    ],
)
def test_the_next_begin_is_the_next_such_time_on_the_wall(now: str, begins: str) -> None:
    """After a change of the clocks, too."""
    found = NIGHT.next_begin(instant_from_rfc3339(now), CHICAGO)
    assert rfc3339_from_instant(found) == rfc3339_from_instant(instant_from_rfc3339(begins))
    assert NIGHT.hold(found, CHICAGO)
    assert not NIGHT.hold(found - HOUR, CHICAGO)
