"""`brineward status`: what it tells of a journal, and how it ends."""

import argparse
import contextlib
import json
import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from brineward.clock import MachineClock
from brineward.commands import status
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import MINUTE, SECOND, local_from_instant
from brineward.readings.outputs import AlarmState, Step
from brineward.readings.values import Quality, Reading, Refusal
from journal.samples import alarm, derived, plain, reading, text

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The example config with its journal beside it."""
    path = tmp_path / "tern-hollow.toml"
    path.write_text(EXAMPLE.read_text())
    return path


@pytest.fixture
def now() -> int:
    """The machine's time."""
    return MachineClock().now()


def at(instant: int, one: Reading) -> Reading:
    """The reading, measured and arrived at an instant."""
    return one._replace(time=instant, received=instant)


def healthy(config: Path, now: int) -> Journal:
    """A journal with a live service, a link, and a reading of the main level."""
    settings = load_settings(config)
    journal = Journal.open(settings.journal.path)
    journal.signs_of_life.note(
        beat=now, pid=7, version="0.1.0", config_hash=settings.hash, started=now
    )
    level = at(now - 4000, reading(0, 1.2192))
    warm = at(now - 4000, reading(0, 10.0, sensor="main-temperature"))
    strength = derived(
        0,
        0.2331,
        name="main-strength",
        standard_uncertainty=0.002,
        low_95=0.2286,
        high_95=0.2371,
    )
    strength = replace(strength, time=now - 4000)
    steps = [Step(LinkChanged(time=now - MINUTE, up=True), ()), Step(level, (strength,))]
    journal.commit([*steps, *plain(warm)])
    return journal


def told(config: Path, capsys, *more: str) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    parser = argparse.ArgumentParser()
    status.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["status", str(config), *more])
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_all_calm_ends_with_0(config, now, capsys):
    """A live service, nothing standing: values in the operator's units, with their age."""
    healthy(config, now).close()
    code, out, _ = told(config, capsys)
    assert code == status.CALM
    assert "Service alive" in out
    assert "No active alarms." in out
    assert re.search(r"main-level           4(\.00)? ft, ", out)
    assert "main-temperature     50 F, " in out
    assert "hopper-level         nothing heard yet" in out
    # 23.31 % is the eutectic, -21.1 degC (Salt Institute): in the operator's units -6 F.
    assert "main strength 23.3 % (22.9 to 23.7, 95 %), first ice at -6 F" in out
    assert "not judged yet" not in out


def test_a_standing_alarm_ends_with_1_and_says_what_to_do(config, now, capsys):
    """Its code, its sentence, what to do, and the very command that takes it."""
    raised = replace(alarm(unit="1"), time=now - 5 * MINUTE)
    cause = replace(alarm(), time=now, alarm="depot-silent", source="depot", value=None, number=9)
    quiet = alarm(alarm="sensor-silent", source="main-conductivity", number=0, value=None)
    quiet = replace(quiet, time=now, state=AlarmState.SUPPRESSED)
    due = replace(text(), time=now)
    with healthy(config, now) as journal:
        journal.commit([Step(at(now, reading(0, 1.0)), (raised, cause, quiet, due))])
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    assert "TH12 HIGH: main tank's brine weak: now 23.3 %, limit 22.0 %. Since 00:00" in out
    assert "not acknowledged." in out
    assert "Do not load from this tank." in out
    assert f"If you have it: brineward take TH12 --config {config}\n" in out
    assert "Suppressed by depot-silent: sensor-silent (main-conductivity)." in out
    assert "Texts: 1 waiting to be sent, 0 given up." in out
    taken = replace(
        raised,
        time=now - MINUTE,
        before=AlarmState.UNACKNOWLEDGED,
        state=AlarmState.ACKNOWLEDGED,
        by="Yard lead",
    )
    with Journal.open(load_settings(config).journal.path) as journal:
        journal.commit([Step(at(now + 1, reading(0, 1.0)), (taken,))])
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    assert "acknowledged by Yard lead" in out
    assert "brineward take TH12" not in out


def changed(config: Path, now: int, *outputs: Any) -> None:
    """A healthy journal in which the engine has concluded these now."""
    with healthy(config, now) as journal:
        journal.commit([Step(at(now - SECOND, reading(0, 1.3)), outputs)])


def test_the_value_is_that_of_now(config, now, capsys):
    """Not the one at the alarm's last change, which may be hours old; the limit beside it."""
    raised = alarm(
        alarm="overflow-ahead",
        value=2.9,
        limit=2.25,
        unit="m",
        sentence="main tank near overflow, 9.51 ft (limit 7.38)",
    )
    changed(config, now, replace(raised, time=now - 90 * MINUTE))
    _, out, _ = told(config, capsys)
    line = next(line for line in out.splitlines() if "TH12" in line)
    assert re.search(r"main tank near overflow: now 4(\.27 ft| ft 3 in), limit 7", line)
    assert "9.51" not in out


