"""Kills of the export's follower or of its server at random moments: nothing missing or twice.

Both are killed with -9. Now and then there is a calm, longer than the server takes to bring to the
disk what it has answered for.

    python tests/export_kills.py [--long] [COUNT] [victoria-metrics | influxd]

Prints how many kills there were and what the server then has; `--long` makes 1,000 for each server.
"""

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from threading import Thread

from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import Journal
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.backlog import backlog_of, cursor_of
from brokers import until
from export_servers import Influx1, Server, Victoria
from services import DEPOT, write_config

T0 = 1_767_225_600_000
READINGS = 10
CALM_EACH = 50
NAMES = {Victoria: "victoria-metrics", Influx1: "influxd"}
SENSORS = ("main-level", "main-temperature", "spare-level")


def settings_for(folder: Path, server: Server) -> Settings:
    """A depot with one export, to this server."""
    config = write_config(folder / "service", 1883)
    with config.open("a") as file:
        file.write(
            f'\n[export.agency]\nurl = "{server.url}"\napi = {server.api}\nbucket = "brine"\n'
        )
    return load_settings(config)


def fill(journal: Journal, start: int, count: int) -> None:
    """Commit readings whose values are not round."""
    journal.commit(
        [
            Step(Reading(DEPOT, SENSORS[n % 3], T0 + 1000 * n, n / 7 + 0.1, T0 + 1000 * n + 5), ())
            for n in range(start, start + count)
        ]
    )


def wait_until_sent(settings: Settings) -> None:
    """Wait until nothing is left to send."""

    def sent() -> bool:
        with Journal.open(settings.journal.path, read_only=True) as journal:
            return backlog_of(journal, "agency").entries == 0

    until(sent, 120.0, "all is sent")


def wait_until_settled(settings: Settings) -> None:
    """Wait until the follower takes all that it sent for safe."""

    def settled() -> bool:
        with Journal.open(settings.journal.path, read_only=True) as journal:
            return journal.cursors.at(cursor_of("agency")) == journal.ordering.last_seq()

    until(settled, 300.0, "all is settled")


def held(server: Server, count: int) -> None:
    """The server has every reading of the journal, to the bit if it keeps bits, and each once."""
    wanted = {(SENSORS[n % 3], T0 + 1000 * n): n / 7 + 0.1 for n in range(count)}
    until(lambda: len(server.readings()[0]) >= count, 60.0, "the server shows what it has")
    found, rows = server.readings()
    assert found.keys() == wanted.keys()
    off = max(abs(found[key] - wanted[key]) / wanted[key] for key in wanted)
    assert off <= server.rounds_by, off
    assert rows == count


class Feeding:
    """Readings that come in all the time, at the pace of a busy depot and more."""

    def __init__(self, journal: Journal) -> None:
        self._journal, self.count = journal, 0

    def while_alive(self, thread: Thread) -> None:
        """Go on until something else has been done."""
        thread.start()
        while thread.is_alive():
            fill(self._journal, self.count, READINGS)
            self.count += READINGS
            thread.join(0.02)

    def for_seconds(self, seconds: float) -> None:
        """Go on for so long."""
        self.while_alive(Thread(target=time.sleep, args=(seconds,)))


def kills(server: Server, folder: Path, times: int) -> int:
    """Kill one or the other so many times while readings come in; how many readings there were."""
    settings = settings_for(folder, server)
    chance = random.Random(12)
    program = [
        sys.executable, str(Path(__file__).with_name("export_process.py")), str(settings.file),
        str(server.keeps_after_seconds),
    ]  # fmt: skip

    def restart_server() -> None:
        server.kill()
        server.start()

    follower = subprocess.Popen(program)
    try:
        with Journal.open(settings.journal.path) as journal:
            feeding = Feeding(journal)
            for number in range(times):
                if number % CALM_EACH == CALM_EACH - 1:  # else nothing would ever be settled
                    feeding.for_seconds(server.keeps_after_seconds + 2.0)
                if chance.random() < 0.5:
                    feeding.for_seconds(chance.uniform(0.0, 0.5))
                    feeding.while_alive(Thread(target=restart_server))
                else:
                    feeding.for_seconds(chance.uniform(0.3, 1.8))  # its start takes about a second
                    follower.kill()
                    follower.wait(10)
                    follower = subprocess.Popen(program)
        wait_until_settled(settings)
    finally:
        follower.kill()
        follower.wait(10)
    held(server, feeding.count)
    return feeding.count


def main() -> None:
    """Kill, and print what came of it."""
    numbers = [int(one) for one in sys.argv[1:] if one.isdigit()]
    times = 1000 if "--long" in sys.argv else (numbers or [20])[0]
    for kind in (Victoria, Influx1):
        if any(one in sys.argv for one in NAMES.values()) and NAMES[kind] not in sys.argv:
            continue
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            server = kind(Path(folder) / "server")
            server.start()
            try:
                count = kills(server, Path(folder), times)
            finally:
                server.kill()
        print(
            f"{kind.__name__}: {times} kills, {count} readings: none missing, none twice; "
            f"{time.monotonic() - began:.0f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
