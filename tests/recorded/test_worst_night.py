"""The worst night, played: a hopper that runs over, a pump left on, a containment that fills, the
power gone and a probe silent. Every text of it, so that a change in what one cause sends is seen.

With BRINEWARD_WRITE_GOLDEN=1 in the environment the expected file is rewritten; read it.
"""

import os
from collections import Counter
from datetime import datetime
from pathlib import Path

import orjson
import pytest

from brinesim.commands.main import main as simulate
from brineward.commands.main import main

HERE = Path(__file__).parent
CONFIG = HERE.parents[1] / "config" / "tern-hollow.toml"
EXPECTED = HERE / "worst-night.expected.txt"
BEGINS = datetime.fromisoformat("2026-01-22T00:00:00Z")


def sent(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Each text in turn: the minute, the alarm, its source, the kind and the person."""
    readings = folder / "readings.csv"
    assert simulate(["write", str(HERE / "worst-night.toml"), "-o", str(readings), "--quiet"]) == 0
    capsys.readouterr()
    taken = ["--taken-after", "5 min"]
    assert main(["replay", str(CONFIG), str(readings), "--json", "--texts", *taken]) == 0
    rows = [orjson.loads(line) for line in capsys.readouterr().out.splitlines()]
    about = {row["number"]: f"{row['alarm']} {row['source']}" for row in rows if "alarm" in row}
    return [
        f"{_minute(row['time']):3} min  {about.get(row['number'], 'depot')}: {row['kind']},"
        f" {row['priority']}, to {row['person']}"
        for row in rows
        if "body" in row
    ]


def _minute(time: str) -> int:
    return int((datetime.fromisoformat(time) - BEGINS).total_seconds() // 60)


def test_the_worst_night_sends_what_it_sent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As somebody has read it and found each text worth a person's sleep; taken five minutes after
    its text, each alarm is announced once until its patience is over."""
    found = sent(tmp_path, capsys)
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        EXPECTED.write_text("\n".join(found) + "\n", encoding="utf-8")
    assert found == EXPECTED.read_text(encoding="utf-8").splitlines()
    raised = Counter(line.split("  ")[1].split(": ")[0] for line in found if ": raised" in line)
    assert set(raised.values()) == {1}, "each is announced once as new"
    assert "uplift hopper" not in raised