@pytest.mark.parametrize(
    ("judged", "said"),
    [
        (("salt-low", "hopper", "m"), r"now 10 in, limit"),  # not the hopper's level
        (("uplift", "main", "m"), r"now 2 in, limit"),  # what lifts it is outside it
        (("overflow-ahead", "hopper", "m"), r"now 4 ft 7 in, limit"),
        (("pump-dry", "pump", "A"), r"now 4\.70 A, limit"),
        (("brine-freezing", "main", "degC"), r"no value now"),  # outdoors, or in the tank
        (("fill-weak", "main", "1"), r"no value now"),  # the mix's strength, not the tank's
    ],
)
def test_the_value_of_now_is_of_what_the_alarm_is_judged_by(judged, said, config, now, capsys):
    """Never that of another sensor at the same place that happens to have the same unit."""
    values = {"hopper-level": 1.4, "hopper-salt": 0.254, "containment-level": 0.05}
    values |= {"pump-current": 4.7, "main-temperature": -5.0}
    name, source, unit = judged
    raised = alarm(alarm=name, source=source, value=0.1, limit=0.2, unit=unit)
    changed(config, now, replace(raised, time=now - 10 * MINUTE))
    with Journal.open(load_settings(config).journal.path) as journal:
        for sensor, value in values.items():
            journal.commit(plain(at(now - SECOND, reading(0, value, sensor=sensor))))
    out = told(config, capsys)[1]
    assert re.search(said, next(line for line in out.splitlines() if "TH12" in line))


def test_salt_is_not_held_to_the_limits_of_the_liquid_around_it(config, now, capsys):
    """A hopper with little liquid and much salt: neither sensor is beyond the other's limit."""
    liquid = at(now, reading(0, 0.3, sensor="hopper-level"))
    salt = at(now, reading(0, 1.77, sensor="hopper-salt"))
    with healthy(config, now) as journal:
        journal.commit([*plain(liquid), *plain(salt)])
    assert "not judged yet" not in told(config, capsys)[1]


def test_without_a_value_of_now_the_old_one_says_how_old_it_is(config, now, capsys):
    """A sensor that has never been heard: what was judged then, and when that was."""
    raised = alarm(source="pump", unit="m/s", value=0.1, sentence="pump runs but no level falls")
    changed(config, now, replace(raised, time=now - 10 * MINUTE))
    out = told(config, capsys)[1]
    assert re.search(r"pump runs but no level falls \(at .*\d\d:\d\d; no value now\)", out)


def test_a_value_outside_its_band_that_no_alarm_has_judged_is_said(config, now, capsys):
    """Weak brine, a full tank and a cold shelter are marked before their delays have run out."""
    weak = replace(derived(0, 0.19, name="main-strength", low_95=0.18, high_95=0.2), time=now)
    full = at(now, reading(0, 2.39))
    cold = at(now, reading(0, 1.0, sensor="shelter-temperature"))
    with healthy(config, now) as journal:
        journal.commit([Step(full, (weak,)), *plain(cold)])
    code, out, _ = told(config, capsys)
    assert code == status.CALM
    marked = [line.split()[0] for line in out.splitlines() if "not judged yet" in line]
    assert marked == ["main", "main-level", "shelter-temperature"]
    raised = alarm(unit="1", time=0)
    with Journal.open(load_settings(config).journal.path) as journal:
        journal.commit([Step(at(now + 1, reading(0, 1.0)), (replace(raised, time=now),))])
    out = told(config, capsys)[1]
    assert "main strength 19.0 %" in out
    assert "outside its band" not in next(x for x in out.splitlines() if "main strength" in x)


def test_cleared_but_not_acknowledged_is_no_active_alarm_and_not_calm(config, now, capsys):
    """What came back by itself still waits for somebody: said with its hour, and how to take it."""
    raised = replace(alarm(), time=now - 60 * MINUTE)
    back = replace(
        raised,
        time=now,
        before=AlarmState.UNACKNOWLEDGED,
        state=AlarmState.RETURNED_UNACKNOWLEDGED,
    )
    changed(config, now, raised, back)
    code, out, _ = told(config, capsys)
    local = local_from_instant(now, ZoneInfo("America/Chicago"))
    assert code == status.NOT_CALM
    assert "No active alarms." in out
    assert f"TH12: Main tank brine is weak: cleared at {local:%H:%M}, not acknowledged." in out
    assert "brineward take TH12" in out


