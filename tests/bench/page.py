"""The page's weight and time, its trends over a season, and many live pages at once. By hand.

python tests/bench/page.py [DAYS]: a series of so many days at ten seconds is written first; 174
days are 1.5 million readings.
"""

import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil
import requests

from brineward.journal import Journal
from brineward.page.assets import asset
from brineward.readings.instants import DAY, SECOND
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.records import Records
from pages.page_bench import PageBench, page_bench
from services import DEPOT

EVERY = 10 * SECOND
LIVE = 200


def main() -> None:
    """Print all of it."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 174
    with tempfile.TemporaryDirectory() as name, page_bench(Path(name)) as bench:
        session = bench.signed_in()
        load(bench, session, "first load", "", ["page.css", "page.js", "icon.svg"])
        trends = ["page.css", "page.js", "icon.svg", "uplot.css", "uplot.js", "trend.js"]
        load(bench, session, "trends", "/trends?series=main-level&span=day", trends)
        now = bench.clock.now()
        count = fill(bench, now - days * DAY, now)
        print(f"{count:,} readings of one sensor")
        for span in ("day", "season"):
            url = f"{bench.depot}/trends/data?series=main-level&span={span}"
            timed(f"trend of a {span}, its numbers", session, url)
            timed(f"trend of a {span}, the page", session, url.replace("/data", ""))
        print(f"commits while a season is read: {commits(bench, session)}")
        live(bench, session)


def load(
    bench: PageBench, session: requests.Session, what: str, path: str, assets: list[str]
) -> None:
    """One page with all that it fetches: bytes on the line as a browser has them, headers included,
    and time."""
    began, weight = time.perf_counter(), 0
    urls = [bench.depot + path, *(bench.base + asset(one) for one in assets)]
    if "trends" in path:
        urls.append(bench.depot + path.replace("/trends", "/trends/data"))
    for url in urls:
        answer = session.get(url, timeout=30)
        assert answer.status_code == 200, url
        headers = sum(len(k) + len(v) + 4 for k, v in answer.headers.items())
        weight += int(answer.headers["content-length"]) + headers + 19
    took = (time.perf_counter() - began) * 1000
    line = weight * 8 / 400_000
    print(f"{what}: {weight / 1000:.1f} kB, {took:.0f} ms here, {line:.2f} s of a 400 kbit/s line")


def fill(bench: PageBench, start: int, end: int) -> int:
    """A level every ten seconds."""
    count = 0
    with Journal.open(bench.settings.journal.path) as journal:
        for first in range(start, end, 20_000 * EVERY):
            times = range(first, min(end, first + 20_000 * EVERY), EVERY)
            journal.commit(
                [
                    Step(Reading(DEPOT, "main-level", at, 1.0 + at % 3_600_000 * 1e-7, at), ())
                    for at in times
                ]
            )
            count += len(times)
    return count


def timed(what: str, session: requests.Session, url: str) -> None:
    """The middle of five, by the clock and by the processor: on a busy machine they differ."""
    took, worked = [], []
    for _ in range(5):
        began, busy = time.perf_counter(), time.process_time()
        assert session.get(url, timeout=60).status_code == 200
        took.append(time.perf_counter() - began)
        worked.append(time.process_time() - busy)
    clock, processor = (sorted(some)[2] * 1000 for some in (took, worked))
    print(f"{what}: {clock:.0f} ms, {processor:.0f} ms of a processor")


def commits(bench: PageBench, session: requests.Session) -> str:
    """How long commits of one reading take alone, and beside seasons being read."""
    told = []
    for reading in (False, True):
        stop = threading.Event()
        reader = threading.Thread(target=seasons, args=(bench, session, stop))
        if reading:
            reader.start()
        told.append(commit_times(bench, 60))
        stop.set()
        if reading:
            reader.join()
    return f"{told[0]} alone, {told[1]} beside it"


def seasons(bench: PageBench, session: requests.Session, stop: threading.Event) -> None:
    """Season after season."""
    while not stop.is_set():
        session.get(f"{bench.depot}/trends/data?series=main-level&span=season", timeout=60)


def commit_times(bench: PageBench, count: int) -> str:
    """The middle and the ninth tenth of so many commits."""
    took = []
    with Journal.open(bench.settings.journal.path) as journal:
        for _ in range(count):
            at = bench.clock.now()
            began = time.perf_counter()
            journal.commit([Step(Reading(DEPOT, "hopper-level", at, 1.0, at), ())])
            took.append(time.perf_counter() - began)
            time.sleep(0.02)
    took.sort()
    return f"{took[count // 2] * 1000:.1f} ms (90 %: {took[count * 9 // 10] * 1000:.1f})"


def live(bench: PageBench, session: requests.Session) -> None:
    """Many open pages: what they add in memory, and to a commit."""
    before = psutil.Process().memory_info().rss
    alone = commit_times(bench, 100)
    cookie = f"brineward={session.cookies['brineward']}"
    opened = []
    for _ in range(LIVE):
        one = requests.get(
            f"{bench.depot}/live", headers={"cookie": cookie}, stream=True, timeout=30
        )
        while one.status_code == 429:
            time.sleep(0.5)
            one = requests.get(
                f"{bench.depot}/live", headers={"cookie": cookie}, stream=True, timeout=30
            )
        opened.append(one)
    first = [next(one.iter_lines()) for one in opened]
    assert all(line.startswith(b"data:") for line in first)
    beside = commit_times(bench, 100)
    began, busy = time.perf_counter(), time.process_time()
    time.sleep(10)
    share = (time.process_time() - busy) / (time.perf_counter() - began)
    print(f"{LIVE} live pages: {share * 100:.0f} % of a processor, to serve and to be read")
    grown = (psutil.Process().memory_info().rss - before) / 1e6
    print(f"{LIVE} live pages: {grown:.0f} MB more, the callers' own included")
    print(f"a commit: {alone} alone, {beside} beside them")
    with Journal.open(bench.settings.journal.path, read_only=True) as journal:
        assert Records(journal.handle).alarms.active(DEPOT)
    for one in opened:
        one.close()


if __name__ == "__main__":
    main()
