"""Every condition of every alarm has a test that fails where it is never active."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from inspect import isabstract
from typing import Any

import pytest

from brineward import alarms
from brineward.alarms.condition import Condition
from brineward.alarms.registry import CATALOGUE
from checkout import ROOT

TESTED_IN = {
    "batch-untested/batch_untested.BatchIsUntested": "engine/test_batch_untested.py",
    "box-strained/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "brine-freezing/brine_freezing.BrineFreezing": "alarms/test_brine_freezing.py",
    "brine-strong/strength_band.StrengthOutside": "engine/test_strength_alarms.py::"
    "test_a_strong_batch_is_raised_within_ten_minutes_of_its_end",
    "brine-weak/strength_band.StrengthOutside": "engine/test_strength_alarms.py",
    "channel-unusable/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "clock-unsynced/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "clock-wrong/clock_wrong.ClockWrong": "engine/test_clock_set.py",
    "closed-valve/closed_valve.PumpAgainstClosedValve": "engine/test_closed_valve.py",
    "containment-wet/containment_wet.ContainmentWet": "alarms/test_containment_wet.py",
    "dangers-unwatched/dangers_unwatched.DangersUnwatched": "engine/test_unwatched.py",
    "depot-silent/depot_silent.DepotSilent": "engine/test_sensor_alarms.py",
    "disk-low/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "drill/drill.Drill": "engine/test_own_troubles.py",
    "export-behind/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "fill-weak/fill_weak.FillIsWeak": "alarms/test_fill_weak.py",
    "heater-failed/heater_failed.HeaterFailed": "alarms/test_heater_failed.py",
    "line-leak/line_leak.LineLeaks": "alarms/test_leaks.py",
    "link-lost/link_lost.LinkLost": "engine/test_sensor_alarms.py",
    "liquid-when-laid-up/liquid_when_laid_up.LiquidWhenLaidUp": "engine/test_modes.py",
    "mains-lost/mains_lost.MainsLost": "engine/test_power.py",
    "mode-doubtful/mode_doubtful.ModeDoubtful": "engine/test_modes.py",
    "not-filling/not_filling.TankNotFilling": "alarms/test_leaks.py",
    "outlet-dead/outlet_dead.OutletDead": "engine/test_power.py",
    "overflow-ahead/overflow_ahead.OverflowAhead": "engine/test_overflow.py::"
    "test_its_text_says_how_long_there_is",
    "part-stopped/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "probe-compensated/probe_compensated.ProbeCompensated": "alarms/test_probe_compensated.py",
    "probe-drifted/probe_drifted.ProbeDrifted": "engine/test_calibrating.py",
    "pump-dry/pump_dry.PumpDry": "engine/test_pump_dry.py",
    "pump-left-running/pump_left_running.PumpLeftRunning": "alarms/test_pump_left_running.py",
    "readings-missing/readings_missing.ReadingsMissing": "engine/test_missing_readings.py",
    "receipts-missing/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "records-damaged/service_trouble.ServiceTroubled": "engine/test_own_troubles.py",
    "replies-unheard/replies_unheard.RepliesUnheard": "engine/test_own_troubles.py",
    "rota-old/rota_old.RotaOld": "engine/test_rota_old.py",
    "salt-half/salt_half.SaltUnderHalf": "alarms/test_salt.py",
    "salt-low/salt_low.SaltIsLow": "alarms/test_salt.py",
    "sensor-implausible/sensor_implausible.SensorImplausible": "engine/test_sensor_alarms.py",
    "sensor-silent/sensor_silent.SensorSilent": "engine/test_sensor_alarms.py",
    "sensors-disagree/sensors_disagree.SensorsDisagree": "engine/test_sensors_disagree.py",
    "shelter-freezing/shelter_freezing.ShelterFreezing": "engine/test_shelter.py::"
    "test_already_cold_at_the_start_is_raised_after_its_delay",
    "strength-unknown/strength_unknown.StrengthUnknown": "engine/test_strength_alarms.py::"
    "test_what_no_brine_reads_is_told_as_unknown_in_the_morning",
    "switch-contradicted/switch_contradicted.SwitchContradicted": "engine/"
    "test_switches_contradicted.py",
    "tank-leak/tank_leak.SaltGoes": "alarms/test_topped_up.py::"
    "test_a_leak_that_a_float_tops_up_is_told_by_the_salt_alone",
    "tank-leak/tank_leak.TankLeak": "alarms/test_leaks.py",
    "tank-leak/tank_leak.WaterGoes": "alarms/test_topped_up.py::"
    "test_a_leak_that_a_float_tops_up_is_told_by_the_water_alone",
    "texts-failing/texts_failing.TextsFailing": "engine/test_telling.py",
    "uplift/uplift.TankMayFloat": "alarms/test_uplift.py",
    "water-left-on/water_left_on.WaterLeftOn": "engine/test_modes.py",
    "strengths-disagree/strengths_disagree.StrengthsDisagree": "engine/test_second_witness.py",
}
"""For each condition (its alarm, then its module and class) the tests that play what raises it; one
of them where those before it are slow, or are about another condition of that alarm."""


def _conditions(of: type[Condition[Any]]) -> Iterator[str]:
    """All classes of conditions that the alarms have and that can be made, by module and name."""
    for one in of.__subclasses__():
        if not isabstract(one) and one.__module__.startswith(f"{alarms.__name__}."):
            yield f"{one.__module__.removeprefix(f'{alarms.__name__}.')}.{one.__name__}"
        yield from _conditions(one)


def test_each_condition_has_its_tests() -> None:
    """None is left out, of no alarm, and none is named that there is not."""
    named = [one.split("/") for one in TESTED_IN]
    assert {alarm for alarm, _ in named} == set(CATALOGUE)
    assert {condition for _, condition in named} == set(_conditions(Condition))


# The first test waits for the tests of every condition: longer than one test may take elsewhere.
pytestmark = pytest.mark.timeout(900)


@pytest.fixture(scope="module")
def failures() -> dict[str, int]:
    """How many tests of each condition fail where it is never active, all in one process."""
    pairs = [f"{condition}=tests/{tests}" for condition, tests in TESTED_IN.items()]
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


@pytest.mark.parametrize("condition", TESTED_IN)
def test_a_condition_that_is_never_active_fails_its_tests(
    condition: str, failures: dict[str, int]
) -> None:
    """Whoever removes a condition's code is told by a test that its danger goes unwatched."""
    assert failures[condition] == 1