def test_since_is_what_was_texted(config, now, capsys):
    """The alarm was raised after its delay; the text says since when it was wrong, and so do we."""
    local = local_from_instant(now - 2 * MINUTE, ZoneInfo("America/Chicago"))
    raised = replace(alarm(), time=now)
    due = text()
    due = replace(due, time=now, notice=replace(due.notice, when=f"Since {local:%H:%M}"))
    changed(config, now, raised, due)
    assert f"Since {local:%H:%M}, not acknowledged." in told(config, capsys)[1]


def test_there_is_one_clock_and_its_zone_is_named_once(config, now, capsys):
    """All times are the depot's own; nobody has to add hours at night."""
    with healthy(config, now) as journal:
        rubbish = Refusal("tern-hollow", "pump-running", now, "not-a-number", "It is.", "t", b"?")
        journal.commit(plain(rubbish))
    out = told(config, capsys)[1]
    assert out.count("America/Chicago") == 1
    assert not re.search(r"\d\d:\d\d:\d\dZ|UTC", out)


def test_an_older_row_without_an_interval_says_its_standard_uncertainty(config, now, capsys):
    """Twice it is not its interval where that is lopsided, so none is printed."""
    old = derived(0, 0.2231, name="main-strength", low_95=None, high_95=None)
    changed(config, now, replace(old, time=now))
    out = told(config, capsys)[1]
    assert "main strength 22.3 % (standard uncertainty 0.2 %), first ice at " in out
    assert "95 %" not in out


def test_a_lopsided_interval_is_printed_as_it_is(config, now, capsys):
    """At -10 degC it is 19.7 to 25.2 and not twice an uncertainty to either side."""
    wide = derived(0, 0.233, name="main-strength", standard_uncertainty=0.018)
    changed(config, now, replace(wide, time=now, low_95=0.197, high_95=0.252))
    assert "main strength 23.3 % (19.7 to 25.2, 95 %)" in told(config, capsys)[1]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of two megabytes in memory; needs the right to mount."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a tmpfs (run as root)")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_no_sign_of_life_on_a_full_disk_is_not_called_silence(small_disk, now, capsys):
    """The service can't leave a sign there: that nobody watches would be a guess."""
    config = small_disk / "tern-hollow.toml"
    config.write_text(EXAMPLE.read_text())
    journal = healthy(config, now)
    journal.signs_of_life.note(beat=now - 12 * MINUTE)
    with (small_disk / "others").open("wb", buffering=0) as others:
        for size in (4096, 1):
            with contextlib.suppress(OSError):
                while others.write(bytes(size)):
                    pass
    code, out, _ = told(config, capsys)
    journal.close()
    assert code == status.NOT_CALM
    assert out.startswith("No sign of the service for 12 min: the full disk can't store one, or")


@pytest.mark.parametrize("running", [True, False])
def test_a_full_disk_without_the_reserve_is_said(small_disk, now, capsys, running):
    """Filled to the last byte, the service alive or gone: the status still reads, and says it."""
    config = small_disk / "tern-hollow.toml"
    config.write_text(EXAMPLE.read_text())
    journal = healthy(config, now)
    if not running:
        journal.close()
    with (small_disk / "others").open("wb", buffering=0) as others:
        for size in (4096, 1):
            with contextlib.suppress(OSError):
                while others.write(bytes(size)):
                    pass
    code, out, err = told(config, capsys)
    journal.close()
    assert (code, err) == (status.NOT_CALM, "")
    assert "THE DISK IS FULL. Nothing new is stored, so all above is from before; alarms" in out


def test_a_low_disk_is_not_calm(config, now, capsys):
    """Nobody may be told that all is well by a service that will soon be unable to write."""
    config.write_text(
        config.read_text().replace("[journal]", '[journal]\ndisk_warn = "900000 GB"', 1)
    )
    healthy(config, now).close()
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    assert "LOW, make room." in out


def test_only_a_suppressed_alarm_is_calm(config, now, capsys):
    """What is quiet under a cause that has gone doesn't call anybody by itself."""
    quiet = replace(alarm(number=0), time=now, state=AlarmState.SUPPRESSED)
    with healthy(config, now) as journal:
        journal.commit([Step(at(now, reading(0, 1.0)), (quiet,))])
    assert told(config, capsys)[0] == status.CALM


def test_a_silent_service_is_not_calm(config, now, capsys):
    """No progress for minutes: said first and in capitals, whatever the last values were."""
    with healthy(config, now) as journal:
        journal.signs_of_life.note(beat=now - 12 * MINUTE)
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    assert out.startswith("SERVICE SILENT for 12 min: is it running?")


def test_a_sign_from_the_future_is_no_sign_of_life(config, now, capsys):
    """A box whose clock went back with its power: what was seen before does not hide that nothing
    runs now."""
    with healthy(config, now) as journal:
        journal.signs_of_life.note(beat=now + 12 * MINUTE + 30 * SECOND)
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    assert "its last sign is 12 min ahead of now. Is it running? Nobody is watching" in out


