"""Recorded runs replayed: the same words, byte for byte, in one go and through any restarts.

With BRINEWARD_WRITE_GOLDEN=1 in the environment the expected files are rewritten; read them.
"""

import os
import random
from collections.abc import Iterator
from pathlib import Path

import orjson
import pytest

from brineward.commands.main import main
from brineward.commands.replay import acts_beside, change_as_json, text_as_json
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.readings.outputs import AlarmChanged, Output, TextDue
from recorded.cutting import recordings

HERE = Path(__file__).parent
CONFIG = HERE.parents[1] / "config" / "tern-hollow.toml"
MOST_BYTES = 200_000
RUNS = recordings()


@pytest.fixture(scope="module")
def settings() -> Settings:
    """The config that the runs are of."""
    return load_settings(CONFIG)


def said(outputs: tuple[Output, ...]) -> Iterator[bytes]:
    """What `replay --json --texts` prints of outputs."""
    for output in outputs:
        if isinstance(output, AlarmChanged):
            yield orjson.dumps(change_as_json(output, outputs)) + b"\n"
        elif isinstance(output, TextDue):
            yield orjson.dumps(text_as_json(output)) + b"\n"


@pytest.mark.parametrize("name", RUNS)
def test_a_recorded_run_gives_what_it_gave(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The command says of a run what somebody has read and found right, to the byte."""
    readings, expected = HERE / f"{name}.csv", HERE / f"{name}.expected.jsonl"
    assert main(["replay", str(CONFIG), str(readings), "--json", "--texts"]) == 0
    found = capsys.readouterr().out
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        expected.write_text(found, encoding="utf-8")
    assert found == expected.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", RUNS)
def test_restarts_at_random_places_change_nothing(name: str, settings: Settings) -> None:
    """Stopped forty times at random and gone on from its own snapshot, it says the same."""
    path = HERE / f"{name}.csv"
    acts = acts_beside(path) if acts_beside(path).exists() else None
    entries = list(Recording(path, settings.sources, acts))
    stops = set(random.Random(name).sample(range(len(entries)), 40))
    engine = Engine(settings.depots)
    found = b""
    for place, entry in enumerate(entries):
        if place in stops:
            kept = engine.snapshots()
            engine = Engine(settings.depots)
            engine.restore(kept)
        found += b"".join(said(engine.step(entry)))
    assert found == (HERE / f"{name}.expected.jsonl").read_bytes()


def test_every_recording_is_described_and_small() -> None:
    """Each file belongs to a recording that says why it is kept, and none is over 200 kB."""
    for path in HERE.glob("*.csv"):
        assert path.stem in RUNS
        assert path.stat().st_size <= MOST_BYTES
    for name, its in RUNS.items():
        assert its["why"].endswith("."), name
        assert (HERE / f"{name}.csv").exists()


@pytest.mark.parametrize(
    ("name", "raised"),
    [
        ("closed-valve", ["closed-valve"]),
        ("closed-valve-by-level", ["closed-valve"]),
        ("valve-shut-early", ["closed-valve"]),
        ("runaway-fill", ["overflow-ahead"]),
        ("heater-failed", ["shelter-freezing"]),
        ("gateway-silent", ["depot-silent"]),
        ("weak-brine", ["fill-weak", "brine-weak"]),
        ("sensor-spiking", []),
        ("sensor-spiking-long", ["sensor-implausible"]),
        ("sensor-stuck", ["sensor-implausible"]),
        ("thermometer-swapped", ["sensor-implausible", "sensor-implausible"]),
    ],
)
def test_what_is_expected_is_the_fault_and_no_other(name: str, raised: list[str]) -> None:
    """The expected files themselves: the fault's alarm alone; of a weak batch first its fill."""
    lines = [orjson.loads(line) for line in (HERE / f"{name}.expected.jsonl").open("rb")]
    found = [row["alarm"] for row in lines if row.get("state") == "unacknowledged"]
    assert found == raised
