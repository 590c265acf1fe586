"""From a message's publishing to its commit, alone and beside 200 live pages. By hand.

python tests/bench/page_commits.py [MESSAGES]: a real service on a real broker serves the pages from
its own process. The journal is looked into until it holds the message: the broker's part, our own
look's and half a millisecond between looks are included.
"""

import os
import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil
import requests
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from brineward.journal import Journal
from brokers import Mosquitto
from pages.page_visits import config_with_page, signed_in
from services import DEPOT, Running, depot, now_ms, payload, running, topic

LIVE = 200
PAUSE_SECONDS = 0.05
LOOK_SECONDS = 0.0005


def main() -> None:
    """Print both, one after the other and the first again."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    with tempfile.TemporaryDirectory() as name:
        broker = Mosquitto(Path(name) / "mosquitto", {})
        broker.start()
        try:
            measured(Path(name) / "s", broker.port, count)
        finally:
            broker.kill()


def measured(folder: Path, port: int, count: int) -> None:
    """A service, its pages, and how long messages take."""
    config, base = config_with_page(folder, port)
    with running(config) as service, depot(port) as source:
        source.rounds(2.0)
        cookie = signed_in(base, config.parent).cookies["brineward"]
        assert service.process is not None
        process = psutil.Process(service.process.pid)
        told("alone", service, port, count)
        before = process.memory_info().rss
        opened = [page(base, cookie) for _ in range(LIVE)]
        readers = [threading.Thread(target=read, args=(one,), daemon=True) for one in opened]
        for reader in readers:
            reader.start()
        told(f"beside {LIVE} live pages", service, port, count)
        grown = (process.memory_info().rss - before) / 1e6
        print(f"the service has taken {grown:.0f} MB more for them")
        for one in opened:
            one.close()
        time.sleep(2.0)
        told("alone again", service, port, count)


def page(base: str, cookie: str) -> requests.Response:
    """One live page; a caller that comes too fast is told to wait."""
    while True:
        one = requests.get(
            f"{base}/d/{DEPOT}/live",
            headers={"cookie": f"brineward={cookie}"},
            stream=True,
            timeout=60,
        )
        if one.status_code == 200:
            return one
        time.sleep(0.5)


def read(one: requests.Response) -> None:
    """Take what comes, as a browser does, until it is closed."""
    try:
        for _ in one.iter_content(4096):
            pass
    except (requests.RequestException, AttributeError, ValueError, OSError):
        return  # it was closed under it


def told(what: str, service: Running, port: int, count: int) -> None:
    """The middle and the ninth tenth of so many messages, one at a time."""
    client = Client(CallbackAPIVersion.VERSION2, client_id="bench")
    client.connect("127.0.0.1", port)
    client.loop_start()
    took = []
    with Journal.open(service.journal, read_only=True) as journal:
        for number in range(count):
            level = 1.5 + number % 3 * 1e-4
            last = journal.ordering.last_seq()
            began = time.perf_counter()
            client.publish(topic("main-level"), payload(level, now_ms()), 1)
            while journal.ordering.last_seq() == last:
                assert time.perf_counter() - began < 30.0
                time.sleep(LOOK_SECONDS)
            took.append(time.perf_counter() - began)
            time.sleep(PAUSE_SECONDS)
    client.disconnect()
    client.loop_stop()
    took.sort()
    middle, ninth = (took[count * tenths // 10] * 1000 for tenths in (5, 9))
    load = os.getloadavg()[0]
    print(f"message to commit {what}: {middle:.1f} ms (90 %: {ninth:.1f}), load {load:.1f}")


if __name__ == "__main__":
    main()
