"""`brinesim plot`: a run as a picture, in the depot's own units and by its clock."""

import json
import sys
from datetime import UTC
from pathlib import Path

import matplotlib.dates
import numpy as np
import pytest
from matplotlib.figure import Figure

from brinesim.brine import conductivity_from_mass_fraction
from brinesim.commands.main import main
from brinesim.depot_units import DepotUnits, depot_units
from brinesim.plot import alarm_lines, mass_fraction_from_conductivity, picture
from brinesim.scenario import ScenarioError, load_scenario
from brinesim.simulation import Simulation
from checkout import ROOT
from pictures import cut_off, legend_texts, overlapping

CONFIG = ROOT / "config/tern-hollow.toml"
ALARMS = [
    {"time": "2026-01-15T02:14:00Z", "alarm": "overflow-ahead", "state": "unacknowledged"},
    {"time": "2026-01-15T02:15:00Z", "alarm": "overflow-ahead", "state": "acknowledged"},
    {"time": "2026-01-15T02:16:00Z", "alarm": "closed-valve", "state": "unacknowledged"},
    {"time": "2026-01-15T02:30:00Z", "alarm": "overflow-ahead", "state": "normal"},
]
"""Two within two minutes: side by side their names would lie on one another."""


@pytest.fixture(scope="module")
def night() -> Figure:
    """Four faults and two alarms, in US units and by the depot's clock."""
    simulation = Simulation(load_scenario("winter-night"))
    return picture(simulation, ALARMS, depot_units(CONFIG, "tern-hollow"))


@pytest.fixture(scope="module")
def plain() -> Figure:
    """The same night without a config, and nothing raised."""
    return picture(Simulation(load_scenario("winter-night")), [], DepotUnits())


def test_a_run_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`brinesim plot` draws a PNG, with alarms where a file of them is given."""
    alarms = tmp_path / "alarms.jsonl"
    alarms.write_text(json.dumps(ALARMS[0]) + "\n")
    drawn = tmp_path / "night.png"
    words = ["plot", "winter-night", "--duration", "3 h", "--config", str(CONFIG)]
    assert main([*words, "-o", str(drawn), "--alarms", str(alarms)]) == 0
    assert drawn.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert drawn.stat().st_size > 50_000
    assert alarm_lines(alarms) == ALARMS[:1]
    named = b'"alarm": "x", "state": "unacknowledged"'
    timed = (b'{"time": 3, %s}' % named, b'{"time": "soon", %s}' % named)
    for line in (b'{"time": 3}', *timed, b"\xff"):
        alarms.write_bytes(line + b"\n")
        assert main([*words, "-o", str(drawn), "--alarms", str(alarms)]) == 2
        assert "line 1: expected an object with time" in capsys.readouterr().err


def test_it_is_in_the_depots_own_units_and_by_its_clock(night: Figure) -> None:
    """What the config says in US units is drawn in them, and the hours are the depot's own."""
    units = [row.get_ylabel() for row in night.axes]
    assert units[:4] == ["level, ft", "strength, % by mass", "temperature, degF", "flow, gal/min"]
    assert "pump's current, A" in units
    clock = night.axes[4]
    assert clock.get_xlabel() == "time, America/Chicago"
    first = matplotlib.dates.num2date(clock.get_xlim()[0], tz=UTC)
    shown = [label.get_text() for label in clock.get_xticklabels()]
    assert first.hour == 0  # midnight in UTC is 18:00 there
    assert shown[0] == "18:00"


def test_without_a_config_it_says_metric_and_utc(plain: Figure) -> None:
    """Nobody takes the hours for local ones, or metres for feet."""
    assert [row.get_ylabel() for row in plain.axes[:4]] == [
        "level, m",
        "strength, % by mass",
        "temperature, degC",
        "flow, L/s",
    ]
    assert plain.axes[4].get_xlabel() == "time, UTC"


def test_the_units_are_those_of_the_values(night: Figure, plain: Figure) -> None:
    """The brim of 2.4 m is drawn at 7.87 ft, the freezing point of water at 32 degF."""

    def level(figure: Figure, row: int, label: str) -> float:
        (line,) = [one for one in figure.axes[row].lines if str(one.get_label()).endswith(label)]
        return float(np.asarray(line.get_ydata())[0])

    assert level(plain, 0, "brim") == pytest.approx(2.4)
    assert level(night, 0, "brim") == pytest.approx(2.4 / 0.3048)
    assert level(plain, 2, "freezes") == pytest.approx(0.0)
    assert level(night, 2, "freezes") == pytest.approx(32.0)
    in_us = level(night, 2, "outdoor, true")
    assert in_us == pytest.approx(level(plain, 2, "outdoor, true") * 1.8 + 32.0)


