"""The scorecard's document leaves nothing out."""

from brinesim.fault_kinds import KINDS
from brinesim.scoring.aims import AIMS
from brinesim.scoring.runs import scored_scenarios
from brineward.alarms.registry import CATALOGUE
from checkout import ROOT


def document() -> str:
    return (ROOT / "simulators" / "docs" / "scorecard.md").read_text(encoding="utf-8")


def test_it_speaks_of_every_alarm() -> None:
    """Each alarm that there is was scored, or is listed as one that the simulator can't raise."""
    told = document()
    assert [alarm for alarm in CATALOGUE if alarm not in told] == []


def test_it_speaks_of_every_fault() -> None:
    """Each fault that an alarm should tell is scored, and the others are listed as unwatched."""
    scored, unwatched = document().split("## Faults that no alarm watches")
    assert [name for name in scored_scenarios() if name not in scored] == []
    nobody = [name for name, kind in KINDS.items() if not kind.alarm]
    assert [name for name in nobody if f"`{name}`" not in unwatched] == []


def test_it_measures_every_aim() -> None:
    """Each aim stands in it as measured."""
    told = document()
    assert [aim.title for aim in AIMS if aim.title not in told] == []
