"""An alarm that nobody has taken, and a watch that is gone: on every page, in a browser."""

from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from brineward.config.settings import PageSettings
from brineward.journal import Journal
from brineward.page.words import SENTENCES
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority, Step
from brokers import until
from journal.samples import alarm, reading
from pages.page_bench import PageBench, page_bench
from pages.page_visits import PHONE, chromium, photographed

DESK = (1440, 900)
PAGES = (
    *("/tests", "/record", "/record?kind=load", "/made", "/night", "/reports", "/story/12"),
    *("/alarms", "/texts", "/mode", "/mode?mode=standing%20by", "/watched", "/catalogue"),
    *("/trends?series=main-level&span=hours_6", "/alarm/99/take"),
)
"""Every page of a depot but its first screen, and those that are about TH12 itself."""
TAKE = "Take TH12"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    """A page; TH12 is active, and nobody has it."""
    with page_bench(tmp_path) as built:
        yield built


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One for all."""
    with chromium() as found:
        yield found


def opened(
    browser: Browser,
    bench: PageBench,
    *,
    size: tuple[int, int] = PHONE,
    scheme: Literal["light", "dark"] = "light",
    script: bool = True,
    person: str = "yard",
) -> Page:
    """A browser of its own in which somebody is signed in."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=scheme,
        java_script_enabled=script,
    )
    cookie = bench.signed_in(person).cookies["brineward"]
    context.add_cookies([{"name": "brineward", "value": cookie, "url": bench.base}])
    return context.new_page()


def became(bench: PageBench, state: AlarmState, **more) -> AlarmChanged:
    """An alarm becomes this now; TH12 where no other is named."""
    now = bench.clock.now()
    change = replace(alarm(state=state, unit="1", **more), time=now)
    with Journal.open(bench.settings.journal.path) as journal:
        journal.signs_of_life.note(beat=now)
        journal.commit([Step(reading(0, 1.5)._replace(time=now, received=now), (change,))])
    return change


def test_whoever_comes_too_late_to_take_it_reads_who_has_it(
    bench: PageBench, browser: Browser
) -> None:
    """An alarm that somebody took a moment before is as active as it was; one that is over is said
    to be over."""
    page = opened(browser, bench)
    became(bench, AlarmState.ACKNOWLEDGED, number=12, by="dispatch")
    page.goto(f"{bench.depot}/alarm/12/take")
    main = page.locator("main")
    expect(main).to_contain_text("Dispatch desk has it")
    expect(main).not_to_contain_text("not active any more")
    expect(main.locator("form")).to_have_count(0)
    expect(main.locator(".do")).to_contain_text("Test")
    became(bench, AlarmState.NORMAL, number=12)
    page.goto(f"{bench.depot}/alarm/12/take")
    expect(main).to_contain_text("TH12 is not active any more.")


def low_and_high(bench: PageBench) -> None:
    """Two more that wait: TH3 for long and of low priority, TH14 of high priority but over."""
    low = {"alarm": "sensor-silent", "sentence": "Main level sensor is silent."}
    became(bench, AlarmState.UNACKNOWLEDGED, number=3, priority=Priority.LOW, **low)
    weak = {"alarm": "strengths-differ", "sentence": "The hopper's brine is strong."}
    became(bench, AlarmState.UNACKNOWLEDGED, number=14, source="hopper", **weak)
    became(bench, AlarmState.RETURNED_UNACKNOWLEDGED, number=14, source="hopper", **weak)


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_each_page_says_which_alarm_waits_and_leads_to_where_it_is_taken(
    bench: PageBench, browser: Browser, script: bool
) -> None:
    """With its code and what it is; from each page one tap leads to the question, and a second
    takes it. The page that asks does not say it twice, nor does the first screen."""
    page = opened(browser, bench, script=script)
    for path in PAGES:
        page.goto(bench.depot + path)
        banner = page.locator("main .banner .needed")
        expect(banner).to_contain_text("TH12 Main tank's brine weak.")
        expect(banner).not_to_contain_text("more")
        expect(banner).to_be_in_viewport(ratio=1)
        # What is just being drawn anew has no box.
        box = until(banner.get_by_role("link", name=TAKE).bounding_box, 5, "the link's place")
        assert box["height"] >= 44, path
    for path in ("", "/alarm/12/shelve"):
        page.goto(bench.depot + path)
        expect(page.locator(".banner .needed")).to_have_count(0)
    expect(page.get_by_role("button", name="Yes, shelve it")).to_be_visible()
    page.goto(f"{bench.depot}/record?kind=load")
    page.get_by_role("link", name=TAKE).click()
    expect(page.locator(".banner .needed")).to_have_count(0)
    page.get_by_role("button", name="Yes, I have TH12").click()
    expect(page.locator(".said")).to_contain_text("You have TH12")
    page.context.close()


