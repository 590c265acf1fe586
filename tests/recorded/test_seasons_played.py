"""The simulator's ends and beginnings of a season, replayed: what people would have been texted."""

from pathlib import Path

import orjson
import pytest

from brinesim.commands.main import main as simulate
from brineward.commands.main import main

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def played(
    scenario: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> list[tuple[str, str, str]]:
    """Each alarm that was raised: which, where, and the text."""
    readings = folder / "readings.csv"
    assert simulate(["write", scenario, "-o", str(readings)]) == 0
    capsys.readouterr()
    # 1 where the simulator has a sensor more than the config: its lines are passed over.
    assert main(["replay", str(CONFIG), str(readings), "--json"]) in (0, 1)
    rows = [orjson.loads(line) for line in capsys.readouterr().out.splitlines()]
    return [
        (row["alarm"], row["source"], row["text"])
        for row in rows
        if row["state"] == "unacknowledged"
    ]


@pytest.mark.parametrize("scenario", ["laying-up", "season-opening"])
def test_in_the_right_order_nobody_is_texted(
    scenario: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A season closed and one opened as they should be: no alarm, but that the containment which
    is emptied first was wet to begin with."""
    raised = {alarm for alarm, _, _ in played(scenario, tmp_path, capsys)}
    assert raised - {"containment-wet"} == set()


def test_laid_up_with_a_full_hopper_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the wrong order, and the hopper forgotten: it is named, with its depth."""
    found = played("laying-up-wrong-order", tmp_path, capsys)
    (hopper,) = [text for alarm, source, text in found if source == "hopper"]
    assert "Tern Hollow: laid up, but liquid in the hopper. 4 ft 7 in deep." in hopper
    assert [alarm for alarm, source, _ in found if source == "hopper"] == ["liquid-when-laid-up"]
