"""The page in a real browser: an alarm over MQTT is seen, taken, and seen to be taken elsewhere."""

import time
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from brineward.readings.outputs import AlarmState
from brokers import Mosquitto, mosquitto
from pages.page_visits import PHONE, chromium, config_with_page, opened, photographed
from services import DEPOT, depot, running

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

TABLET, DESK = (768, 1024), (1440, 900)


def test_an_alarm_is_seen_within_2_s_taken_and_seen_to_be_taken(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """By real MQTT, on a small phone, by two taps; a second browser shows it, the journal has who;
    a killed service makes the page old, then dead, and one that is back makes it live again."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    folder = config.parent
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.rounds(1.0)
        service.wait_for(service.readings, "readings")
        first = opened(browser, base, folder)
        second = opened(browser, base, folder, size=DESK, scheme="dark")
        one, other = first.new_page(), second.new_page()
        one.clock.install()
        for page in (one, other):
            page.goto(base)
            expect(page.locator(".state")).to_contain_text("All watched.")
        photographed(one, "phone-calm")
        photographed(other, "desk-calm-dark")
        assert one.evaluate("document.documentElement.scrollWidth") <= PHONE[0]

        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(1.6)
        service.wait_for(service.raised, "the alarm")
        began = time.monotonic()
        expect(one.locator(".alarm.high")).to_contain_text("TH1", timeout=10_000)
        seen = time.monotonic() - began
        assert seen < 2.0, seen
        button = one.get_by_role("link", name="Take TH1")
        box = button.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= PHONE[1], "without scrolling"
        assert box["height"] >= 44
        photographed(one, "phone-alarm")
        expect(other.locator(".alarm.high")).to_contain_text("TH1")
        photographed(other, "desk-alarm-dark")

        button.click()
        photographed(one, "phone-take")
        one.get_by_role("button", name="Yes, I have TH1").click()
        expect(one.locator(".said")).to_contain_text("You have TH1")
        expect(other.locator(".alarm.high")).to_contain_text("Yard lead has it", timeout=10_000)
        photographed(one, "phone-taken")
        taken = [c for c in service.alarms() if c.state is AlarmState.ACKNOWLEDGED]
        assert [c.by for c in taken][-1:] == ["Yard lead"] or taken[-1].by == "yard"

        service.kill()
        expect(one.locator("#age")).to_be_visible(timeout=15_000)
        photographed(one, "phone-old")
        one.clock.fast_forward(60_000)
        expect(one.locator("#age")).to_contain_text("No contact since")
        photographed(one, "phone-dead")
        service.start()
        expect(one.locator("#age")).to_be_hidden(timeout=30_000)


def test_every_page_is_for_everybody(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """axe-core finds nothing serious on any page, light or dark; nothing is wider than a phone."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    folder = config.parent
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(2.0)
        service.wait_for(service.raised, "the alarm")
        for scheme, size in (("light", PHONE), ("dark", TABLET)):
            page = opened(browser, base, folder, size=size, scheme=scheme).new_page()
            for path in (
                "",
                "/tests",
                "/record",
                "/record?kind=load",
                "/made",
                "/night",
                "/reports",
                "/story/1",
                "/alarms",
                "/texts",
                "/mode",
                "/watched",
                "/catalogue",
                "/trends?series=main-level&span=hours_6",
                "/alarm/1/take",
                "/alarm/1/shelve",
            ):
                page.goto(f"{base}/d/{DEPOT}{path}")
                page.wait_for_timeout(300)
                found = Axe().run(page).response["violations"]
                grave = [v["id"] for v in found if v["impact"] in ("serious", "critical")]
                assert not grave, (path, scheme, [v["nodes"][0]["html"] for v in found])
                name = path.partition("&")[0].translate({47: 45, 63: 45, 61: 45}) or "-now"
                photographed(page, f"page{name}-{scheme}")
                assert page.evaluate("document.documentElement.scrollWidth") <= size[0], path
        page = browser.new_context(color_scheme="dark").new_page()
        page.goto(base)
        expect(page.locator("h1")).to_have_text("Sign in")
        grave = [v["id"] for v in Axe().run(page).response["violations"]]
        assert not grave


def test_without_a_script_it_is_all_there(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Forms, tables and the trend's picture work without JavaScript, by keyboard alone."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(2.0)
        service.wait_for(service.raised, "the alarm")
        page = opened(browser, base, config.parent, script=False).new_page()
        page.goto(base)
        link = page.get_by_role("link", name="Take TH1")
        link.focus()
        page.keyboard.press("Enter")
        button = page.get_by_role("button", name="Yes, I have TH1")
        button.focus()
        page.keyboard.press("Enter")
        expect(page.locator(".said")).to_contain_text("You have TH1")
        page.goto(f"{base}/d/{DEPOT}/trends?series=main-level&span=hours_6")
        expect(page.locator("svg.trend .t-line").first).to_be_attached()
        page.goto(f"{base}/d/{DEPOT}/tests")
        page.get_by_label("Reading").fill("1178")
        page.get_by_label("Sample's temperature").fill("18")
        page.get_by_role("button", name="See what it shows").click()
        expect(page.locator(".said")).to_contain_text("looks like 1.178")
        page.get_by_label("Reading").fill("1.178")
        page.get_by_role("button", name="See what it shows").click()
        expect(page.locator(".said.good")).to_contain_text("% salt")
        page.get_by_role("button", name="Yes, enter").click()
        expect(page.locator(".said")).to_contain_text("Entered: 1.178 at 18 degC")
        service.wait_for(
            lambda: service.ask(lambda r: r.acts.between(DEPOT, kind="test")), "the test"
        )


def test_a_test_is_computed_as_typed_and_entered(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """A slip is said while it is typed, and what it shows; once confirmed the service has it."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.rounds(2.0)
        service.wait_for(service.readings, "readings")
        page = opened(browser, base, config.parent, size=TABLET).new_page()
        page.goto(f"{base}/d/{DEPOT}/tests")
        page.get_by_label("Reading").fill("23.3")
        page.get_by_label("Sample's temperature").fill("18")
        expect(page.locator("#shows")).to_contain_text("looks like a percentage")
        photographed(page, "tablet-test-slip")
        page.get_by_label("Reading").fill("1.191")
        expect(page.locator("#shows")).to_contain_text("% salt, give or take")
        photographed(page, "tablet-test")
        page.get_by_role("button", name="See what it shows").click()
        page.get_by_role("button", name="Yes, enter").click()
        expect(page.locator(".said")).to_contain_text("Entered: 1.191 at 18 degC")
        service.wait_for(
            lambda: service.ask(lambda r: r.acts.between(DEPOT, kind="test")), "the test"
        )


def test_in_a_tunnel_the_last_screen_is_shown_and_marked_old(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Loaded without a line, it comes from the phone's own store and says how old it is; whoever
    takes an alarm there is told that nothing was done; with the line back it is live again."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.rounds(1.0)
        service.wait_for(service.readings, "readings")
        context = opened(browser, base, config.parent)
        page = context.new_page()
        page.goto(base)
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.reload()  # now by the worker, which keeps it
        page.wait_for_function("navigator.serviceWorker.controller !== null")
        page.reload()
        context.set_offline(True)
        page.clock.install(time=time.time() + 20)
        page.reload()
        expect(page.locator(".state")).to_contain_text("All watched.")
        expect(page.locator("#age")).to_be_visible()
        photographed(page, "phone-tunnel")
        page.goto(f"{base}/d/{DEPOT}/alarm/1/take")
        expect(page.locator("main")).to_contain_text("NOTHING was done")
        photographed(page, "phone-tunnel-take")
        page.get_by_role("link", name="Back to now").click()
        expect(page.locator("#age")).to_be_visible()
        context.set_offline(False)
        expect(page.locator("#age")).to_be_hidden(timeout=30_000)
