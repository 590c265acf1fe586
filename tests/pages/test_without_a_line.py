"""A phone with no line to the box, in a real browser: our words, what is kept, back by itself."""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect

from brokers import Mosquitto, mosquitto, until
from pages.page_visits import chromium, config_with_page, opened, photographed
from services import DEPOT, Running, depot, running

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

KEPT = """(paths) => Promise.all(paths.map((one) => caches.match(one)))
    .then((all) => all.every(Boolean))"""


class NothingBehind(BaseHTTPRequestHandler):
    """A proxy whose service is gone."""

    def do_GET(self) -> None:
        """Answer as one does (RFC 9110, 15.6.3)."""
        self.send_error(502)

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@contextmanager
def seen_once(
    folder: Path, broker_port: int, scheme: str = "light"
) -> Iterator[tuple[Running, BrowserContext, Page, str]]:
    """A service, and a phone that has loaded its first screen once."""
    config, base = config_with_page(folder, broker_port)
    with running(config) as service, depot(broker_port) as source, chromium() as browser:
        source.rounds(1.0)
        service.wait_for(service.readings, "readings")
        context = opened(browser, base, config.parent, scheme=scheme)
        page = context.new_page()
        page.goto(base)
        paths = ["/", f"/d/{DEPOT}", "/unreached", "/away"]
        until(lambda: page.evaluate(KEPT, paths), 20, "what the phone keeps")
        yield service, context, page, f"{base}/d/{DEPOT}"


@pytest.mark.parametrize(("path", "scheme"), [("/trends", "light"), ("/record", "dark")])
def test_a_page_without_a_line_is_told_in_our_words_and_comes_by_itself(
    tmp_path: Path, mosquitto: Mosquitto, path: str, scheme: str
) -> None:
    """What is kept, since when, and whom to call; the kept screen is a tap away; the page that was
    asked for comes without a tap once there is a line."""
    with seen_once(tmp_path / "s", mosquitto.port, scheme) as (_, context, page, first):
        context.set_offline(True)
        page.goto(first + path)
        expect(page.locator("h1")).to_contain_text("No line to the depot box")
        expect(page.locator("#kept")).to_contain_text("Tern Hollow as of")
        expect(page.locator("main")).to_contain_text("call whoever is on call")
        photographed(page, f"away-{scheme}")
        grave = [v["id"] for v in Axe().run(page).response["violations"]]
        assert not grave
        page.get_by_role("link", name="Show Tern Hollow as it was").click()
        expect(page.locator(".state")).to_contain_text("All watched.")
        page.goto(first + path)
        expect(page.locator("h1")).to_contain_text("No line to the depot box")
        context.set_offline(False)
        expect(page.locator("nav")).to_be_visible(timeout=15_000)
        assert page.url == first + path


def test_how_old_the_last_page_is_is_told(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Three days later, when a time of day alone would mean today."""
    with seen_once(tmp_path / "s", mosquitto.port) as (_, context, page, first):
        context.set_offline(True)
        page.clock.install(time=time.time() + 3 * 86_400 + 60)
        page.goto(f"{first}/night")
        expect(page.locator("#kept")).to_contain_text("72 h ago")
        page.get_by_role("link", name="Show Tern Hollow as it was").click()
        expect(page.locator("#age")).to_contain_text("No contact for 72 hours.")


def test_a_box_that_gives_no_answer_at_all_is_away_too(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """It takes the call and is silent, as when its line is gone: nobody waits for minutes before an
    empty page; whoever takes an alarm then is told that nothing was done."""
    with seen_once(tmp_path / "s", mosquitto.port) as (service, _, page, first):
        assert service.process is not None
        service.process.send_signal(signal.SIGSTOP)
        try:
            page.goto(f"{first}/alarm/1/take", timeout=20_000)
            expect(page.locator("main")).to_contain_text("NOTHING was done")
            page.goto(first, timeout=20_000)
            expect(page.locator(".state")).to_contain_text("All watched.")
            expect(page.locator("#age")).to_be_visible(timeout=15_000)
            page.goto(f"{first}/trends", timeout=20_000)
            expect(page.locator("h1")).to_contain_text("No line to the depot box")
        finally:
            service.process.send_signal(signal.SIGCONT)
        expect(page.locator("nav")).to_be_visible(timeout=20_000)


def test_a_proxy_that_finds_no_service_is_no_line(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Its own error page says nothing to an operator; the page comes when the service is back."""
    with seen_once(tmp_path / "s", mosquitto.port) as (service, _, page, first):
        service.kill()
        port = urlsplit(first).port
        assert port is not None
        with ThreadingHTTPServer(("127.0.0.1", port), NothingBehind) as proxy:
            Thread(target=proxy.serve_forever, daemon=True).start()
            page.goto(f"{first}/trends")
            expect(page.locator("h1")).to_contain_text("No line to the depot box")
            proxy.shutdown()
        service.start()
        expect(page.locator("nav")).to_be_visible(timeout=30_000)
