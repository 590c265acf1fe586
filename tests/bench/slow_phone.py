"""How soon the first screen can be read and used on a slow phone over a slow line. By hand.

python tests/bench/slow_phone.py: a real browser at a quarter of this processor, over a line of
400 kbit/s and 200 ms there and back (`slow_line.py`), an alarm on the screen.
"""

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page

from bench.slow_line import SlowLine
from brokers import Mosquitto
from pages.page_visits import PHONE, chromium, config_with_page, signed_in
from services import depot, running

VISITS = 7
SLOWER = 4
_TIMES = """() => {
  const page = performance.getEntriesByType('navigation')[0];
  const paints = Object.fromEntries(
    performance.getEntriesByType('paint').map((one) => [one.name, one.startTime]));
  return [page.responseEnd, paints['first-contentful-paint'], page.loadEventEnd];
}"""
Times = tuple[float, float, float]


def main() -> None:
    """The middle of some visits: the page arrived, painted with its button, all loaded."""
    with tempfile.TemporaryDirectory() as name:
        broker = Mosquitto(Path(name) / "mosquitto")
        broker.start()
        try:
            for what, found in visits(Path(name) / "s", broker.port):
                said = [
                    f"{step} {median(took):.0f} ms (at worst {max(took):.0f})"
                    for step, took in zip(
                        ("arrived", "painted", "all loaded"), zip(*found, strict=True), strict=True
                    )
                ]
                print(f"{what}: {', '.join(said)}, of {len(found)}", flush=True)
        finally:
            broker.kill()


def visits(folder: Path, port: int) -> Iterator[tuple[str, list[Times]]]:
    """Milliseconds from the tap: of a phone that has nothing of the page, of one that has just
    signed in, and of one that has been there before."""
    config, base = config_with_page(folder, port)
    with running(config) as service, depot(port) as source, chromium() as browser:
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(2.0)
        service.wait_for(service.raised, "the alarm")
        cookie = signed_in(base, config.parent).cookies["brineward"]
        with SlowLine(urlsplit(base).port or 0) as line:
            for what, before in (
                ("nothing kept", nothing),
                ("just signed in", signing_in),
                ("been there before", been_there),
            ):
                yield what, [visit(browser, cookie, line, before) for _ in range(VISITS)]


def visit(
    browser: Browser, cookie: str, line: SlowLine, before: Callable[[Page, SlowLine], None]
) -> Times:
    """Arrived, painted with its button, all loaded; a browser of its own."""
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]})
    context.add_cookies([{"name": "brineward", "value": cookie, "url": line.address}])
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    before(page, line)
    page.goto(line.address)
    page.get_by_role("link", name="Take TH1").wait_for()
    page.wait_for_load_state("load")
    arrived, painted, loaded = page.evaluate(_TIMES)
    context.close()
    return arrived, painted, loaded


def nothing(page: Page, line: SlowLine) -> None:
    """It comes for the first time, or has thrown away what it kept."""


def signing_in(page: Page, line: SlowLine) -> None:
    """The page for signing in was the last it saw: nobody comes to the first screen without."""
    page.goto(f"{line.address}/sign-in", wait_until="networkidle")


def been_there(page: Page, line: SlowLine) -> None:
    """Its worker keeps what a page is drawn with, and sleeps."""
    page.goto(line.address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload(wait_until="load")
    workers = page.context.new_cdp_session(page)
    page.goto("about:blank")
    workers.send("ServiceWorker.enable")
    workers.send("ServiceWorker.stopAllWorkers")
    line.hang_up()


if __name__ == "__main__":
    main()
