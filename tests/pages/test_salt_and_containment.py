"""The first screen: what lies in the hopper and in the containment, before an alarm tells."""

from dataclasses import replace
from pathlib import Path

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.page.screen import screen
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import MINUTE, SECOND
from brineward.readings.values import Reading
from brineward.records import Records
from checkout import ROOT
from journal.samples import T0, plain, reading

NOW = T0 + 60 * MINUTE


def tern_hollow() -> DepotPlan:
    """The example's depot, in metric units."""
    (plan,) = load_settings(ROOT / "config" / "tern-hollow.toml").depots.values()
    return replace(plan, us_units=False)


def facts(folder: Path, *heard: Reading) -> dict[str, tuple[str, bool]]:
    """By what it is of: what the first screen says, and whether that is old."""
    with Journal.open(folder / "one.journal") as journal:
        journal.signs_of_life.note(beat=NOW)
        journal.commit(plain(*heard))
        shown = screen(tern_hollow(), Records(journal.handle), NOW)
    return {one.name: (one.value, one.old) for one in shown.facts}


def test_salt_and_what_stands_in_the_containment_are_on_the_first_screen(tmp_path: Path) -> None:
    """Salt in the operator's own units, liquid to a tenth of a centimetre; the hopper's brine and
    the tank's level are not among them."""
    ago = 60 * MINUTE - 5 * SECOND
    found = facts(
        tmp_path,
        reading(ago, 0.92, sensor="hopper-salt"),
        reading(ago, 0.034, sensor="containment-level"),
        reading(ago, 1.2, sensor="hopper-level"),
        reading(ago, 1.9),
    )
    assert found["Hopper"] == ("0.92 m of salt", False)
    assert found["Containment"] == ("3.4 cm of liquid", False)
    assert "Main tank" not in found


def test_a_level_under_its_zero_is_a_dry_floor_and_an_old_one_says_so(tmp_path: Path) -> None:
    """A sensor that is off by some millimetres shows no less than nothing."""
    old = 60 * MINUTE - 3000 * SECOND
    found = facts(tmp_path, reading(old, -0.004, sensor="containment-level"))
    value, is_old = found["Containment"]
    assert value.startswith("0.0 cm of liquid")
    assert "50 min" in value
    assert is_old
