"""Loads, batches, a night, an alarm's story and reports on the page; records by hand entered."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest

from brineward.journal import Journal
from brineward.page.words import say
from brineward.readings.by_hand import BatchJudged, LoadTaken, Struck
from brineward.readings.entries import HandRecord, StruckTest
from brineward.readings.instants import HOUR, MINUTE, SECOND, local_from_instant
from brineward.readings.outputs import AlarmState, EpisodeChanged, Step
from journal.samples import alarm, hand_test, reading
from pages.page_bench import PageBench, page_bench
from pages.page_visits import token_in
from services import DEPOT


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    """A page; TH12 is active."""
    with page_bench(tmp_path) as built:
        yield built


def _loaded(bench: PageBench) -> None:
    """A load of a morning, and a record of it with nothing amiss, as the service keeps them."""
    now = bench.clock.now()
    load = EpisodeChanged(
        depot=DEPOT,
        episode="load",
        source="loading",
        time=now - HOUR,
        began=now - HOUR,
        ended=now - HOUR + 8 * MINUTE,
        amount_m3=4.5425,
        amount_uncertainty_m3=0.0568,
        mass_fraction=0.2312,
        low_95=0.2281,
        high_95=0.2343,
        salt_kg=1240.0,
        how="by meter and level",
    )
    record = HandRecord(
        depot=DEPOT,
        time=now - HOUR,
        received=now - HOUR,
        at=now - HOUR,
        record=LoadTaken(vessel="main", volume_m3=4.5425, truck="7"),
        by="yard",
    )
    with Journal.open(bench.settings.journal.path) as journal:
        journal.commit([Step(record, (load,))])


def test_loads_stand_with_how_sure_they_are(bench: PageBench) -> None:
    """Volume and strength with their intervals, in the depot's units."""
    _loaded(bench)
    page = bench.signed_in().get(f"{bench.depot}/made", timeout=10).text
    for said in ("1,200 gal +/- 30 gal", "23.1 % (22.8 to 23.4)", "by meter and level"):
        assert said in page, said


def test_a_struck_test_is_shown_as_struck_and_no_longer_tests_the_tank(bench: PageBench) -> None:
    """By whom; and the tank, of which it was the only one, was never tested."""
    now = bench.clock.now()
    test = replace(hand_test(), depot=DEPOT, time=now - HOUR, at=now - HOUR, cleaned=True)
    strike = StruckTest(
        depot=DEPOT, time=now, received=now, vessel="main", at=test.at,
        mass_fraction=test.mass_fraction, by="dispatch",
    )  # fmt: skip
    yard, pages = bench.signed_in(), []
    for entry in (test, strike):
        with Journal.open(bench.settings.journal.path) as journal:
            journal.commit([Step(entry, ())])
        paths = (f"{bench.depot}/tests", bench.depot)
        pages.append([yard.get(path, timeout=10).text for path in paths])
    (before, tested), (after, untested) = pages
    name = bench.settings.depots[DEPOT].name_of("dispatch")
    said = f"1.176 at 15.6 degC, probe cleaned, struck by {name}"
    assert (said in before, said in after) == (False, True)
    never = say("due.none_ever", name="main tank")
    assert (never in tested, never in untested) == (False, True)


def test_an_alarm_has_its_story_with_the_texts_about_it(bench: PageBench) -> None:
    """What it was, when, who was texted and whether it went; one that never was is not found."""
    yard = bench.signed_in()
    page = yard.get(f"{bench.depot}/story/12", timeout=10)
    assert page.status_code == 200
    assert "Active, nobody has it" in page.text
    assert "acknowledged" not in page.text
    assert "Text to Yard lead (waiting)" in page.text
    assert yard.get(f"{bench.depot}/story/13", timeout=10).status_code == 404
    assert f'href="/d/{DEPOT}/story/12"' in yard.get(bench.depot, timeout=10).text


