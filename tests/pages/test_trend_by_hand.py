"""A trend's picture under real fingers, a mouse and a keyboard, in a real browser."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Browser, Page, expect

from brineward.journal import Journal
from brineward.readings.instants import DAY, HOUR, MINUTE
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from pages.page_bench import PageBench, page_bench
from pages.page_visits import PHONE, chromium, photographed
from services import DEPOT

WHOLE = DAY // 1000


class Sight(NamedTuple):
    """A depot with a day of its level, and a browser."""

    bench: PageBench
    browser: Browser
    cookie: str


class Trend(NamedTuple):
    """The picture on a phone."""

    page: Page
    line: Any
    left: float
    top: float
    width: float

    def shown(self) -> tuple[int, int]:
        """The ends of what is shown, in seconds since 1970."""
        start, end = (self.page.locator("#trend").get_attribute("data-shown") or "").split()
        return int(start), int(end)

    def at(self, share: float) -> float:
        """The time that stands so far from the left."""
        start, end = self.shown()
        return start + share * (end - start)

    def fingers(self, what: str, *shares: float, down: float = 60.0) -> None:
        """Fingers on the picture, each so far from its left."""
        points = [
            {"x": self.left + share * self.width, "y": self.top + down, "id": number}
            for number, share in enumerate(shares)
        ]
        self.line.send("Input.dispatchTouchEvent", {"type": f"touch{what}", "touchPoints": points})

    def dragged(self, *ways: tuple[float, float]) -> None:
        """Each finger put down, moved from here to there in ten steps, and lifted."""
        self.fingers("Start", *(start for start, _ in ways))
        for step in range(1, 11):
            self.fingers("Move", *(start + (end - start) * step / 10 for start, end in ways))
        self.fingers("End")


@pytest.fixture(scope="module")
def sight(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sight]:
    """A level each ten seconds for a day; one reading of it is far above the others."""
    with page_bench(tmp_path_factory.mktemp("trend")) as bench, chromium() as browser:
        now = bench.clock.now()
        with Journal.open(bench.settings.journal.path) as journal:
            journal.commit(
                [
                    Step(Reading(DEPOT, "main-level", at, _level(at, now), at), ())
                    for at in range(now - DAY, now, MINUTE // 6)
                ]
            )
        yield Sight(bench, browser, bench.signed_in().cookies["brineward"])


def _level(at: int, now: int) -> float:
    spike = 0 <= now - 9 * HOUR - at < MINUTE // 6
    return 1.9 if spike else 1.0 + (at - now + DAY) / DAY * 0.2


@pytest.fixture
def trend(sight: Sight) -> Iterator[Trend]:
    """The level's day on a phone."""
    context = sight.browser.new_context(
        viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True
    )
    context.add_cookies([{"name": "brineward", "value": sight.cookie, "url": sight.bench.base}])
    page = context.new_page()
    page.goto(f"{sight.bench.depot}/trends?series=main-level&span=day")
    over = page.locator("#trend .u-over")
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    line = context.new_cdp_session(page)
    yield Trend(page, line, box["x"], box["y"], box["width"])
    context.close()


def test_two_fingers_stretch_it_and_what_is_under_each_stays_there(trend: Trend) -> None:
    """Apart: what they had between them is as wide as they are now; together again: back."""
    before = [trend.at(0.4), trend.at(0.6)]
    trend.dragged((0.4, 0.2), (0.6, 0.8))
    start, end = trend.shown()
    assert end - start == pytest.approx(WHOLE / 3, rel=0.02)
    for share, time in zip((0.2, 0.8), before, strict=True):
        assert trend.at(share) == pytest.approx(time, abs=300)
    photographed(trend.page, "trend-pinched")
    trend.dragged((0.2, 0.4), (0.8, 0.6))
    start, end = trend.shown()
    assert end - start == pytest.approx(WHOLE, rel=0.02)


