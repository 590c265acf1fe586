"""The page on every screen: phone, tablet and desk, light and dark, with and without JavaScript,
by keyboard alone, on paper."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal, NamedTuple

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from brokers import Mosquitto, mosquitto, until
from pages.page_visits import (
    PHONE,
    YARD,
    chromium,
    config_with_page,
    photographed,
    signed_in,
    texted,
)
from services import DEPOT, depot, running

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

Scheme = Literal["light", "dark"]
TABLET, DESK = (768, 1024), (1440, 900)
ROUND = 15
"""Seconds after which the next round of calls is due."""
TABS = 60
"""More than the first screen has of links, buttons and fields."""


class Site(NamedTuple):
    """A page that shows a high alarm, a browser, and the cookie of who is signed in."""

    base: str
    browser: Browser
    cookie: str

    def page(
        self, size: tuple[int, int] = PHONE, scheme: Scheme = "light", *, script: bool = True
    ) -> Page:
        """A browser of its own on the first screen."""
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            java_script_enabled=script,
        )
        context.add_cookies([{"name": "brineward", "value": self.cookie, "url": self.base}])
        page = context.new_page()
        page.goto(self.base)
        return page


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A real service with a pump against a closed valve."""
    folder = tmp_path_factory.mktemp("site")
    broker = Mosquitto(folder / "mosquitto")
    broker.start()
    try:
        config, base = config_with_page(folder / "s", broker.port)
        with running(config) as service, depot(broker.port) as source, chromium() as browser:
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(2.0)
            service.wait_for(service.raised, "the alarm")
            cookie = signed_in(base, config.parent).cookies["brineward"]
            yield Site(base, browser, cookie)
    finally:
        broker.kill()


def tabbed_to(page: Page, words: str) -> None:
    """Press Tab until what is called so has the focus; fails where it never has."""
    for _ in range(TABS):
        page.keyboard.press("Tab")
        focus = page.locator(":focus")
        name = focus.get_attribute("aria-label") or focus.inner_text() if focus.count() else ""
        if words in name:
            assert focus.evaluate("e => getComputedStyle(e).outlineStyle") != "none", words
            return
    raise AssertionError(f"{TABS} times Tab never came to {words!r}")


