"""What one reading costs the core, in bytecodes: the same on a busy machine as on an idle one.

    python tests/bench/reading_cost.py [scenario] [readings]

Counts every bytecode that is run while a simulated run is replayed, by module and by function; what
is done inside C (dictionaries, numbers, the file) is not counted. Prints, asserts nothing.
"""

import subprocess
import sys
import tempfile
from collections import Counter
from itertools import islice
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
LEARNT_AFTER = 10_000
"""Readings that are played before the count begins: what is learnt at first is over by then."""


def counted(readings: Path, count: int) -> tuple[Counter[CodeType], Counter[CodeType]]:
    """Bytecodes and calls, by function, of so many readings."""
    settings = load_settings(CONFIG)
    step = Engine(settings.depots).step
    entries = iter(Recording(readings, settings.sources, readings.with_suffix(".acts.jsonl")))
    for entry in islice(entries, LEARNT_AFTER):
        step(entry)
    codes: Counter[CodeType] = Counter()
    calls: Counter[CodeType] = Counter()

    def trace(frame: FrameType, event: str, _: Any) -> Any:
        if event == "call":
            frame.f_trace_opcodes, frame.f_trace_lines = True, False
            calls[frame.f_code] += 1
        elif event == "opcode":
            codes[frame.f_code] += 1
        return trace

    sys.settrace(trace)
    try:
        for entry in islice(entries, count):
            step(entry)
    finally:
        sys.settrace(None)
    return codes, calls


def main(scenario: str, count: int) -> None:
    """Write the run, count, print."""
    with tempfile.TemporaryDirectory() as name:
        readings = Path(name) / "run.csv"
        write = [sys.executable, "-m", "brinesim.commands.main", "write", scenario]
        subprocess.run([*write, "-o", str(readings), "--quiet"], check=True, capture_output=True)
        codes, calls = counted(readings, count)
    whole = codes.total()
    print(
        f"{scenario}: {whole / count:,.0f} bytecodes, {calls.total() / count:.1f} calls a reading"
    )
    modules: Counter[str] = Counter()
    for code, number in codes.items():
        modules["/".join(Path(code.co_filename).parts[-2:])] += number
    for place, number in modules.most_common(12):
        print(f"{100 * number / whole:5.1f} %  {place}")
    for code, number in codes.most_common(12):
        print(f"{100 * number / whole:5.1f} %  {code.co_qualname}, {calls[code] / count:.2f} calls")


if __name__ == "__main__":
    arguments = sys.argv[1:] + ["winter-night", "10000"][len(sys.argv) - 1 :]
    main(arguments[0], int(arguments[1]))