def test_a_stopped_service_is_said_to_be_stopped_at_once(config, now, capsys):
    """At which time, and not a minute later; once it is started again it is alive again."""
    settings = load_settings(config)
    with healthy(config, now) as journal:
        journal.signs_of_life.note_stopped(now)
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    (zone,) = {plan.zone for plan in settings.depots.values()}
    at = local_from_instant(now, zone)
    assert out.startswith(f"SERVICE STOPPED at {at:%H:%M}: nobody is watching the depots.")
    service = json.loads(told(config, capsys, "--json")[1])["service"]
    assert (service["alive"], service["pid"]) == (False, None)
    assert service["stopped"] is not None
    with Journal.open(settings.journal.path) as journal:
        journal.signs_of_life.note(beat=now, pid=8)
    service = json.loads(told(config, capsys, "--json")[1])["service"]
    assert (service["alive"], service["pid"], service["stopped"]) == (True, 8, None)


def test_a_recording_is_told_of_as_it_was(config, now, capsys):
    """A service that went on without readings was alive at the last of them, and no age is
    negative."""
    with healthy(config, now) as journal:
        journal.signs_of_life.note_stopped(now + 12 * MINUTE)
    _, out, _ = told(config, capsys, "--journal", str(load_settings(config).journal.path))
    assert out.startswith("Service alive, last sign 0 s ago")


def test_a_lost_link_is_not_calm(config, now, capsys):
    """Cut off from the broker: since when, and why."""
    with healthy(config, now) as journal:
        journal.commit(plain(LinkChanged(time=now, up=False, why="refused\x1b[2J")))
    code, out, _ = told(config, capsys)
    assert code == status.NOT_CALM
    local = local_from_instant(now, ZoneInfo("America/Chicago"))
    assert f"BROKER NOT CONNECTED since {local:%H:%M} (refused?[2J)" in out
    assert "\x1b" not in out


def test_sensors_silent_bad_or_contradicting_are_said(config, now, capsys):
    """An old reading is SILENT, a bad one says why, refusals and conflicts are counted."""
    old = at(now - 60 * MINUTE, reading(0, 1.0, sensor="hose-flow"))
    bad = at(now, reading(0, None, sensor="pump-current", quality=Quality.BAD, reason="no value"))
    rubbish = Refusal("tern-hollow", "pump-running", now, "not-a-number", "It is.", "t", b"?")
    twice = [at(now, reading(0, value, sensor="hopper-level")) for value in (1.0, 1.1)]
    with healthy(config, now) as journal:
        journal.commit(plain(old, bad, rubbish, rubbish, *twice))
    _, out, _ = told(config, capsys)
    assert re.search(r"hose-flow +15850\.3 gal/min, 60 min ago  SILENT", out)
    assert "no value (bad: no value)" in out
    assert "Refused from pump-running: 2 (not-a-number), last " in out
    assert "hopper-level gave two values for one instant 1 times." in out


def test_json_is_si(config, now, capsys):
    """For programs: plain JSON, SI units, instants in UTC, the same verdict."""
    healthy(config, now).close()
    code, out, _ = told(config, capsys, "--json")
    found = json.loads(out)
    assert code == status.CALM
    assert found["calm"] is True
    (depot,) = found["depots"]
    sensors = {one["id"]: one for one in depot["sensors"]}
    assert sensors["main-level"]["value"] == pytest.approx(1.2192)
    assert 4 <= sensors["main-level"]["age_seconds"] < 60
    assert sensors["hopper-level"]["silent"] is True
    (strength,) = depot["strengths"]
    assert strength["interval_95"] == [0.2286, 0.2371]
    # Salt Institute: eutectic -21.1 degC; the interval reaches over it to either side.
    assert strength["freezing_interval_c"][0] == pytest.approx(-21.1, abs=0.2)
    assert strength["freezing_interval_c"][1] > -21.1
    assert found["disk"]["journal_bytes"] > 0


def test_what_cannot_be_read_ends_with_2(config, tmp_path, capsys):
    """No journal yet, a wrong file, a wrong config: one sentence, never a traceback."""
    code, out, err = told(config, capsys)
    assert (code, out) == (status.UNREADABLE, "")
    assert "has the service ever run?" in err
    (tmp_path / "tern-hollow.journal").write_text("not a database, just words")
    assert told(config, capsys)[0] == status.UNREADABLE
    config.write_text("[journal\n")
    code, _, err = told(config, capsys)
    assert code == status.UNREADABLE
    assert "tern-hollow.toml" in err


def test_looking_changes_nothing(config, now, capsys):
    """The journal is the same to the byte after a look at it."""
    healthy(config, now).close()
    path = load_settings(config).journal.path
    before = path.read_bytes()
    told(config, capsys)
    assert path.read_bytes() == before
