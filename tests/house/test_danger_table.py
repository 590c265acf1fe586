"""README's table of dangers, with the list under it, names every alarm, and no other."""

import re

from brineward.alarms.registry import ALARMS, CATALOGUE
from checkout import ROOT
from depots import plan

SECTION = (ROOT / "README.md").read_text(encoding="utf-8").split("## Which dangers are watched")[1]
TABLE, _, BESIDES = SECTION.split("\n## ")[0].partition("\nBesides these, about the watch itself")
LIST = "\n".join(line for line in BESIDES.splitlines() if line.startswith("- "))


def named_in(text: str) -> set[str]:
    """What it writes as an alarm's id."""
    return set(re.findall(r"`([a-z-]+)`", text))


def test_every_alarm_about_the_plant_is_in_the_table() -> None:
    """What a depot's sensors let be judged, or that has a danger to be named."""
    its = {one.record.id for one in ALARMS if one.record.danger or list(one.coverage(plan()))}
    assert its <= named_in(TABLE)


def test_every_alarm_of_the_catalogue_is_in_the_table_or_in_the_list_under_it() -> None:
    """Whoever is texted about one finds it there; no other is named, and none is in both."""
    rows = "\n".join(line for line in TABLE.splitlines() if line.startswith("|"))
    table, listed = named_in(rows), named_in(LIST)
    assert table | listed == set(CATALOGUE)
    assert not table & listed