def test_a_night_is_told_and_the_nights_before_it(bench: PageBench) -> None:
    """The last whole night by name, and with each step back the one before."""
    yard = bench.signed_in()
    titles = []
    for back in range(3):
        page = yard.get(f"{bench.depot}/night?back={back}", timeout=10)
        titles.append(page.text.split("<h1>")[1].split("</h1>")[0])
    assert all(title.startswith("Night of ") for title in titles)
    assert len(set(titles)) == 3


def test_by_night_it_is_tonight_so_far_and_then_the_nights_before(bench: PageBench) -> None:
    """Whoever looks at three in the morning means this night; by day the last one, whole."""
    zone = bench.settings.depots[DEPOT].zone
    local = local_from_instant(bench.clock.now(), zone)
    for hour, title in ((3, "Tonight so far"), (12, "Night of ")):
        wanted = local.replace(hour=hour, minute=0) + timedelta(days=1)
        bench.clock.ahead = round((wanted - local).total_seconds()) * SECOND
        yard = bench.signed_in()
        page = yard.get(f"{bench.depot}/night", timeout=10).text
        assert page.split("<h1>")[1].startswith(title)
        whole = yard.get(f"{bench.depot}/night?back=0", timeout=10).text
        assert whole.split("<h1>")[1].startswith("Night of ")
        assert ("/night?back=0" in page) is (hour == 3)
        assert ("The night after" in whole) is (hour == 3)


def test_what_is_active_stands_before_what_has_cleared(bench: PageBench) -> None:
    """However grave it was: what is over needs nobody's legs."""
    now = bench.clock.now()
    over = replace(
        alarm(alarm="shelter-freezing", source="shelter", number=11),
        time=now,
        before=AlarmState.UNACKNOWLEDGED,
        state=AlarmState.RETURNED_UNACKNOWLEDGED,
    )
    with Journal.open(bench.settings.journal.path) as journal:
        journal.commit([Step(reading(0)._replace(time=now, received=now), (over,))])
    page = bench.signed_in().get(bench.depot, timeout=10).text
    assert "1 alarm needs somebody. 1 alarm cleared before anybody took it." in page
    assert page.index("Take TH12") < page.index("Take TH11")
    assert "nobody has taken it" in page


def test_a_report_opens_and_its_policy_allows_its_own_style_alone(bench: PageBench) -> None:
    """As the command draws it; the browser may use that very style, and nothing else."""
    yard = bench.signed_in()
    listed = yard.get(f"{bench.depot}/reports", timeout=10).text
    for kind in ("night", "week", "month", "season"):
        assert f'href="/d/{DEPOT}/reports/{kind}"' in listed
        page = yard.get(f"{bench.depot}/reports/{kind}", timeout=30)
        assert page.status_code == 200
        assert "Tern Hollow" in page.text
        policy = page.headers["content-security-policy"]
        assert "'sha256-" in policy
        assert "unsafe" not in policy
        assert "script-src" not in policy
    assert yard.get(f"{bench.depot}/reports/decade", timeout=10).status_code == 404


