"""The pieces of a notice: how it begins, what is in it and what is not, before any channel."""

import pytest

from brineward.alarms.condition import Verdict
from brineward.alarms.registry import site_of
from brineward.alarms.shelter_freezing import Cold
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import BookedAlarm
from brineward.plant.plan import DepotPlan, Duty
from brineward.readings.instants import HOUR, MINUTE
from brineward.telling.wording import NOT_TAKEN, RETURNED, STILL, Wording
from depots import START, plan


def cold(its: DepotPlan) -> BookedAlarm:
    """A shelter that has been near freezing for ten minutes."""
    book = AlarmBook(site_of(its))
    booked = next(one for one in book.all if one.key == "shelter-freezing/shelter")
    finding = Cold(value=2.0, limit=3.0, unit="degC", seconds_to_zero=3000.0)
    booked.life.judge(Verdict(True, finding), START)
    booked.life.due(START + 10 * MINUTE)
    booked.life.past = "shelter near freezing"
    return booked


@pytest.mark.parametrize(
    ("known", "kind", "lead"),
    [
        ("", "raised", "TH7 NOW"),
        (NOT_TAKEN, "raised", "TH7 NOW, not taken yet,"),
        (STILL, "again", "TH7 NOW, still not taken,"),
        (RETURNED, "again", "TH7 NOW, active again,"),
    ],
)
def test_a_raised_notice_says_first_why_it_comes(known: str, kind: str, lead: str) -> None:
    """New to who reads it, or known and why again; the rest is the same each time."""
    its = plan()
    notice = Wording(its).raised(cold(its), 7, START + 10 * MINUTE, known=known)
    assert (notice.kind, notice.lead, notice.code) == (kind, lead, "TH7")
    assert (notice.place, notice.headline) == ("Tern Hollow", "shelter near freezing")
    assert notice.how_bad == "0 C in 50 min"
    assert notice.time_left == "2.0 C now"
    assert notice.when == "Since 18:00"
    assert notice.response
    assert notice.take == ""


def test_how_to_take_it_is_said_where_a_reply_can() -> None:
    """Nobody is asked for a reply that is not heard."""
    its = plan(duty=Duty(on_call=("yard",), replies=True))
    notice = Wording(its).raised(cold(its), 7, START, known="")
    assert notice.take == "Reply TH7 to take it."


def test_numbers_are_in_the_depots_own_units() -> None:
    """Fahrenheit where the depot counts so."""
    its = plan(us_units=True)
    notice = Wording(its).raised(cold(its), 7, START, known="")
    assert (notice.how_bad, notice.time_left) == ("32 F in 50 min", "36 F now")


def test_cleared_taken_and_the_summary() -> None:
    """What it was raised for and from when to when; who has it, by name; what came and went."""
    its = plan()
    wording, booked = Wording(its), cold(its)
    cleared = wording.cleared(booked, 7, START + HOUR)
    assert (cleared.kind, cleared.lead) == ("cleared", "TH7 cleared,")
    assert (cleared.headline, cleared.when) == ("shelter near freezing", "18:00-19:00")
    taken = wording.taken(booked, 7, "yard", START)
    assert (taken.kind, taken.lead) == ("taken", "Yard lead has TH7,")
    assert wording.taken(booked, 7, "chief", START).lead == "chief has TH7,"
    for numbers, count in (
        ([3], "1 alarm came and went meanwhile: TH3"),
        ([3, 4], "2 alarms came"),
    ):
        summary = wording.summary(numbers, START, START + HOUR)
        assert (summary.kind, summary.code) == ("summary", "")
        assert summary.how_bad.startswith(count)
        assert summary.headline == "readings since 18:00 came late"
