"""The demo in an empty folder, as somebody new would run it."""

import re
from pathlib import Path

import pytest
from gsm0338 import Codec

from brineward.commands.demo import example_config
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.records import Records
from brineward.wording.segment import segment
from services import brineward

ALARMS = ["overflow-ahead", "shelter-freezing", "closed-valve", "brine-weak"]


def test_a_night_in_an_empty_folder(tmp_path: Path) -> None:
    """Ends with 0, its four faults raised and told, every text within one segment."""
    pytest.importorskip("iotcore", reason="needs the broker for the laptop")
    seen = brineward("demo", "--seconds", "25", cwd=tmp_path, seconds=120)
    assert seen.returncode == 0, seen.stdout + seen.stderr
    assert "Traceback" not in seen.stderr
    assert "false alarm" not in seen.stdout
    assert [path.name for path in tmp_path.iterdir()] == ["brineward-demo"]

    short = next(iter(load_settings(example_config("tern-hollow.toml")).depots.values())).short
    printed = re.findall(rf"\b{short}\d+\b", seen.stdout)
    assert printed, "texts are shown"
    (folder,) = (tmp_path / "brineward-demo").iterdir()
    with Journal.open(folder / "tern-hollow.journal", read_only=True) as journal:
        raised = [
            c
            for c in Records(journal.handle).alarms.history("tern-hollow")
            if c.state == "unacknowledged"
        ]
        # Each of the four once, in their order; what follows from weak brine, and salt used up.
        first = [c.alarm for c in raised if c.before == "normal"]
        assert [alarm for alarm in first if alarm in ALARMS] == ALARMS
        assert set(first) - set(ALARMS) <= {"fill-weak", "brine-freezing", "salt-half", "salt-low"}
        texts = Records(journal.handle).texts.newest(limit=1000)
    # What is low waits for the morning; all else was told.
    pressing = {change.number for change in raised if change.priority != "low"}
    assert pressing <= {text.number for text in texts} <= {change.number for change in raised}
    shown = " ".join(seen.stdout.replace("|", " ").split())  # each stands in a box
    for text in texts:
        # The outside witness: 3GPP TS 23.038's alphabet as the library gsm0338 has it.
        body = segment(text.notice)
        assert len(Codec().encode(body)[0]) <= 160
        assert body in shown
        assert text.state == "accepted"
