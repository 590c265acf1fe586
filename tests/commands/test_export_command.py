"""`brineward export`: any series, any period, exact, and a file that is whole or not there."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest
from pyarrow import parquet

from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.decode.senml import PackReader
from brineward.decode.sensors import WantedSensor, wanted_sensor
from brineward.export.files import Table, write
from brineward.journal import Journal
from brineward.readings.instants import instant_from_rfc3339
from brineward.readings.outputs import Derived, Step
from brineward.readings.values import Quality, Reading, Refusal
from brineward.records import series
from export_servers import told
from services import DEPOT, write_config

T0 = 1_767_225_600_123
VALUES = (0.1, 1 / 3, 5e-324, 1.7976931348623157e308, -2.5, 123456789.123456789, None)
READINGS = [
    Reading(
        DEPOT, "main-level", T0 + 1000 * n, value, T0 + 1000 * n,
        Quality.GOOD if value is not None else Quality.BAD,
    )
    for n, value in enumerate(VALUES)
]  # fmt: skip
STRENGTH = Derived(
    time=T0, depot=DEPOT, name="main-strength", value=0.1 + 0.2, standard_uncertainty=1 / 7,
    low_95=0.2, high_95=0.4,
)  # fmt: skip
ASKED = ["--since", "2025-12-31", "--until", "2026-01-02"]


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A depot whose journal has awkward doubles; looks are of three rows."""
    monkeypatch.setattr(series, "ROWS", 3)
    file = write_config(tmp_path, 1883)
    with Journal.open(load_settings(file).journal.path) as journal:
        journal.commit([Step(one, (STRENGTH,) if not n else ()) for n, one in enumerate(READINGS)])
    return file


def bits(value: float | None) -> str | None:
    """A double, to the bit."""
    return None if value is None else float(value).hex()


def test_csv_has_every_bit(config: Path, tmp_path: Path) -> None:
    """Each value reads back as the same double, with its time to the millisecond."""
    file = tmp_path / "out.csv"
    assert main(["export", str(config), "-o", str(file), *ASKED]) == 0
    rows = list(csv.DictReader(file.open()))
    found = [float(row["value"]).hex() if row["value"] else None for row in rows]
    assert found == [bits(value) for value in VALUES]
    assert [instant_from_rfc3339(row["time"]) for row in rows] == [one.time for one in READINGS]
    assert [row["quality"] for row in rows] == [one.quality for one in READINGS]


def test_parquet_has_every_bit(config: Path, tmp_path: Path) -> None:
    """Doubles and UTC instants in a file that other programs read."""
    file = tmp_path / "out.parquet"
    assert main(["export", str(config), "-o", str(file), *ASKED]) == 0
    table = parquet.read_table(file)
    assert [bits(value) for value in table["value"].to_pylist()] == [bits(v) for v in VALUES]
    assert [one.value for one in table["time"]] == [one.time for one in READINGS]
    assert main(["export", str(config), "-o", str(file), *ASKED, "--what", "strength"]) == 0
    (row,) = parquet.read_table(file).to_pylist()
    assert (bits(row["value"]), bits(row["standard_uncertainty"])) == (bits(0.1 + 0.2), bits(1 / 7))


def test_our_own_decoder_reads_senml_back(config: Path, tmp_path: Path) -> None:
    """RFC 8428 packs: the same times and doubles come out of the decoder that takes sensors'."""
    file = tmp_path / "out.senml"
    assert main(["export", str(config), "-o", str(file), *ASKED]) == 0
    wanted = _wanted(config)
    reader = PackReader([wanted], _refused)
    read = [
        one
        for line in file.read_bytes().splitlines()
        for one in reader.read(line, T0 + 99_000, False)
    ]
    assert all(isinstance(one, Reading) for one in read)
    assert [(one.time, bits(one.value)) for one in read if isinstance(one, Reading)] == [
        (one.time, bits(one.value)) for one in READINGS
    ]
    assert json.loads(file.read_bytes().splitlines()[0])[0]["u"] == "m"


