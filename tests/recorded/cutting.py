"""Cuts the recorded runs again from brinesim: `python tests/recorded/cutting.py [NAME ...]`.

Only for a change of a recording itself; what `replay` says of one is written by
`BRINEWARD_WRITE_GOLDEN=1 pytest tests/recorded`, and then has to be read.
"""

import sys
import tempfile
import tomllib
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from brinesim.commands.main import main as brinesim
from brinesim.durations import seconds_from_text

HERE = Path(__file__).parent
WHOLLY = ("pump-running", "hose-valve-open", "outlet-power", "outdoor-temperature", "hopper-salt")


def recordings() -> dict[str, dict[str, Any]]:
    """What recordings.toml says of each."""
    return tomllib.loads((HERE / "recordings.toml").read_text(encoding="utf-8"))


def cut(name: str, its: dict[str, Any]) -> None:
    """Write one recording's readings, and its acts where there are some."""
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.csv"
        brinesim(
            ["write", its["scenario"], "--seed", str(its["seed"]), "-o", str(whole), "--quiet"]
        )
        header, *lines = whole.read_text(encoding="utf-8").splitlines()
        begin = datetime.fromisoformat(lines[0].split(",")[0]).replace(microsecond=0)
        first = stamp(begin, its["from"])
        last = stamp(begin, its["to"])
        # By their place, since what was buffered comes with old times.
        inside = [place for place, line in enumerate(lines) if first <= line < last]
        counts: dict[str, int] = {}
        kept = [header]
        for line in lines[inside[0] : inside[-1] + 1]:
            sensor = line.split(",")[2]
            if not wanted(sensor, its):
                continue
            counts[sensor] = counts.get(sensor, -1) + 1
            if sensor in WHOLLY or counts[sensor] % its.get("every", 1) == 0:
                kept.append(line)
        (HERE / f"{name}.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
        acts = whole.with_suffix(".acts.jsonl")
        within = [
            act
            for act in acts.read_text(encoding="utf-8").splitlines()
            if first <= act.split('"time": "')[-1].split('"')[0] < last
        ]
        if within:
            (HERE / f"{name}.acts.jsonl").write_text("\n".join(within) + "\n", encoding="utf-8")


def wanted(sensor: str, its: dict[str, Any]) -> bool:
    """Is this sensor part of the recording?"""
    only = its.get("only")
    return sensor not in its.get("without", ()) and (only is None or sensor in only)


def stamp(begin: datetime, after: str) -> str:
    """So long after the beginning, as the file writes it; stamps of one form sort as text."""
    moment = begin + timedelta(seconds=seconds_from_text(after))
    return moment.strftime("%Y-%m-%dT%H:%M:%S")


if __name__ == "__main__":
    for asked, described in recordings().items():
        if len(sys.argv) == 1 or asked in sys.argv[1:]:
            cut(asked, described)
