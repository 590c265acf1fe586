"""Every fault, injected into a real service and measured: the table in daemon/docs/faults.md.

    python tests/faults/measure.py                        the short form, a few minutes
    python tests/faults/measure.py --long                 1,000 kills, 10,000 hostile payloads, ...
    python tests/faults/measure.py --only clock-set --times 50
    python tests/faults/measure.py --write                puts what was measured into the table

A real mosquitto with deploy/'s settings, a real HTTP gateway on loopback, real processes; the
service runs under a played systemd (tests/played_systemd.py). Rows that were not measured now stay
as they are in the table. A full disk needs the right to mount one: run that as root.
"""

import argparse
import platform
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import psutil

from faults.measuring import brokers_gone, clocks_and_texts, disks, payloads, stops
from faults.measuring.stand import Fault, Measured, in_words

TABLE = Path(__file__).parents[2] / "daemon" / "docs" / "faults.md"

FAULTS: dict[str, tuple[Fault, int, int]] = {
    "nothing": (stops.nothing, 20, 120),
    "killed": (stops.killed, 20, 1_000),
    "hanging": (stops.hanging, 2, 20),
    "broker-killed": (brokers_gone.killed, 3, 50),
    "queue-overflows": (brokers_gone.overflowing, 1, 5),
    "taken-over": (brokers_gone.taken_over, 20, 300),
    "hostile": (payloads.hostile, 1_000, 10_000),
    "flood": (payloads.flood, 15, 120),
    "flood-fast-broker": (payloads.flood_through_a_fast_broker, 5, 30),
    "deadly": (payloads.deadly, 1, 10),
    "bits-flipped": (disks.flipped, 10, 500),
    "cut-short": (disks.cut_short, 3, 50),
    "taken-away": (disks.taken_away, 2, 20),
    "disk-full": (disks.full, 1, 10),
    "clock-set": (clocks_and_texts.clock_set, 6, 50),
    "gateway-fails": (clocks_and_texts.gateway_fails, 8, 40),
}
"""What measures it; how often in the short form and in the long one (for some: seconds)."""

HEAD = (
    "| fault | how | times | readings sent | lost | doubled | texts due | lost | doubled "
    "| recovered, s | closed valve texted, s | not texted | peak MB | watchdog | remarks |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n"
)


def main(arguments: list[str]) -> None:
    """Measure, print, and write where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--only", nargs="*", choices=FAULTS, default=list(FAULTS))
    parser.add_argument("--times", type=int)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args(arguments)
    for name in args.only:
        fault, short, long = FAULTS[name]
        times = args.times or (long if args.long else short)
        with tempfile.TemporaryDirectory() as folder:
            measured = fault(Path(folder), times)
        row = row_of(measured)
        print(row, flush=True)
        if args.write:
            written = TABLE.read_text() if TABLE.exists() else ""
            new = TABLE.with_name("faults.new")  # whole or not at all: two may measure at once
            new.write_text(with_row(written, row))
            new.replace(TABLE)


def row_of(measured: Measured) -> str:
    """One line of the table."""
    m = measured
    told = f"{in_words(m.told)} of {len(m.told) + m.untold}"
    beats = f"{m.aborted} missed, {m.longest_between:.1f} s" if m.longest_between else "-"
    cells = (
        m.name, m.how, f"{m.times:,}", f"{m.sent:,}", f"{m.lost:,}", f"{m.doubled:,}",
        f"{m.texts:,}", f"{m.texts_lost:,}", f"{m.texts_doubled:,}", in_words(m.recovered),
        told, f"{m.untold:,}", f"{m.peak_bytes / 1e6:.0f}", beats, m.note,
    )  # fmt: skip
    return f"| {' | '.join(cells)} |"


def with_row(text: str, row: str) -> str:
    """The table's text with this row in its place, and the machine as it is now."""
    name = row.split("|")[1]
    old = [line for line in text.splitlines() if line.startswith("| ")]
    rows = {line.split("|")[1]: line for line in old if not line.startswith("| fault ")}
    rows[name] = row
    top = text.partition("| fault |")[0] or "# Every fault, measured\n\n"
    top = re.sub(r"Measured on: .*\n", f"Measured on: {machine()}\n", top)
    bottom = text.rpartition("|\n")[2]
    return top + HEAD + "".join(f"{line}\n" for line in rows.values()) + bottom


def machine() -> str:
    """What it was measured on."""
    broker = subprocess.run(
        ["mosquitto", "-h"], capture_output=True, text=True, check=False
    ).stdout.splitlines()
    memory = round(psutil.virtual_memory().total / 2**30)
    return (
        f"{psutil.cpu_count()} cores ({platform.machine()}), shared with other work, "
        f"{memory} GB, Linux {platform.release().split('-')[0]}, "
        f"Python {platform.python_version()}, {broker[0] if broker else 'no mosquitto'}."
    )


if __name__ == "__main__":
    main(sys.argv[1:])
