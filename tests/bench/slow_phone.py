"""How soon the first screen can be read and used on a slow phone over a slow line. By hand.

python tests/bench/slow_phone.py: a real browser held to 400 kbit/s, 200 ms there and back, and a
quarter of this processor; nothing is kept from an earlier visit.
"""

import tempfile
from pathlib import Path
from statistics import median

from brokers import Mosquitto
from pages.page_visits import PHONE, chromium, config_with_page, signed_in
from services import depot, running

VISITS = 7
LINE_BITS_PER_S = 400_000
LATENCY_MS = 200
SLOWER = 4
_TIMES = """() => {
  const page = performance.getEntriesByType('navigation')[0];
  const paints = Object.fromEntries(
    performance.getEntriesByType('paint').map((one) => [one.name, one.startTime]));
  return [paints['first-contentful-paint'], page.domInteractive, page.loadEventEnd];
}"""


def main() -> None:
    """The middle of some visits: first painted, can be used, all loaded."""
    with tempfile.TemporaryDirectory() as name:
        broker = Mosquitto(Path(name) / "mosquitto")
        broker.start()
        try:
            for what, took in zip(
                ("painted", "can be used", "all loaded"),
                zip(*visits(Path(name) / "s", broker.port), strict=True),
                strict=True,
            ):
                print(f"{what}: {median(took):.0f} ms, at worst {max(took):.0f} ms of {len(took)}")
        finally:
            broker.kill()


def visits(folder: Path, port: int) -> list[tuple[float, float, float]]:
    """Milliseconds from the tap, with an alarm on the screen."""
    config, base = config_with_page(folder, port)
    found = []
    with running(config) as service, depot(port) as source, chromium() as browser:
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(2.0)
        service.wait_for(service.raised, "the alarm")
        cookie = signed_in(base, config.parent).cookies["brineward"]
        for _ in range(VISITS):
            context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]})
            context.add_cookies([{"name": "brineward", "value": cookie, "url": base}])
            page = context.new_page()
            line = context.new_cdp_session(page)
            line.send("Network.enable")
            line.send(
                "Network.emulateNetworkConditions",
                {
                    "offline": False,
                    "latency": LATENCY_MS,
                    "downloadThroughput": LINE_BITS_PER_S / 8,
                    "uploadThroughput": LINE_BITS_PER_S / 8,
                },
            )
            line.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
            page.goto(base)
            page.get_by_role("link", name="Take TH1").wait_for()
            painted, usable, loaded = page.evaluate(_TIMES)
            found.append((painted, usable, loaded))
            context.close()
    return found


if __name__ == "__main__":
    main()
