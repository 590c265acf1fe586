"""`brineward calibrate`: a test goes to the service, and what it teaches is shown."""

import argparse
import json
import re
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.commands import calibrate
from brineward.config.load import load_settings
from brineward.decode.hand_tests import hand_test
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.physics.conductivity import conductivity
from brineward.physics.hydrometer import specific_gravity
from brineward.readings.entries import Entry, HandTest
from brineward.readings.instants import DAY, MINUTE, SECOND, Instant
from brineward.readings.outputs import Step
from brineward.readings.values import Reading

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
DEPOT = "tern-hollow"
STRENGTH, COLD_C = 0.228, 5.0
MARK = f"{specific_gravity(STRENGTH, COLD_C):.4f}"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The example config with its journal beside it."""
    path = tmp_path / "tern-hollow.toml"
    path.write_text(EXAMPLE.read_text())
    return path


def standing(end: Instant, factor: float) -> list[Entry]:
    """Ten minutes of readings up to an instant, of a probe that reads `factor` of the truth."""
    says = {
        "main-level": 1.5,
        "main-temperature": COLD_C,
        "main-conductivity": conductivity(STRENGTH, COLD_C) * factor,
    }
    return [
        Reading(DEPOT, sensor, time, value, time)
        for time in range(end - 10 * MINUTE, end, 10 * SECOND)
        for sensor, value in says.items()
    ]


def by_hand(time: Instant, by: str = "") -> HandTest:
    """A test, as the service takes it."""
    fields = {"vessel": "main", "specific_gravity": float(MARK), "temperature_c": COLD_C, "by": by}
    return hand_test(fields, depot=DEPOT, now=time)


def keep(config: Path, entries: list[Entry]) -> None:
    """A service that took these entries and stopped."""
    settings = load_settings(config)
    engine = Engine(settings.depots)
    steps = [Step(entry, engine.step(entry)) for entry in entries]
    with Journal.open(settings.journal.path) as journal:
        journal.commit(steps, states=engine.snapshots())


def told(config: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    parser = argparse.ArgumentParser()
    calibrate.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["calibrate", str(config), *more])
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def posted(config: Path) -> list[Entry]:
    """What waits for the service."""
    with Journal.open(load_settings(config).journal.path) as journal:
        return [entry for _, entry in journal.inbox.waiting()]


def test_a_test_is_posted_and_what_it_teaches_is_shown(config, capsys):
    """The act waits for the service; the same answer is shown at once, in the operator's units."""
    keep(config, standing(MachineClock().now(), 0.98))
    code, out, _ = told(
        config, capsys, "--hydrometer", MARK, "--temperature", "41 degF", "--by", "Yard lead"
    )
    assert code == calibrate.WELL
    assert "is 22.8 % (22.6 to 23.0, 95 %); queued for the service, which reports it" in out
    assert "at 41 F, reads 1.9 % low  kept, by Yard lead" in out
    assert "Now, at 41 F: its readings are multiplied by 1.019 (" in out
    assert "Test next by " in out
    [test] = posted(config)
    assert isinstance(test, HandTest)
    assert (test.vessel, test.by, test.cleaned) == ("main", "Yard lead", False)
    assert test.mass_fraction == pytest.approx(STRENGTH, abs=5e-5)
    assert test.entered.startswith(MARK)


def test_what_is_shown_is_what_the_service_makes_of_it(config, capsys):
    """The engine that takes the posted act has the very tests and factor that were shown."""
    now = MachineClock().now()
    readings = standing(now, 0.98)
    keep(config, readings)
    _, out, _ = told(config, capsys, "--salometer", "87", "--temperature", "5 degC", "--json")
    shown = json.loads(out)
    engine = Engine(load_settings(config).depots)
    for entry in [*readings, *posted(config)]:
        engine.step(entry)
    [record] = engine.plant(DEPOT).probes["main"].records
    assert shown["tests"][0]["log_factor"] == record.log_factor
    assert shown["tests"][0]["mass_fraction"] == record.mass_fraction
    low, high = shown["factor"]["interval_95"]
    assert low < shown["factor"]["value"] < high