def test_records_are_shown_confirmed_and_entered(bench: PageBench) -> None:
    """By the words of the command: nothing is entered before it was shown; a slip is said."""
    yard = bench.signed_in()
    url = f"{bench.depot}/record"

    def sent(**form: str) -> str:
        token = token_in(yard.get(url, timeout=10).text)
        return yard.post(url, data={"token": token, **form}, timeout=10).text

    def entered() -> list[HandRecord]:
        return [one for one in bench.inbox() if isinstance(one, HandRecord)]

    load = {"kind": "load", "amount": "1200", "unit": "gal", "truck": "7", "to": "Route 9"}
    shown = sent(**load)
    assert "Load of 1,200 gal from main tank, truck 7, to Route 9." in shown
    assert not entered()
    assert "number 1: load of 1,200 gal" in sent(**load, sure="yes")
    assert "120000 gal can&#39;t be right for a load." in sent(
        kind="load", amount="120000", unit="gal", sure="yes"
    )
    assert "must be a number" in sent(kind="salt", amount="lots", unit="tons", sure="yes")
    sent(kind="batch", verdict="accepted", note="clear", sure="yes")
    first, second = entered()
    assert isinstance(first.record, LoadTaken)
    assert (first.record.truck, first.by) == ("7", "yard")
    assert first.record.volume_m3 == pytest.approx(4.542, abs=0.001)
    assert second.record == BatchJudged(vessel="main", accepted=True, note="clear")
    said = yard.get(f"{url}/understood", params=load, timeout=10).json()
    assert said["shows"].startswith("Load of 1,200 gal")


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"kind": "load", "amount": "lots", "unit": "gal"}, '"How much" must be a number'),
        ({"kind": "load", "amount": "", "unit": "gal"}, '"How much" must be a number'),
        ({"kind": "load", "amount": "1200 7", "unit": "gal"}, '"How much" must be a number'),
        ({"kind": "load", "amount": "7,5", "unit": "m3"}, "with commas only between thousands"),
        (
            {"kind": "load", "amount": "120000", "unit": "gal"},
            "120000 gal can't be right for a load",
        ),
        ({"kind": "load", "amount": "9", "unit": "lb"}, "9 lb can't be right for a load"),
        ({"kind": "salt", "amount": "2000000", "unit": "kg"}, "for a delivery of salt"),
        ({"kind": "water", "amount": "9999999999", "unit": "m3"}, "for the water meter"),
        (
            {"kind": "load", "amount": "9", "unit": "m3", "to": "the yard from the shed"},
            "Leave the words truck, driver, to and from out",
        ),
        ({"kind": "load", "amount": "9", "unit": "m3", "driver": "x\x07"}, "can't be printed"),
        ({"kind": "settings", "marks": "feed"}, "Each mark must be a name and a number"),
        ({"kind": "settings", "marks": "feed=1 feed=2"}, "Each name once"),
        ({"kind": "upkeep", "what": "cleaning"}, 'Say under "Note" what it was about'),
        ({"kind": "nothing"}, "can't be read"),
    ],
)
def test_a_refused_record_is_said_in_the_forms_words(
    bench: PageBench, form: dict[str, str], said: str
) -> None:
    """By the names of its fields, while it is typed and when it is sent; never by the words of the
    command, which who fills in a form has not seen."""
    yard = bench.signed_in()
    url = f"{bench.depot}/record"
    [typed] = yard.get(f"{url}/understood", params=form, timeout=10).json()["problems"]
    assert said in typed
    assert "expected" not in typed
    token = token_in(yard.get(url, timeout=10).text)
    sent = yard.post(url, data={"token": token, "sure": "yes", **form}, timeout=10)
    assert sent.status_code == 422
    assert typed in unescape(sent.text)
    assert not [one for one in bench.inbox() if isinstance(one, HandRecord)]


def test_a_record_is_put_right_with_a_reason(bench: PageBench) -> None:
    """Struck only with why, and by a number that there is."""
    _loaded(bench)
    yard = bench.signed_in()
    url = f"{bench.depot}/record"
    page = yard.get(f"{url}?corrects=1", timeout=10)
    assert "In the place of number 1: Load of 1,200 gal" in page.text
    form = {"token": token_in(page.text), "corrects": "1", "strike": "yes"}
    assert "Say why" in yard.post(url, data=form, timeout=10).text
    assert "number 1 is struck" in yard.post(url, data={**form, "why": "twice"}, timeout=10).text
    [struck] = [one for one in bench.inbox() if isinstance(one, HandRecord)]
    assert struck == replace(
        struck, record=Struck(), corrects=1, why="twice", by="yard", depot=DEPOT
    )
    assert yard.get(f"{url}?corrects=9", timeout=10).status_code == 404