def test_one_finger_moves_it_as_far_as_there_is(trend: Trend) -> None:
    """What is under the finger goes with it; at an end it stops and stays as wide."""
    trend.dragged((0.4, 0.2), (0.6, 0.8))
    width, time = trend.shown()[1] - trend.shown()[0], trend.at(0.3)
    trend.dragged((0.3, 0.6))
    assert trend.at(0.6) == pytest.approx(time, abs=300)
    first = trend.shown()[0]
    for _ in range(4):
        trend.dragged((0.1, 0.9))
    start, end = trend.shown()
    assert start < first
    assert end - start == pytest.approx(width, abs=5)
    trend.dragged((0.1, 0.9))
    assert trend.shown() == (start, end)


def test_up_and_down_scrolls_the_page(trend: Trend) -> None:
    """A thumb that only wants to read on is not caught by the picture."""
    trend.dragged((0.4, 0.2), (0.6, 0.8))
    was, page = trend.shown(), trend.page
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#trend .u-over").bounding_box()
    assert box is not None
    swipe = trend._replace(top=box["y"])
    swipe.fingers("Start", 0.5, down=140)
    for step in range(1, 13):
        swipe.fingers("Move", 0.5, down=140 - 10 * step)
    swipe.fingers("End")
    page.wait_for_function("scrollY > 60")
    assert trend.shown() == was


def test_what_is_zoomed_into_is_as_fine_as_it_was_measured(trend: Trend) -> None:
    """A spike of one reading stands in the picture of a day, and in the hour around it with each
    reading beside it."""
    page = trend.page
    table = page.locator("details table")
    assert "6.2" in (table.text_content() or ""), "1.9 m is 6.2 ft"
    page.locator("#trend").focus()
    with page.expect_response(lambda one: "&start=" in one.url) as answer:
        for _ in range(5):
            page.keyboard.press("+")
    start, end = trend.shown()
    points = answer.value.json()["points"]
    assert len(points) > 250
    assert max(b[0] - a[0] for a, b in pairwise(points)) <= 21
    assert start <= points[0][0] + 30
    assert points[-1][0] - 30 <= end


def test_by_keys_alone(trend: Trend) -> None:
    """Plus and minus zoom, arrows move, 0 shows all; what is shown is said to who can't see it;
    a key of the browser's own stays the browser's."""
    page = trend.page
    whole = trend.shown()
    page.locator("#trend").focus()
    page.keyboard.press("+")
    start, end = trend.shown()
    assert end - start == pytest.approx(WHOLE * 0.6, abs=5)
    page.keyboard.press("ArrowRight")
    moved = trend.shown()
    assert moved[0] - start == pytest.approx(WHOLE * 0.12, abs=5)
    assert moved[1] - moved[0] == pytest.approx(end - start, abs=5)
    page.keyboard.press("ArrowLeft")
    assert trend.shown() == (start, end)
    page.keyboard.press("Alt+ArrowRight")
    assert trend.shown() == (start, end)
    expect(page.locator("#shown")).to_contain_text("Shown:")
    said = page.locator("#shown").text_content()
    page.keyboard.press("-")
    expect(page.locator("#shown")).not_to_have_text(said or "")
    page.keyboard.press("0")
    assert trend.shown() == whole
    for _ in range(30):
        page.keyboard.press("+")
    start, end = trend.shown()
    assert end - start == pytest.approx(60, abs=2)


def test_a_mouse_drags_over_what_it_wants_to_see(trend: Trend) -> None:
    """From here to there, and a double click shows all again."""
    want = trend.at(0.25), trend.at(0.75)
    mouse, down = trend.page.mouse, trend.top + 50
    mouse.move(trend.left + 0.25 * trend.width, down)
    mouse.down()
    mouse.move(trend.left + 0.5 * trend.width, down, steps=4)
    mouse.move(trend.left + 0.75 * trend.width, down, steps=4)
    mouse.up()
    for shown, wanted in zip(trend.shown(), want, strict=True):
        assert shown == pytest.approx(wanted, abs=600)
    mouse.dblclick(trend.left + 0.5 * trend.width, down)
    start, end = trend.shown()
    assert end - start == pytest.approx(WHOLE, rel=0.02)
