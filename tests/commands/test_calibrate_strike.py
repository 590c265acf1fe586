"""`brineward calibrate --strike`: a wrong test is taken back, stays on record, teaches nothing."""

import json
from argparse import Namespace
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.commands import calibrate
from brineward.commands.calibrate_strike import OF_A_TEST, NotStruck, strike_of
from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.entries import HandTest, StruckTest
from brineward.readings.instants import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Instant,
    instant_from_rfc3339,
    local_from_instant,
)
from brineward.readings.outputs import Step
from brineward.service.resume import resumed_engine
from commands.test_calibrate import DEPOT, EXAMPLE, by_hand, keep, posted, standing, told


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The example config with its journal beside it."""
    path = tmp_path / "tern-hollow.toml"
    path.write_text(EXAMPLE.read_text())
    return path


def wrong_test(time: Instant, mass_fraction: float = 0.251) -> HandTest:
    """A test that shows this."""
    return replace(by_hand(time, by="Yard lead"), mass_fraction=mass_fraction)


@pytest.fixture
def at(config) -> Instant:
    """When the wrong test was made: an hour ago; a day before, a right one was."""
    now = MachineClock().now() // MINUTE * MINUTE - HOUR
    before = now - DAY
    entries = [*standing(before, 0.98), by_hand(before), *standing(now, 0.98), wrong_test(now)]
    keep(config, entries)
    return now


def listed(config, at: Instant, form: str = "%Y-%m-%d %H:%M") -> str:
    """A time as the list shows it."""
    return local_from_instant(at, load_settings(config).depots[DEPOT].zone).strftime(form)


def test_it_is_posted_and_shown_as_struck(config, at, capsys):
    """The act waits for the service; the list and the JSON say who struck it, when and why; the
    factor is that of the test that is left."""
    why = "Kettle Ridge's \x1bsample"
    when = listed(config, at)
    code, out, err = told(config, capsys, "--strike", when, "--by", "Dispatch", "--why", why)
    assert (code, err) == (calibrate.WELL, "")
    assert f"Struck: the test of {when}, 25.1 %; queued for the service" in out
    [line] = [line for line in out.splitlines() if "STRUCK" in line]
    assert line.startswith(f"  {when}  test 25.1 %  STRUCK by Dispatch, ")
    assert line.endswith(": Kettle Ridge's ?sample")
    assert out.count("  kept") == 1
    assert "SET ASIDE" not in out
    assert "DISAGREEMENT" not in out
    [act] = posted(config)
    assert isinstance(act, StruckTest)
    assert (act.vessel, act.at, act.mass_fraction, act.by) == ("main", at, 0.251, "Dispatch")
    _, out, _ = told(config, capsys, "--json")
    shown = json.loads(out)
    assert len(shown["tests"]) == 1
    [one] = shown["struck"]
    assert (one["mass_fraction"], one["struck_by"], one["by"]) == (0.251, "Dispatch", "Yard lead")
    assert one["struck"] > one["at"]


def test_the_service_makes_of_it_what_was_shown(config, at, capsys):
    """Taken by the service and gone on from its snapshot, or gone through again from the journal:
    the calibration is that of a journal without the wrong test."""
    told(config, capsys, "--strike", listed(config, at))
    settings = load_settings(config)
    with Journal.open(settings.journal.path) as journal:
        engine = resumed_engine(settings.depots, journal)
        waiting = journal.inbox.waiting()
        steps = [Step(entry, engine.step(entry)) for _, entry in waiting]
        journal.commit(steps, inbox_done=[n for n, _ in waiting], states=engine.snapshots())
        entries = list(journal.ordering.entries())
        resumed = resumed_engine(settings.depots, journal)
    assert posted(config) == []
    again, plain = Engine(settings.depots), Engine(settings.depots)
    for entry in entries:
        again.step(entry)
        if not isinstance(entry, StruckTest) and entry != wrong_test(at):
            plain.step(entry)
    known = [one.plant(DEPOT).probes["main"] for one in (resumed, again, plain)]
    assert [len(one.struck) for one in known] == [1, 1, 0]
    assert len({repr((one.calibration.freeze(), one.records)) for one in known}) == 1
    _, out, _ = told(config, capsys)
    assert "  STRUCK" in out


def test_a_struck_test_is_struck_once_also_while_it_waits(config, at, capsys):
    """The second time says who did it, and posts nothing."""
    when = listed(config, at)
    told(config, capsys, "--strike", when, "--by", "Dispatch")
    code, out, err = told(config, capsys, "--strike", when, "--by", "yard")
    assert (code, out) == (calibrate.MISASKED, "")
    assert f"The test of {when} was struck already by Dispatch, " in err
    assert len(posted(config)) == 1


def test_none_of_that_time(config, at, capsys):
    """The last ones are named."""
    code, out, err = told(config, capsys, "--strike", "2020-01-15 06:40")
    assert (code, out) == (calibrate.MISASKED, "")
    before = listed(config, at - DAY)
    assert err == (
        "There is no such test of the main tank; the last are "
        f"{before} (22.8 %), {listed(config, at)} (25.1 %)\n"
    )
    assert posted(config) == []


def test_none_at_all(config, capsys):
    """Nothing to strike before the first test."""
    keep(config, standing(MachineClock().now(), 0.98))
    code, _, err = told(config, capsys, "--strike", "2026-01-15 06:40")
    assert code == calibrate.MISASKED
    assert err == "There is no such test of the main tank; there is none\n"


def test_several_of_one_minute_are_told_apart(config, at, capsys):
    """By strength where they are of one moment, or by the second; else nothing is struck."""
    settings = load_settings(config)
    later = at + 20 * SECOND
    with Journal.open(settings.journal.path) as journal:
        for one in (wrong_test(at, 0.2283), wrong_test(later, 0.2281)):
            journal.inbox.post(replace(one, time=later, received=later))
    when = listed(config, at)
    code, _, err = told(config, capsys, "--strike", when)
    assert code == calibrate.MISASKED
    assert err.startswith("3 tests are of that time: ")
    for part in (f"{when}:00, 22.83 %", f"{when}:00, 25.10 %", f"{when}:20, 22.81 %"):
        assert part in err
    assert told(config, capsys, "--strike", when, "--strength", "22.8 %")[0] == calibrate.MISASKED
    assert told(config, capsys, "--strike", when, "--strength", "23.8 %")[0] == calibrate.MISASKED
    assert not any(isinstance(one, StruckTest) for one in posted(config))
    for more in ((when, "--strength", "25.1 %"), (when, "--strength", "22.83 %"), (f"{when}:20",)):
        assert told(config, capsys, "--strike", *more)[0] == calibrate.WELL
    struck = [one.mass_fraction for one in posted(config) if isinstance(one, StruckTest)]
    assert struck == [0.251, 0.2283, 0.2281]


def test_the_time_as_json_has_it(config, at, capsys):
    """In UTC, or with another zone's offset."""
    zone = load_settings(config).depots[DEPOT].zone
    utc = local_from_instant(at, zone).astimezone(tz=None).isoformat()
    assert told(config, capsys, "--strike", utc)[0] == calibrate.WELL
    [act] = posted(config)
    assert act.at == at


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--strike", "yesterday"], "is not a time as tests are listed"),
        (["--strike", "2026-01-15"], "is not a time as tests are listed"),
        (["--strike", "2026-02-30 06:40"], "is not a time as tests are listed"),
        (["--strike", "2026-01-15 06:40", "--strength", "x"], "--strength"),
        (["--strike", "2026-01-15 06:40", "--time", "2026-01-15T06:40:00Z"], "leave out --time"),
        (["--strike", "2026-01-15 06:40", "--hydrometer", "1.17"], "leave out --hydrometer"),
        (["--why", "wrong"], "--why goes with --strike"),
    ],
)
def test_what_cant_be_struck_is_said_and_not_posted(config, at, capsys, asked, said):
    """Exit code 2, a sentence, and nothing waits for the service."""
    code, out, err = told(config, capsys, *asked)
    assert (code, out) == (calibrate.MISASKED, "")
    assert said in err
    assert posted(config) == []


def test_at_the_end_of_summer_time_an_offset_tells_the_hours_apart(config):
    """01:30 comes twice: by the clock both are meant, with an offset one."""
    plan = load_settings(config).depots[DEPOT]
    probe = Engine({DEPOT: plan}).plant(DEPOT).probes["main"]
    twice = [instant_from_rfc3339(f"2025-11-02T0{hour}:30:00Z") for hour in (6, 7)]
    for one in twice:
        probe.learn(wrong_test(one))
    asked = Namespace(strike="2025-11-02 01:30", strength=None, by="yard", why=None)
    asked.__dict__.update(dict.fromkeys(OF_A_TEST))
    with pytest.raises(NotStruck, match="2 tests are of that time"):
        strike_of(asked, plan, probe, twice[1] + HOUR)
    asked.strike = "2025-11-02 01:30-06:00"
    assert strike_of(asked, plan, probe, twice[1] + HOUR).at == twice[1]