def test_the_most_urgent_is_named_and_how_many_more(bench: PageBench, browser: Browser) -> None:
    """An active one before one that is over, high before low, however long each waits; one that is
    over says so; the page about one tells of the others."""
    low_and_high(bench)
    page = opened(browser, bench)
    page.goto(f"{bench.depot}/night")
    banner = page.locator(".banner .needed")
    expect(banner).to_contain_text("TH12 Main tank's brine weak.")
    expect(banner).to_contain_text("and 2 more")
    photographed(page, "banner-three")
    page.goto(f"{bench.depot}/alarm/12/take")
    expect(banner).to_contain_text("TH3 Main level sensor is silent.")
    expect(banner).to_contain_text("and 1 more")
    page.wait_for_timeout(1500)
    expect(banner).to_contain_text("TH3")
    became(bench, AlarmState.ACKNOWLEDGED, by="yard")
    became(bench, AlarmState.NORMAL, number=3, alarm="sensor-silent", sentence="It is back.")
    page.goto(f"{bench.depot}/night")
    expect(banner).to_contain_text("TH14 The hopper's brine is strong. Cleared")
    expect(banner).to_contain_text("nobody has taken it")
    page.context.close()


def test_who_may_only_look_is_led_to_the_first_screen(tmp_path: Path, browser: Browser) -> None:
    """There is nothing to take for them."""
    with page_bench(tmp_path, PageSettings(look=("yard",)), ("dispatch",)) as bench:
        page = opened(browser, bench)
        page.goto(f"{bench.depot}/trends")
        banner = page.locator(".banner .needed")
        expect(banner).to_contain_text("TH12")
        expect(banner.get_by_role("link", name=TAKE)).to_have_count(0)
        banner.get_by_role("link", name="Look at it").click()
        expect(page).to_have_url(bench.depot)
        page.context.close()


def test_a_page_that_needs_no_journal_is_there_without_one(bench: PageBench) -> None:
    """Its own words stay readable, and it says that it can't tell what waits."""
    yard = bench.signed_in()
    path = bench.settings.journal.path
    path.rename(path.with_suffix(".away"))
    page = yard.get(f"{bench.depot}/catalogue", timeout=10)
    assert page.status_code == 200
    assert SENTENCES["site.trouble"] in unescape(page.text)
    assert SENTENCES["catalogue.lead"] in page.text
    assert yard.get(f"{bench.depot}/texts", timeout=10).status_code == 503


_LISTEN = """() => {
  window.heard = [];
  const told = document.getElementById("told");
  new MutationObserver(() => { if (told.textContent) window.heard.push(told.textContent); })
    .observe(told, { childList: true, characterData: true, subtree: true });
}"""


