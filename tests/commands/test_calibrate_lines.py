"""The words of `brineward calibrate`: when to test, what waits for the service, what disagrees."""

from dataclasses import replace
from pathlib import Path
from typing import get_args

import matplotlib
import pytest

from brineward.commands.calibrate_history import History, PerDegree, Standing
from brineward.commands.calibrate_lines import lines, next_line, queued_line, standing_lines
from brineward.commands.calibrate_picture import draw
from brineward.commands.next_test import NextTest
from brineward.config.load import load_settings
from brineward.physics.creeping import Film
from brineward.physics.judgement import Finding
from brineward.plant.plan import DepotPlan
from brineward.plant.recorded_test import RecordedTest
from brineward.readings.instants import DAY, SECOND
from journal.samples import T0, hand_test

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


NOTHING = History(
    depot="tern-hollow",
    vessel="main",
    now=T0,
    temperature_c=None,
    tests=(),
    factor=None,
    question="",
    next=None,
    stands=Standing((), (), (), (), 0.0, None, None),
    per_degree=(),
    course=(),
)
"""A probe of which nothing is known."""


@pytest.fixture(scope="module")
def plan() -> DepotPlan:
    """The example depot."""
    return load_settings(EXAMPLE).depots["tern-hollow"]


def foreseen(**more) -> NextTest:
    """A next test that is not due."""
    parts = {"known": None, "loose": False, "old": False, "at": None, "below_c": None}
    return NextTest(**parts | {"above_c": None} | more)


def test_a_test_that_is_due_is_asked_for_with_its_reason(plan):
    """Test now, and why: too loose, or too long ago; in a US depot temperatures are in F."""
    assert next_line(plan, foreseen(loose=True)).startswith(
        "Test now: brine at the target can't be dis"
    )
    assert next_line(plan, foreseen(old=True)).startswith("Test now: the last one is over a month")
    later = next_line(plan, foreseen(at=T0, below_c=-10.0))
    assert later == "Test next by 2025-12-31, or when the brine is at 14 F or colder."


def test_a_test_is_queued_and_a_disagreement_is_reported(plan):
    """What was entered, what it says of the brine, and who will compare it."""
    said = queued_line(hand_test())
    assert said.startswith("Entered: 1.176 at 15.6 degC is 22.8 % (22.6 to 23.0, 95 %); queued for")
    assert "disagree" in said
    assert "\x1b" not in queued_line(replace(hand_test(), entered="\x1b[2J"))
    history = replace(NOTHING, question="its probe reads 4.0 % low")
    assert "  DISAGREEMENT: its probe reads 4.0 % low." in list(lines(plan, history))


@pytest.mark.parametrize("finding", get_args(Finding))
def test_what_became_of_a_test_is_told_in_words(plan, finding):
    """Whatever it is, and not by its name in the code."""
    test = RecordedTest(T0, 0.233, 0.0015, "yard", finding, 16.0, 10.0, 0.01, 0.0)
    [_, line, *_] = lines(plan, replace(NOTHING, tests=(test,)))
    assert f"low  {finding if finding == 'kept' else ''}" in line
    assert finding in ("kept", "step") or "set aside" in line.lower()
    assert "undecided" not in line


def test_the_picture_is_in_the_units_of_the_list(plan, tmp_path):
    """A US depot's list is in degF, and so is its picture."""
    seen = (PerDegree(0.0, 0.03, 0.029, 0.031, 0.03), PerDegree(5.0, 0.028, 0.027, 0.029, 0.028))
    file = tmp_path / "history.svg"
    with matplotlib.rc_context({"svg.fonttype": "none"}):
        draw(replace(NOTHING, per_degree=seen), plan, file)
    drawn = file.read_text()
    assert "brine, degF" in drawn
    assert "conductivity, % per degF" in drawn
    assert "degC" not in drawn


def test_what_standing_brine_and_fills_said_is_told(plan):
    """How often it was observed, which standing periods a fill links to one another, and the film
    that grows, with what it takes a month and what to do."""
    day = DAY // SECOND
    film = Film(T0 / SECOND - 40 * day, 0.027, 0.021)
    looks = (T0 - 3 * DAY, T0 - 2 * DAY, T0)
    stands = Standing(
        looks, tuple((at, 0.02) for at in looks), (T0 - 2 * DAY,), (), 0.0, film, None
    )
    said = list(standing_lines(plan, stands))
    assert said[0].startswith("Standing brine: 3 observations since 2025-")
    assert said[0].endswith("the probe has not changed at once.")
    assert said[1].startswith("Fills link 1 of its standing periods to the one before, the last on")
    assert "reads 2.7 % less, by 2.1 % a month lately" in said[2]
    assert said[2].endswith("Clean the probe.")