def _wanted(config: Path) -> WantedSensor:
    source = next(s for s in load_settings(config).sources if s.sensor == "main-level")
    return replace(wanted_sensor(source), record_name=f"{DEPOT}/main-level")


def _refused(wanted: WantedSensor, reason: str, sentence: str, *_: object) -> Refusal:
    raise AssertionError(f"{wanted}: {reason}: {sentence}")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (["-o", "out.txt"], "ends in none of"),
        (["-o", "no/such/folder/out.csv"], "can't be written"),
        (["-o", "out.senml", "--what", "alarms"], "write .csv"),
        (["-o", "out.csv", "--depot", "nowhere"], "'nowhere' is not a depot of this config"),
        (["--to", "influxdb"], "has no [export.<name>]"),
    ],
)
def test_a_refusal_is_a_sentence(
    config: Path,
    more: list[str],
    sentence: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What, and what to do; no file is left, not even a hidden one."""
    tmp_path = config.parent
    monkeypatch.chdir(tmp_path)
    before = set(tmp_path.iterdir())
    assert main(["export", str(config), *more, *ASKED]) == 2
    assert sentence in capsys.readouterr().err
    assert {one.name for one in set(tmp_path.iterdir()) - before} <= {
        "brineward.journal-shm",
        "brineward.journal-wal",
    }


def test_a_series_that_there_is_not_is_named(
    config: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A slip beside a good name is not left out in silence; what there is is said."""
    out = tmp_path / "some.csv"
    asked = ["--series", "main-levle", "--series", "main-level"]
    assert main(["export", str(config), "-o", str(out), *asked, *ASKED]) == 0
    said = capsys.readouterr().err
    assert "--series 'main-levle' names no series of this journal; expected one of " in said
    assert said.count("--series") == 1
    assert "main-level" in said.partition("expected one of ")[2]


def test_only_the_series_and_the_stretch_that_are_asked(
    config: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """Another name or another day is nothing, and ends with 1; `-` is standard output."""
    assert main(["export", str(config), "-o", "-", *ASKED, "--series", "spare-*"]) == 1
    assert main(["export", str(config), "-o", "-", "--since", "2026-02-01"]) == 1
    for what in ("alarms", "episodes"):
        assert main(["export", str(config), "-o", "-", *ASKED, "--what", what]) == 1


def test_a_past_stretch_is_sent_again(config: Path) -> None:
    """The same points as the follower's, and no cursor is moved."""
    with told() as (server, url):
        with config.open("a") as file:
            file.write(f'\n[export.agency]\nurl = "{url}"\napi = 1\nbucket = "brine"\n')
        assert main(["export", str(config), "--to", "influxdb", *ASKED]) == 0
    assert len(server.written) == len(READINGS) + 1
    assert f"reading,depot={DEPOT},sensor=main-level value=0.1 {T0}" in server.written
    with Journal.open(load_settings(config).journal.path, read_only=True) as journal:
        assert journal.cursors.at("export agency") == 0


def test_words_in_a_csv_are_quoted_where_they_must_be(tmp_path: Path) -> None:
    """What the standard library's reader reads is what was written: RFC 4180."""
    words = ["plain", 'says "no"', "a, b", "two\nlines", "", None]
    rows = [(T0, DEPOT, "tank, main", word, number) for number, word in enumerate(words)]
    file = tmp_path / "out.csv"
    assert write(Table(("time", "depot", "source", "sentence", "number"), [rows], {}), file) == 6
    read = list(csv.reader(file.open(newline="")))[1:]
    assert [row[1:] for row in read] == [
        [DEPOT, "tank, main", word or "", str(number)] for number, word in enumerate(words)
    ]
    assert {instant_from_rfc3339(row[0]) for row in read} == {T0}
