"""Readings, acts and truth as files."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from brinesim.delivery import Arrivals
from brinesim.simulation import Simulation

HEADER = "time,depot,sensor,value"


def stamps(milliseconds: NDArray[np.int64]) -> list[str]:
    """RFC 3339 in UTC, to the millisecond, of many instants at once."""
    text = np.datetime_as_string(milliseconds.astype("datetime64[ms]"), unit="ms")
    return [stamp + "Z" for stamp in text.tolist()]


def value_texts(simulation: Simulation, arrivals: Arrivals) -> list[str]:
    """Each value with the decimals of its sensor, in the order of arrival."""
    texts = np.empty(arrivals.values.size, dtype=object)
    for number, name in enumerate(simulation.sensors):
        where = np.flatnonzero(arrivals.sensor == number)
        form = f"%.{simulation.scenario.sensors[name].decimals}f"
        # Adding zero turns -0.0 into 0.0.
        texts[where] = [form % v for v in (arrivals.values[where] + 0.0).tolist()]
    result: list[str] = texts.tolist()
    return result


def csv_lines(
    simulation: Simulation, arrivals: Arrivals, *, received: bool = False
) -> Iterator[str]:
    """The readings as CSV lines without the header; with when each was `received`, if asked."""
    depot = simulation.scenario.depot.id
    middles = [f",{depot},{name}," for name in simulation.sensors]
    pieces = zip(
        stamps(arrivals.stamped),
        arrivals.sensor.tolist(),
        value_texts(simulation, arrivals),
        strict=True,
    )
    lines = (f"{stamp}{middles[sensor]}{text}" for stamp, sensor, text in pieces)
    if not received:
        return (f"{line}\n" for line in lines)
    came = stamps(arrivals.arrived)
    return (f"{line},{stamp}\n" for line, stamp in zip(lines, came, strict=True))


def beside(readings: Path, ending: str) -> Path:
    """The path of a file that belongs to a readings file: `x.csv` has `x.acts.jsonl`, ..."""
    return readings.with_suffix("").with_name(readings.with_suffix("").name + ending)


def write_files(
    simulation: Simulation, readings: Path, *, progress: bool, received: bool | None = None
) -> int:
    """Play the whole run into a CSV of readings, its acts and its truth; returns the readings.

    With `received` the CSV has a fifth column, when each reading arrived; without a word it has
    one where readings come otherwise than in the order of their times.

    Raises: OSError where a file can't be written.
    """
    count = 0
    if received is None:
        received = simulation.needs_arrivals
    total = simulation.scenario.duration / 3600
    with (
        readings.open("w", encoding="utf-8", newline="") as file,
        tqdm(
            total=round(total, 1), unit="h", disable=not progress, desc=simulation.scenario.name
        ) as bar,
    ):
        file.write(f"{HEADER},received\n" if received else f"{HEADER}\n")
        for chunk in simulation.chunks():
            file.write("".join(csv_lines(simulation, chunk.arrivals, received=received)))
            count += chunk.arrivals.values.size
            bar.update(round((chunk.end - chunk.begin) / 3600, 1))
    acts = "".join(json.dumps(act) + "\n" for act in simulation.acts)
    beside(readings, ".acts.jsonl").write_text(acts, encoding="utf-8")
    beside(readings, ".truth.json").write_text(
        json.dumps(simulation.truth.as_table(), indent=1) + "\n", encoding="utf-8"
    )
    return count
