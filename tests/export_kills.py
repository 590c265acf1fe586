"""Kills of the export's follower or of its server at random moments: nothing missing or twice.

The follower and influxd are killed with -9; victoria-metrics is ended in order, since it answers
before what it has is on the disk.

    python tests/export_kills.py [--long] [COUNT]

Prints how many kills there were and what the server then has; `--long` makes 1,000 for each server.
"""

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import Journal
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.exporting import backlog_of
from brokers import until
from export_servers import Influx1, Server, Victoria
from services import DEPOT, write_config

T0 = 1_767_225_600_000
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


def held(server: Server, count: int) -> None:
    """The server has every reading of the journal, to the bit if it keeps bits, and each once."""
    wanted = {(SENSORS[n % 3], T0 + 1000 * n): n / 7 + 0.1 for n in range(count)}
    until(lambda: len(server.readings()[0]) >= count, 60.0, "the server shows what it has")
    found, rows = server.readings()
    assert found.keys() == wanted.keys()
    off = max(abs(found[key] - wanted[key]) / wanted[key] for key in wanted)
    assert off <= server.rounds_by, off
    assert rows == count


def kills(server: Server, folder: Path, times: int) -> int:
    """Kill one or the other so many times while readings come in; how many readings there were."""
    settings = settings_for(folder, server)
    chance = random.Random(12)
    count = 0
    program = [sys.executable, str(Path(__file__).with_name("export_process.py"))]
    follower = subprocess.Popen([*program, str(settings.file)])
    try:
        with Journal.open(settings.journal.path) as journal:
            for _ in range(times):
                fill(journal, count, 900)
                count += 900
                if chance.random() < 0.5:
                    time.sleep(chance.uniform(0.0, 0.3))
                    server.end()
                    server.start()
                else:
                    time.sleep(chance.uniform(0.3, 1.8))  # its start takes about a second
                    follower.kill()
                    follower.wait(10)
                    follower = subprocess.Popen([*program, str(settings.file)])
        wait_until_sent(settings)
    finally:
        follower.kill()
        follower.wait(10)
    held(server, count)
    return count


def main() -> None:
    """Kill, and print what came of it."""
    numbers = [int(one) for one in sys.argv[1:] if one.isdigit()]
    times = 1000 if "--long" in sys.argv else (numbers or [20])[0]
    for kind in (Victoria, Influx1):
        with tempfile.TemporaryDirectory() as folder:
            server = kind(Path(folder) / "server")
            server.start()
            try:
                count = kills(server, Path(folder), times)
            finally:
                server.kill()
        print(f"{kind.__name__}: {times} kills, {count} readings: none missing, none twice")


if __name__ == "__main__":
    main()
