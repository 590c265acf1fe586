"""README's table of dangers names every alarm about the plant, and no other."""

import re

from brineward.alarms.registry import ALARMS, CATALOGUE
from checkout import ROOT
from depots import plan

TABLE = (ROOT / "README.md").read_text(encoding="utf-8").split("## Which dangers are watched")[1]


def test_every_alarm_about_the_plant_is_in_the_table() -> None:
    """What a depot's sensors let be judged, or that has a danger to be named."""
    named = set(re.findall(r"`([a-z-]+)`", TABLE.split("\n## ")[0]))
    its = {one.record.id for one in ALARMS if one.record.danger or list(one.coverage(plan()))}
    assert its <= named
    assert {one for one in named if "-" in one} <= set(CATALOGUE)