def test_the_history_of_months(config, capsys, tmp_path):
    """Tests kept, one set aside, one unpaired: each said; a picture drawn."""
    now = MachineClock().now()
    entries: list[Entry] = []
    for days, factor in ((40, 0.98), (30, 0.981), (20, 0.93)):
        entries += [*standing(now - days * DAY, factor), by_hand(now - days * DAY)]
    entries.append(by_hand(now - 5 * DAY, by="\x1b[2J"))
    keep(config, entries)
    picture = tmp_path / "history.png"
    code, out, _ = told(config, capsys, "-o", str(picture))
    assert code == calibrate.WELL
    lines = out.splitlines()
    assert sum(line.endswith("  kept") for line in lines) == 2
    assert sum("SET ASIDE: test again on another day" in line for line in lines) == 1
    assert any("on record only: the probe gave no reading" in line for line in lines)
    assert "\x1b" not in out
    assert "Test now: " in out
    # The estimate's line and each test stand in the plot.
    plot = "\n".join(line for line in lines if "|" in line)
    assert plot.count("o") == 2
    assert plot.count("x") == 1
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_before_any_test_it_says_so(config, capsys):
    """No test, no factor; a test is worth the walk; nothing is posted."""
    keep(config, standing(MachineClock().now(), 1.0))
    code, out, _ = told(config, capsys)
    assert code == calibrate.WELL
    assert "No test yet" in out
    assert "Test now: " in out
    assert posted(config) == []


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--hydrometer", "1.171"], "does not say its temperature"),
        (["--hydrometer", "11.71", "--temperature", "5 degC"], "not one of brine"),
        (["--hydrometer", "x", "--temperature", "5 degC"], "--hydrometer"),
        (["--temperature", "5 degC"], "what did it show?"),
        (["--hydrometer", "1.171", "--temperature", "5 degC", "--scale", "9/9"], "scale"),
        (["--hydrometer", "1.17", "--temperature", "5 degC", "--time", "noon"], "is not a time"),
        (["--hydrometer", "1.17", "--salometer", "80", "--temperature", "5 degC"], "was entered"),
        (
            ["--depot", "elsewhere"],
            "'elsewhere' is not a depot of this config; expected --depot tern-hollow",
        ),
        (["-o", "/nowhere/at/all.png"], "can't be drawn"),
    ],
)
def test_what_cant_be_taken_is_said_and_not_posted(config, capsys, asked, said):
    """Exit code 2, a sentence, and nothing waits for the service."""
    keep(config, standing(MachineClock().now(), 1.0))
    code, out, err = told(config, capsys, *asked)
    assert (code, out) == (calibrate.MISASKED, "")
    assert said in err
    assert posted(config) == []


def test_a_vessel_without_a_probe(config, capsys):
    """The hopper has no conductivity: exit code 1, and nothing is posted."""
    keep(config, standing(MachineClock().now(), 1.0))
    asked = ["--vessel", "hopper", "--hydrometer", "1.171", "--temperature", "5 degC"]
    code, _, err = told(config, capsys, *asked)
    assert code == calibrate.NO_PROBE
    assert "no conductivity beside a temperature in 'hopper'" in err
    assert posted(config) == []


def test_a_likely_slip_is_named_and_counts_once_it_is_confirmed(config, capsys):
    """41 entered as Celsius where the tank is at 41 F: named at entry; --sure takes it in full."""
    keep(config, standing(MachineClock().now(), 0.98))
    entry = ("--hydrometer", MARK, "--temperature", "41 degC")
    _, out, _ = told(config, capsys, *entry)
    assert "looks like degrees Fahrenheit, entered as Celsius" in out
    assert "or as it was with --sure" in out
    _, out, _ = told(config, capsys, *entry, "--sure")
    assert out.count("looks like degrees Fahrenheit") == 1


def test_cold_nights_show_percent_per_degree(config, capsys, tmp_path):
    """A tank at rest that cools by eight degrees in three days: the depot's own percent per
    degree with its interval, beside the curve's, in the operator's degrees, and drawn."""
    now = MachineClock().now()
    entries: list[Entry] = []
    for minutes in range(3 * 24 * 60):
        time, celsius = now - 3 * DAY + minutes * MINUTE, 6.0 - 8.0 * minutes / (3 * 24 * 60)
        if minutes == 30:
            entries.append(by_hand(time))
        says = {
            "main-level": 1.5,
            "main-temperature": celsius,
            "main-conductivity": conductivity(STRENGTH, celsius),
        }
        entries += [Reading(DEPOT, sensor, time, value, time) for sensor, value in says.items()]
    keep(config, entries)
    picture = tmp_path / "history.png"
    _, out, _ = told(config, capsys, "-o", str(picture))
    assert "gains this many percent of conductivity a degF" in out
    [line] = [line for line in out.splitlines() if "at 32 F: " in line]
    shown, low, high, curve = (float(one) for one in re.findall(r"\d\.\d\d", line))
    assert low < shown < high
    assert shown == pytest.approx(curve, abs=0.02)
    assert picture.read_bytes().startswith(b"\x89PNG")
    _, out, _ = told(config, capsys, "--json")
    [at_zero] = [o for o in json.loads(out)["percent_per_degree"] if o["temperature_c"] == 0.0]
    assert at_zero["percent"] == pytest.approx(1.8 * shown, abs=0.02)
    stands = json.loads(out)["stands"]
    assert len(stands["factors"]) == len(stands["looks"]) > 5
    assert stands["factors"] == pytest.approx([1.0] * len(stands["looks"]), abs=0.003)
    assert stands["film"] is None