def test_no_text_lies_on_another(night: Figure, plain: Figure) -> None:
    """Names of faults and alarms that come together still stand each on a line of its own."""
    for figure in (night, plain):
        assert overlapping(figure) == []
        assert cut_off(figure) == []
    lanes = [label.get_text() for label in night.axes[4].get_yticklabels()]
    assert lanes == [
        "fault: float-stuck-open",
        "fault: heater-failed",
        "fault: pump-against-closed-valve",
        "fault: weak-brine",
        "alarm: overflow-ahead",
        "alarm: closed-valve",
    ]


def test_every_legend_can_be_seen(night: Figure) -> None:
    """Each curve is named, and its dots in the legend are larger than in the picture."""
    assert "main, measured" in legend_texts(night.axes[0])
    assert legend_texts(night.axes[3]) == ["hose, true", "fill, true", "current, true"]
    for row in night.axes[:4]:
        legend = row.get_legend()
        assert legend is not None
        for handle in legend.get_lines():
            assert handle.get_markersize() >= 5.0
            assert handle.get_alpha() in (None, 1.0)


def test_an_alarm_lasts_until_its_cause_is_gone(night: Figure) -> None:
    """One that was taken goes on; one that never ended reaches to the run's end."""
    row = night.axes[4]
    spans = {
        round(bar.get_y() + bar.get_height() / 2): (bar.get_x(), bar.get_width())
        for bar in row.patches
        if bar.get_height() == pytest.approx(0.3)
    }
    assert spans[4][1] * 1440 == pytest.approx(16.0)
    assert sum(spans[5]) == pytest.approx(row.get_xlim()[1])


BAD = [
    ("not [toml", "Expected"),
    ("[depots.other]\n", "no depot 'tern-hollow', which the scenario plays; there are: other"),
    ("depots = 3\n", "there are: none"),
    ('[depots.tern-hollow]\ntime_zone = "Nowhere/Atall"\n', "time_zone is 'Nowhere/Atall'"),
    ("[depots.tern-hollow]\ntime_zone = 3\n", "time_zone is 3"),
    ('[depots.tern-hollow]\ntime_zone = "../x"\n', "which is no time zone"),
]


@pytest.mark.parametrize(("text", "said"), BAD)
def test_a_config_that_tells_no_units_is_refused(tmp_path: Path, text: str, said: str) -> None:
    """One sentence that says what is wrong in which file."""
    file = tmp_path / "depot.toml"
    file.write_text(text)
    with pytest.raises(ScenarioError) as refusal:
        depot_units(file, "tern-hollow")
    assert str(refusal.value).startswith(f"{file}: ")
    assert said in str(refusal.value)


def test_an_unknown_kind_of_picture_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sentence, and no traceback."""
    file = tmp_path / "night.nonsense"
    assert main(["plot", "tern-hollow", "--duration", "1 h", "-o", str(file)]) == 2
    assert f"{file} can't be drawn" in capsys.readouterr().err


def test_without_matplotlib_the_command_to_run_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and one sentence; the source is installed from where it lies, not an index."""
    monkeypatch.delitem(sys.modules, "brinesim.plot", raising=False)
    monkeypatch.delattr("brinesim.plot", raising=False)
    for name in [name for name in sys.modules if name.split(".")[0] == "matplotlib"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    assert main(["plot", "tern-hollow"]) == 2
    said = capsys.readouterr().err
    assert "matplotlib" in said
    assert said.endswith(f"{sys.executable} -m pip install '.[laptop]'\n")


def test_strength_drawn_from_conductivity_is_the_true_one() -> None:
    """For pure brine the picture's measured strength is the strength it was made with."""
    w = np.array([0.05, 0.15, 0.22, 0.25])
    t = np.array([0.0, 10.0, 20.0, 5.0])
    found = mass_fraction_from_conductivity(conductivity_from_mass_fraction(w, t), t)
    assert found == pytest.approx(w, abs=1e-5)
