"""When a season begins: on its day at eight, by the depot's own clock."""

from zoneinfo import ZoneInfo

import pytest

from brineward.plant.seasons import Due, Season, Seasons
from brineward.readings.instants import instant_from_rfc3339
from brineward.readings.modes import Mode

CHICAGO = ZoneInfo("America/Chicago")
YEAR = Seasons((Season(4, 30, Mode.LAID_UP), Season(11, 1, Mode.IN_SERVICE)))


@pytest.mark.parametrize(
    ("now", "at", "mode"),
    [
        ("2026-01-01T00:00:00Z", "2026-04-30T13:00:00Z", Mode.LAID_UP),
        ("2026-04-30T12:59:59Z", "2026-04-30T13:00:00Z", Mode.LAID_UP),
        ("2026-04-30T13:00:00Z", "2026-11-01T14:00:00Z", Mode.IN_SERVICE),
        ("2026-12-31T23:59:59Z", "2027-04-30T13:00:00Z", Mode.LAID_UP),
        ("2027-01-01T03:00:00Z", "2027-04-30T13:00:00Z", Mode.LAID_UP),
    ],
)
def test_the_next_is_the_first_after_now(now: str, at: str, mode: Mode) -> None:
    """Through the year's end, and by the wall's clock: on 1 November clocks change."""
    due = YEAR.next_after(instant_from_rfc3339(now), CHICAGO)
    assert due == Due(instant_from_rfc3339(at), mode)


def test_without_seasons_nothing_is_due() -> None:
    """People alone set the mode then."""
    assert Seasons().next_after(0, CHICAGO) is None
