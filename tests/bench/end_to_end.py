"""How long from a reading on the broker to its text at the gateway, and from a reply to its answer.

    python tests/bench/end_to_end.py [alarms a channel, 100] [channel]

Real parts on loopback: mosquitto, `brineward run` as a process of its own, and in this process an
HTTP gateway, a mail server with TLS and a login, and a modem on a pseudo-terminal. Each alarm is
one of another depot of one config; they are raised one after another, half a second apart. From the
publishing of the reading to the whole text at the other side, less the alarm's own delay; then from
handing in a reply to the acknowledged alarm in the journal, and to the answer at the other side.
Prints, asserts nothing.
"""

import os
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.journal import Journal
from brineward.link.embedded import free_port
from brineward.readings.outputs import AlarmState
from brineward.records import Records
from brokers import Mosquitto, published
from many_depots import (
    CHANNELS,
    ON_DELAY_SECONDS,
    OtherSides,
    calm,
    danger,
    other_sides,
    short,
    write_config,
)
from services import Running, running

APART_SECONDS = 0.5
REPLIES = 30
"""So many of the alarms of a channel are taken by reply."""
_PATIENCE_SECONDS = 30.0


def main(alarms: int, channels: Sequence[str]) -> None:
    """Measure each channel with a service of its own."""
    print(f"{alarms} alarms a channel, {os.cpu_count()} cores, load {load()}")
    for channel in channels:
        with TemporaryDirectory() as name:
            measure(channel, alarms, Path(name))
    print(f"load at the end {load()}")


def load() -> str:
    """How many processes wanted to run in the last minute, and in the last five."""
    one, five, _ = os.getloadavg()
    return f"{one:.1f} (1 min), {five:.1f} (5 min)"


def measure(channel: str, alarms: int, folder: Path) -> None:
    """One channel."""
    broker = Mosquitto(folder / "mosquitto")
    broker.start()
    try:
        with other_sides(folder, free_port()) as sides:
            config = write_config(folder / "service", broker.port, sides, [channel] * alarms)
            with running(config) as service:
                measure_texts(channel, alarms, broker.port, sides)
                if channel != "mail":
                    measure_replies(channel, alarms, sides, service)
    finally:
        broker.kill()


def measure_texts(channel: str, alarms: int, port: int, sides: OtherSides) -> None:
    """Every depot is calm, then in one after another the pump runs against its closed valve."""
    published(port, [one for place in range(alarms) for one in calm(place)])
    time.sleep(5.0)
    began = {}
    for place in range(alarms):
        began[place] = time.time()
        published(port, danger(place))
        time.sleep(APART_SECONDS)
    took = []
    for place, at in began.items():
        code = f"{short(place)}1"
        arrived = waited(lambda code=code: sides.arrivals.first(code))
        if arrived is not None:
            took.append(arrived - at - ON_DELAY_SECONDS)
    show(f"{channel}: reading to text, less its delay", took, alarms)


def measure_replies(channel: str, alarms: int, sides: OtherSides, service: Running) -> None:
    """The first alarms are taken, one after another."""
    kept, answered = [], []
    for place in range(min(REPLIES, alarms)):
        code = f"{short(place)}1"
        at = time.time()
        sides.reply(channel, code)
        acknowledged = waited(lambda place=place: taken_at(service.journal, place))
        answer = waited(lambda code=code: sides.arrivals.first(code, words="You have"))
        if acknowledged is not None:
            kept.append(acknowledged - at)
        if answer is not None:
            answered.append(answer - at)
    show(f"{channel}: reply to acknowledged", kept, min(REPLIES, alarms))
    show(f"{channel}: reply to its answer", answered, min(REPLIES, alarms))


def taken_at(journal: Path, place: int) -> float | None:
    """Now, where the journal has the depot's alarm as acknowledged."""
    with Journal.open(journal, read_only=True) as opened:
        changes = Records(opened.handle).alarms.history(f"d{place}")
    acknowledged = changes and changes[-1].state is AlarmState.ACKNOWLEDGED
    return time.time() if acknowledged else None


def waited(found: Callable[[], float | None]) -> float | None:
    """What is found in time; None where nothing is."""
    end = time.monotonic() + _PATIENCE_SECONDS
    while (one := found()) is None and time.monotonic() < end:
        time.sleep(0.02)
    return one


def show(what: str, took: list[float], of: int) -> None:
    """Median, 99th percentile and longest, in seconds."""
    if not took:
        print(f"{what}: none of {of} arrived")
        return
    ordered = sorted(took)
    ninety_ninth = ordered[min(len(ordered) - 1, -(-99 * len(ordered) // 100) - 1)]
    print(
        f"{what}: median {median(took):.2f} s, 99th percentile {ninety_ninth:.2f} s, longest "
        f"{ordered[-1]:.2f} s, {len(took)} of {of}",
        flush=True,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, sys.argv[2:] or CHANNELS)