@pytest.mark.parametrize("size", [PHONE, TABLET, DESK], ids=["phone", "tablet", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_what_is_wrong_and_what_to_do_are_on_the_first_screen(
    site: Site, size: tuple[int, int], scheme: Scheme, script: bool
) -> None:
    """The alarm, what to do, and the button to take it need no scrolling, and nothing is wider
    than the screen."""
    page = site.page(size, scheme, script=script)
    alarm = page.locator(".alarm.high")
    expect(alarm).to_contain_text("Shut the pump off at the panel")
    button = page.get_by_role("link", name="Take TH1")
    expect(button).to_be_in_viewport(ratio=1)
    # A live page renews what it shows: what is just being replaced has no box.
    box = until(button.bounding_box, 5, "the button's place")
    assert box["height"] >= 44
    whole = until(page.locator("main").bounding_box, 5, "the page's width")
    assert whole["x"] >= 0
    assert whole["x"] + whole["width"] <= size[0]
    photographed(page, f"grid-{size[0]}-{scheme}-{'script' if script else 'plain'}")
    page.context.close()


CUT = """() => [...document.querySelectorAll("select")].flatMap((one) => {
    const pen = document.createElement("canvas").getContext("2d"), style = getComputedStyle(one);
    pen.font = style.font;
    const arrow = 20, room = one.clientWidth - 2 * parseFloat(style.paddingLeft) - arrow;
    return [...one.options].filter((o) => pen.measureText(o.text).width > room).map((o) => o.text);
})"""


def test_no_choice_is_cut_on_a_phone(site: Site) -> None:
    """What somebody picks from is read whole, with its example."""
    page = site.page()
    for path in ("/tests", "/record?kind=load", "/record?kind=upkeep", "/trends", "/mode"):
        page.goto(f"{site.base}/d/{DEPOT}{path}")
        assert page.locator("select").count() > 0, path
        assert page.evaluate(CUT) == [], path
    page.context.close()


def test_by_tab_alone_from_the_top(site: Site) -> None:
    """Whoever has no pointer comes to the alarm, to every page, and back, and sees where they are;
    shelving is asked for and confirmed without one."""
    page = site.page(DESK)
    tabbed_to(page, "Take TH1")
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Yes, I have TH1")).to_be_visible()
    page.goto(f"{site.base}/d/{DEPOT}/alarm/1/shelve")
    button = page.locator("main form button").first
    tabbed_to(page, button.inner_text())
    page.goto(f"{site.base}/d/{DEPOT}/tests")
    tabbed_to(page, "See what it shows")
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sign_in_and_refusals_are_for_everybody(site: Site, scheme: Scheme) -> None:
    """axe-core finds nothing serious on the code page, a page that is not there, a worn form
    (one whose token was used before)."""
    fresh = site.browser.new_context(
        viewport={"width": PHONE[0], "height": PHONE[1]}, color_scheme=scheme
    ).new_page()
    fresh.goto(site.base)
    fresh.get_by_role("textbox").first.fill(YARD)
    fresh.locator("main form button").first.click()
    expect(fresh).to_have_url(f"{site.base}/sign-in/code")
    assert grave(fresh) == []
    page = site.page(PHONE, scheme)
    missing = page.goto(f"{site.base}/d/{DEPOT}/nothing-here")
    assert missing is not None
    assert missing.status == 404
    assert grave(page) == []
    page.goto(f"{site.base}/d/{DEPOT}/alarm/1/take")
    with page.expect_navigation() as worn:
        page.locator("main form").first.evaluate(
            "form => { form.querySelector('[name=token]').value = 'worn'; form.submit(); }"
        )
    assert worn.value is not None
    assert worn.value.status >= 400
    photographed(page, f"worn-form-{scheme}")
    assert grave(page) == []
    page.context.close()


def test_on_paper_it_is_dark_on_light_and_without_buttons(site: Site) -> None:
    """Printed from a dark screen it costs no ink for the ground, and nothing to press is on it."""
    page = site.page(DESK, "dark")
    page.goto(f"{site.base}/d/{DEPOT}/made")
    page.emulate_media(media="print")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground in ("rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"), ground
    assert page.locator("nav").first.is_hidden()
    page.goto(site.base)
    page.emulate_media(media="print")
    assert page.get_by_role("link", name="Take TH1").is_hidden()
    page.context.close()


def test_taken_by_thumb_nobody_is_called_again(
    tmp_path: Path, mosquitto: Mosquitto, site: Site
) -> None:
    """One round of calls goes out; after the taps there is no other, though its time comes."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port, next_after=f"{ROUND} s")
    folder = config.parent
    with running(config) as service, depot(mosquitto.port) as source:
        cookie = signed_in(base, folder).cookies["brineward"]
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(1.6)
        service.wait_for(lambda: len(calls(folder)) == 2, "both people called")
        context = site.browser.new_context(
            viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True
        )
        context.add_cookies([{"name": "brineward", "value": cookie, "url": base}])
        page = context.new_page()
        page.goto(base)
        page.get_by_role("link", name="Take TH1").tap()
        page.get_by_role("button", name="Yes, I have TH1").tap()
        expect(page.locator(".said")).to_contain_text("You have TH1")
        page.wait_for_timeout(1000 * (ROUND + 5))
        assert len(calls(folder)) == 2
        context.close()


def test_not_taken_the_next_round_of_calls_comes(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """What the taps stop: without them everybody is called again."""
    config, _ = config_with_page(tmp_path / "s", mosquitto.port, next_after=f"{ROUND} s")
    with running(config) as service, depot(mosquitto.port) as source:
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(1.6)
        service.wait_for(lambda: len(calls(config.parent)) > 2, "a second round", ROUND + 20)


def calls(folder: Path) -> list[str]:
    """The texts that call somebody to the alarm."""
    return [body for body in texted(folder) if body.startswith("TH1 NOW")]


def grave(page: Page) -> list[str]:
    """What axe-core finds serious."""
    found = Axe().run(page).response["violations"]
    return [v["id"] for v in found if v["impact"] in ("serious", "critical")]
