"""Readings a second through the whole live path, beside a bare loop in the same run.

    python tests/bench/live_path.py [rounds]

A real mosquitto holds a simulated night for two absent readers: the bare loop of bare_loop.py, and
the service with decoding, engine, alarms, texts and journal. Each is a program of its own and
drains its queue, in turns; both speak MQTT 5. Prints, asserts nothing.
"""

import json
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.journal.session import LinkSession
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import instant_from_rfc3339
from brineward.readings.values import Reading
from brineward.service.service import House, serve
from brokers import Mosquitto, published
from link.linking import registered, settings_for

SCENARIO = "winter-night"
BARE = str(Path(__file__).with_name("bare_loop.py"))
CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def night(folder: Path) -> list[tuple[str, bytes]]:
    """The night's messages, their times moved so that it ends now."""
    file = folder / "night.csv"
    subprocess.run(
        [
            sys.executable,
            "-m",
            "brinesim.commands.main",
            "write",
            SCENARIO,
            "-o",
            str(file),
            "--quiet",
        ],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    rows = [line.split(",") for line in file.read_text().splitlines()[1:]]
    times = [instant_from_rfc3339(row[0]) for row in rows]
    shift = time.time_ns() // 1_000_000 - max(times) - 1000
    return [
        (
            f"brine/{row[1]}/{row[2]}",
            json.dumps({"value": _number(row[3]), "time": at + shift}).encode(),
        )
        for row, at in zip(rows, times, strict=True)
    ]


def _number(text: str) -> float | None:
    return float(text) if text else None


def drain_live(config: Path, count: int) -> None:
    """The service: prints its seconds from its connection to its last commit."""
    stop = threading.Event()
    began = done = 0.0

    def on_steps(steps: Any) -> None:
        nonlocal began, done
        for step in steps:
            if type(step.entry) is Reading:
                done += 1
            elif isinstance(step.entry, LinkChanged) and step.entry.up and not began:
                # As the bare loop counts: from the connection on, its first batch included.
                began = time.perf_counter() - (MachineClock().now() - step.entry.time) / 1000
        if done >= count:
            stop.set()

    serve(load_settings(config), stop, House(on_steps=on_steps))
    print(time.perf_counter() - began)


def main(rounds: int) -> None:
    """Preload, drain in turns, print."""

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        messages = night(folder)
        topics = sorted({topic for topic, _ in messages})
        broker = Mosquitto(folder / "broker", {"autosave_interval": "1000000"})
        broker.start()
        rates: dict[str, list[float]] = {"bare": [], "live": []}
        try:
            for turn in range(rounds):
                place = folder / f"round-{turn}"
                place.mkdir()
                text = CONFIG.read_text().replace("port = 1883", f"port = {broker.port}")
                (place / "live.toml").write_text(
                    text.replace("[link]", '[link]\ninstance = "live"', 1)
                )
                mark = LinkSession(load_settings(place / "live.toml").journal.path).mark
                for who in ("bare", f"live-{mark}"):
                    registered(settings_for(broker.port, instance=who), topics)
                published(broker.port, messages)
                count = str(len(messages))
                calls = {
                    "bare": [BARE, str(place), str(broker.port), ",".join(topics), count],
                    "live": [__file__, "--live", str(place / "live.toml"), count],
                }
                for who, call in calls.items() if turn % 2 else reversed(calls.items()):
                    seen = subprocess.run(
                        [sys.executable, *call],
                        check=True,
                        capture_output=True,
                        text=True,
                    )
                    rate = len(messages) / float(seen.stdout.split()[-1])
                    rates[who].append(rate)
                    print(f"{who}: {rate:,.0f} readings/s", flush=True)
        finally:
            broker.kill()
        bare, live = median(rates["bare"]), median(rates["live"])
        print(
            f"median of {rounds}: bare {bare:,.0f}/s, live {live:,.0f}/s, ratio {live / bare:.2f}"
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--live"]:
        drain_live(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