def test_one_that_comes_is_said_once_and_disturbs_nobody(
    bench: PageBench, browser: Browser
) -> None:
    """Who fills in a form keeps the field and what is in it; who listens hears of an alarm once,
    however often it is drawn anew, and of the next one; who has it taken sees it go."""
    became(bench, AlarmState.ACKNOWLEDGED, by="dispatch")
    page = opened(browser, bench)
    page.goto(f"{bench.depot}/record?kind=load")
    calm = page.title()
    page.evaluate(_LISTEN)
    field = page.get_by_label("How much")
    field.press_sequentially("12")
    asof = page.locator("#asof").inner_text()
    became(bench, AlarmState.UNACKNOWLEDGED)
    banner = page.locator(".banner .needed")
    expect(banner).to_contain_text("TH12 Main tank's brine weak.")
    page.keyboard.type("00")
    expect(field).to_be_focused()
    expect(field).to_have_value("1200")
    assert page.title() == f"Act - {calm}"
    page.get_by_role("link", name=TAKE).focus()
    became(bench, AlarmState.RETURNED_UNACKNOWLEDGED)
    expect(banner).to_contain_text("Cleared")
    expect(page.get_by_role("link", name=TAKE)).to_be_focused()
    assert len(page.evaluate("heard")) == 1
    assert "TH12 Main tank's brine weak." in page.evaluate("heard[0]")
    more = {"alarm": "sensor-silent", "sentence": "Main level sensor is silent."}
    became(bench, AlarmState.UNACKNOWLEDGED, number=15, priority=Priority.LOW, **more)
    expect(banner).to_contain_text("and 1 more")
    assert len(page.evaluate("heard")) == 2
    became(bench, AlarmState.NORMAL)
    became(bench, AlarmState.ACKNOWLEDGED, number=15, priority=Priority.LOW, by="yard", **more)
    expect(banner).to_have_count(0)
    assert page.title() == calm
    assert len(page.evaluate("heard")) <= 3
    bench.clock.ahead = 3 * MINUTE
    became(bench, AlarmState.UNACKNOWLEDGED)
    expect(banner).to_contain_text(TAKE)
    assert page.locator("#asof").inner_text() == asof, "what is below it is as of then"
    page.context.close()


@pytest.mark.parametrize("path", ["", "/watched"])
def test_the_focus_stays_where_it_is(bench: PageBench, browser: Browser, path: str) -> None:
    """A link below that leads where one of what is drawn anew leads keeps the focus; a second alarm
    is told of on the first screen too."""
    page = opened(browser, bench, size=DESK)
    page.goto(bench.depot + path)
    page.evaluate(_LISTEN)
    link = page.get_by_role("navigation").get_by_role("link", name="Now" if path else "Tests")
    link.focus()
    low_and_high(bench)
    expect(page.locator("#live")).to_contain_text("and 2 more" if path else "TH14")
    expect(link).to_be_focused()
    assert page.evaluate("heard.length") >= 1
    page.context.close()


def test_each_page_says_that_nobody_watches(bench: PageBench, browser: Browser) -> None:
    """In the first screen's words, above an alarm that waits; what comes later, too, said once."""
    page = opened(browser, bench)
    page.goto(f"{bench.depot}/texts")
    expect(page.locator(".banner .unwatched")).to_have_count(0)
    page.evaluate(_LISTEN)
    with Journal.open(bench.settings.journal.path) as journal:
        journal.signs_of_life.note(beat=bench.clock.now() - 12 * MINUTE)
    expect(page.locator(".banner .unwatched")).to_contain_text("Nobody is watching")
    assert page.title().startswith("Blind")
    # A minute later the sentence has another number, and is not said again.
    with Journal.open(bench.settings.journal.path) as journal:
        journal.signs_of_life.note(beat=bench.clock.now() - 14 * MINUTE)
    expect(page.locator(".banner .unwatched")).to_contain_text("for 14 min")
    assert page.evaluate("heard.length") == 1
    first = opened(browser, bench)
    first.goto(bench.depot)
    said = first.locator("h1.state").inner_text().removeprefix("BLIND").split(".")[0].strip()
    assert "Nobody is watching" in said
    for path in (*PAGES, "/alarm/12/take"):
        page.goto(bench.depot + path)
        expect(page.locator(".banner .unwatched")).to_contain_text(said)
    first.context.close()
    page.context.close()


