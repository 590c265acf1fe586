"""The demo in an empty folder, as somebody new would run it."""

import os
import re
import socket
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest
import requests
from gsm0338 import Codec

from brineward.commands.demo import example_config
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.records import Records
from brineward.wording.segment import segment
from brokers import until
from pages.page_visits import token_in
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
        # The outside source: 3GPP TS 23.038's alphabet as the library gsm0338 has it.
        body = segment(text.notice)
        assert len(Codec().encode(body)[0]) <= 160
        assert body in shown
        assert text.state == "accepted"


def test_its_page_is_there_while_the_night_lasts(tmp_path: Path) -> None:
    """The printed line leads to the page; the printed code lets one in, who sees the depot as it
    is that night; a taken port is no trouble, and the demo ends with 0."""
    pytest.importorskip("iotcore", reason="needs the broker for the laptop")
    output = tmp_path / "seen"
    with socket.socket() as taken, output.open("wb") as out:
        with suppress(OSError):  # somebody else has it: as good
            taken.bind(("127.0.0.1", 8092))
            taken.listen()
        process = subprocess.Popen(
            [sys.executable, "-m", "brineward", "demo", "--seconds", "40"],
            cwd=tmp_path,
            stdout=out,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        try:
            base = until(lambda: _found(r"lasts: (http://127\.0\.0\.1:\d+)/", output), 30, "a line")
            number = _found(r"by the number ([+\d ]+):", output)
            assert not base.endswith(":8092")
            session = requests.Session()
            until(lambda: _found(r"all watched", output), 60, "the night")
            form = {"number": number}
            page = session.get(f"{base}/sign-in", timeout=10).text
            page = session.post(
                f"{base}/sign-in", data={**form, "token": token_in(page)}, timeout=10
            ).text
            code = until(lambda: _found(r"(\d{6}) is your code", output), 30, "a code")
            form = {"token": token_in(page), "code": code}
            page = session.post(f"{base}/sign-in/code", data=form, timeout=10).text
            assert "Tern Hollow" in page
            assert 'class="state' in page
            assert process.wait(120) == 0, output.read_text()
        finally:
            if process.poll() is None:
                process.kill()
                process.wait(10)
    assert "Traceback" not in output.read_text()


def _found(pattern: str, file: Path) -> str:
    """What a pattern finds in the demo's output so far; empty where nothing."""
    found = re.search(pattern, file.read_text(errors="replace"))
    return "" if found is None else found[found.re.groups and 1]


def test_a_folder_that_can_t_be_made_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Started where nobody may write, it says so and what to do, before anything else begins."""
    file = tmp_path / "a-file"
    file.write_text("not a folder", encoding="utf-8")
    assert main(["demo", "--folder", str(file / "here")]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"The night's files can't be put into {file / 'here'}: Not a directory")
