"""Every alarm has a test that fails where its condition is never active."""

import json
import os
import subprocess
import sys

import pytest

from brineward.alarms.registry import CATALOGUE
from checkout import ROOT

TESTED_IN = {
    "batch-untested": "engine/test_batch_untested.py",
    "box-strained": "engine/test_own_troubles.py",
    "brine-freezing": "alarms/test_brine_freezing.py",
    "brine-strong": "engine/test_strength_alarms.py::"
    "test_a_strong_batch_is_raised_within_ten_minutes_of_its_end",
    "brine-weak": "engine/test_strength_alarms.py",
    "channel-unusable": "engine/test_own_troubles.py",
    "clock-unsynced": "engine/test_own_troubles.py",
    "clock-wrong": "engine/test_clock_set.py",
    "closed-valve": "engine/test_closed_valve.py",
    "containment-wet": "alarms/test_containment_wet.py",
    "dangers-unwatched": "engine/test_unwatched.py",
    "depot-silent": "engine/test_sensor_alarms.py",
    "disk-low": "engine/test_own_troubles.py",
    "drill": "engine/test_own_troubles.py",
    "export-behind": "engine/test_own_troubles.py",
    "fill-weak": "alarms/test_fill_weak.py",
    "heater-failed": "alarms/test_heater_failed.py",
    "line-leak": "alarms/test_leaks.py",
    "link-lost": "engine/test_sensor_alarms.py",
    "liquid-when-laid-up": "engine/test_modes.py",
    "mains-lost": "engine/test_power.py",
    "mode-doubtful": "engine/test_modes.py",
    "not-filling": "alarms/test_leaks.py",
    "outlet-dead": "engine/test_power.py",
    "overflow-ahead": "engine/test_overflow.py::test_its_text_says_how_long_there_is",
    "part-stopped": "engine/test_own_troubles.py",
    "probe-compensated": "alarms/test_probe_compensated.py",
    "probe-drifted": "engine/test_calibrating.py",
    "pump-dry": "engine/test_pump_dry.py",
    "pump-left-running": "alarms/test_pump_left_running.py",
    "readings-missing": "engine/test_missing_readings.py",
    "receipts-missing": "engine/test_own_troubles.py",
    "records-damaged": "engine/test_own_troubles.py",
    "replies-unheard": "engine/test_own_troubles.py",
    "rota-old": "engine/test_rota_old.py",
    "salt-half": "alarms/test_salt.py",
    "salt-low": "alarms/test_salt.py",
    "sensor-implausible": "engine/test_sensor_alarms.py",
    "sensor-silent": "engine/test_sensor_alarms.py",
    "sensors-disagree": "engine/test_sensors_disagree.py",
    "shelter-freezing": "engine/test_shelter.py::"
    "test_already_cold_at_the_start_is_raised_after_its_delay",
    "strength-unknown": "engine/test_strength_alarms.py::"
    "test_what_no_brine_reads_is_told_as_unknown_in_the_morning",
    "switch-contradicted": "engine/test_switches_contradicted.py",
    "tank-leak": "alarms/test_leaks.py",
    "texts-failing": "engine/test_telling.py",
    "uplift": "alarms/test_uplift.py",
    "water-left-on": "engine/test_modes.py",
    "strengths-disagree": "engine/test_second_witness.py",
}
"""For each alarm the tests that play what raises it; one of them where those before it are slow."""


def test_each_alarm_has_its_tests() -> None:
    """None is left out, and none is named that there is not."""
    assert set(TESTED_IN) == set(CATALOGUE)


# The first test waits for the tests of every alarm: longer than one test may take elsewhere.
pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module")
def failures() -> dict[str, int]:
    """How many tests of each alarm fail where it is never active, all in one process."""
    pairs = [f"{alarm}=tests/{tests}" for alarm, tests in TESTED_IN.items()]
    done = subprocess.run(
        [sys.executable, "-m", "house.never_active", *pairs],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "tests"), *sys.path])},
        capture_output=True,
        text=True,
        check=False,
        timeout=880,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    found: dict[str, int] = {}
    for line in done.stdout.splitlines():
        found |= json.loads(line)
    return found


@pytest.mark.parametrize("alarm", TESTED_IN)
def test_an_alarm_that_is_never_active_fails_its_tests(
    alarm: str, failures: dict[str, int]
) -> None:
    """Whoever removes a condition's code is told by a test that its danger goes unwatched."""
    assert failures[alarm] == 1