@pytest.mark.parametrize("path", ["/trends?series=main-level&span=hours_6", "/record?kind=load"])
def test_a_page_without_a_line_calls_itself_old(
    bench: PageBench, browser: Browser, path: str
) -> None:
    """In the first screen's words, after as long; and back again it is not old any more."""
    page = opened(browser, bench)
    page.clock.install()
    page.goto(bench.depot + path)
    page.wait_for_timeout(500)
    expect(page.locator("#age")).to_be_hidden()
    page.context.set_offline(True)
    page.clock.fast_forward(13_000)
    expect(page.locator("#age")).to_contain_text("Old: no news since")
    page.mouse.wheel(0, 400)
    expect(page.locator("#age")).to_be_in_viewport(ratio=1)
    photographed(page, "banner-old")
    page.clock.fast_forward(60_000)
    expect(page.locator("#age")).to_contain_text("No contact since")
    page.context.set_offline(False)
    page.clock.fast_forward(5_000)
    expect(page.locator("#age")).to_be_hidden(timeout=30_000)
    page.context.close()


def test_many_tabs_leave_a_line_for_the_next(bench: PageBench, browser: Browser) -> None:
    """A browser has six lines to a server: a tab that nobody looks at gives its own up, and has
    news again, without calling itself old first, when somebody does."""
    first = opened(browser, bench)
    tabs = [first, *(first.context.new_page() for _ in range(7))]
    for page in tabs:
        page.goto(f"{bench.depot}/watched", timeout=10_000)
        page.evaluate("""() => {
          Object.defineProperty(document, "hidden", { get: () => window.away, configurable: true });
          window.away = true; document.dispatchEvent(new Event("visibilitychange"));
        }""")
    became(bench, AlarmState.ACKNOWLEDGED, by="yard")
    first.wait_for_timeout(1500)
    expect(first.locator(".banner .needed")).to_have_count(1)
    first.evaluate("window.away = false; document.dispatchEvent(new Event('visibilitychange'))")
    expect(first.locator(".banner .needed")).to_have_count(0)
    expect(first.locator("#age")).to_be_hidden()
    first.context.close()


def test_a_form_sent_without_a_line_is_answered_in_the_pages_words(
    bench: PageBench, browser: Browser
) -> None:
    """Nobody is left to think that the alarm is theirs; with the line back that form takes it."""
    page = opened(browser, bench)
    page.goto(bench.base)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.reload()
    page.wait_for_function("caches.match('/unanswered').then((kept) => !!kept)")
    page.get_by_role("link", name=TAKE).click()
    page.context.set_offline(True)
    page.get_by_role("button", name="Yes, I have TH12").click()
    expect(page.locator("main")).to_contain_text("NOTHING was done")
    assert not [one for one in bench.inbox() if type(one).__name__ == "Take"]
    photographed(page, "confirmed-without-a-line")
    page.context.set_offline(False)
    page.go_back()
    page.get_by_role("button", name="Yes, I have TH12").click()
    expect(page.locator(".said")).to_contain_text("You have TH12")
    page.context.close()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_banner_is_for_everybody(
    bench: PageBench, browser: Browser, size: tuple[int, int], scheme: Literal["light", "dark"]
) -> None:
    """axe-core finds nothing serious, and nothing is wider than the screen, with all shown."""
    low_and_high(bench)
    with Journal.open(bench.settings.journal.path) as journal:
        journal.signs_of_life.note(beat=bench.clock.now() - 12 * MINUTE)
    page = opened(browser, bench, size=size, scheme=scheme)
    for path in ("/record?kind=load", "/trends?series=main-level&span=hours_6", "/alarm/12/take"):
        page.goto(bench.depot + path)
        expect(page.locator(".banner .state")).to_have_count(2)
        found = Axe().run(page).response["violations"]
        assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], path
        name = path.partition("?")[0].strip("/").replace("/", "-")
        photographed(page, f"banner-{name}-{size[0]}-{scheme}")
    page.context.close()
