"""Causes and consequences in one place, true to the records.

The page is rewritten with BRINEWARD_WRITE_GOLDEN=1 in the environment.
"""

import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.alarms.causes import causes_in, circle_in, may_explain
from brineward.alarms.registry import CATALOGUE
from brineward.commands.alarms import causes_page
from brineward.commands.main import main
from brineward.plant.plan import VesselKind
from wet_depot import wet_depot, with_hopper

PAGE = Path(__file__).parents[2] / "daemon" / "docs" / "causes.md"
BEGINS, ENDS = "<!-- causes begin -->", "<!-- causes end -->"


def test_the_page_says_what_the_records_say() -> None:
    """A new cause or consequence is on the page before it is merged."""
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(BEGINS)
    made = f"{before}{BEGINS}\n{causes_page(causes_in(CATALOGUE))}\n{ENDS}{rest.split(ENDS)[1]}"
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        PAGE.write_text(made, encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8") == made


def test_every_pair_is_named_once() -> None:
    """What `suppressed_by` names is there from the cause's side, and nothing else is; so is what
    `once_under` names."""
    once = {(c.record.id, one.id) for c in causes_in(CATALOGUE) for one in c.announced_once}
    assert once == {(by, one.id) for one in CATALOGUE.values() for by in one.once_under}
    assert ("salt-low", "fill-weak") in once
    pairs = {(cause.record.id, one.id) for cause in causes_in(CATALOGUE) for one in cause[1]}
    assert pairs == {(by, one.id) for one in CATALOGUE.values() for by in one.suppressed_by}
    assert ("depot-silent", "sensor-silent") in pairs


def test_no_alarms_hold_one_another_back_in_a_circle() -> None:
    """In a circle each could keep the others quiet, and nobody would be told anything."""
    assert circle_in(CATALOGUE) == ()


def test_a_circle_is_found_wherever_it_is_entered() -> None:
    """Through two alarms or three, and beside others that are none of it."""
    silent = CATALOGUE["depot-silent"]
    around = replace(CATALOGUE["link-lost"], suppressed_by=("sensor-silent",))
    through = replace(CATALOGUE["sensor-silent"], suppressed_by=("depot-silent",))
    found = circle_in({**CATALOGUE, "link-lost": around, "sensor-silent": through})
    assert found[0] == found[-1]
    assert set(found) == {"link-lost", "sensor-silent", "depot-silent"}
    assert circle_in({"depot-silent": replace(silent, suppressed_by=("depot-silent",))}) == (
        "depot-silent",
        "depot-silent",
    )


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    """For a person, and as JSON by ids."""
    assert main(["alarms", "--causes"]) == 0
    assert capsys.readouterr().out.strip() == causes_page(causes_in(CATALOGUE))
    assert main(["alarms", "--causes", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)["causes"]
    assert set(printed["link-lost"]) == {
        one.id for one in CATALOGUE.values() if "link-lost" in one.suppressed_by
    }


def test_what_is_wrong_with_one_tank_explains_nothing_of_another() -> None:
    """Nor does a wet containment of what stands outside it; a hopper feeds every tank."""
    its = with_hopper(wet_depot())
    main = its.vessels["main"]
    spare = replace(main, id="spare", kind=VesselKind.STORAGE, in_containment=False)
    its = replace(its, vessels={**its.vessels, "spare": spare})
    pairs = [("main", "main"), ("containment", "main"), ("main", "containment"), ("hopper", "main")]
    assert all(may_explain(its, *pair) for pair in [*pairs, ("heater-power", "shelter")])
    apart = [
        ("main", "spare"),
        ("spare", "main"),
        ("containment", "spare"),
        ("spare", "containment"),
    ]
    assert not any(may_explain(its, *pair) for pair in apart)
