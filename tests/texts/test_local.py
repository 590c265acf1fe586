"""The console and file channels."""

import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.clock import MachineClock
from brineward.config.settings import ConsoleChannel, FileChannel
from brineward.readings.outputs import Notice, Priority
from brineward.texts.attempts import Accepted, Failed
from brineward.texts.local import ConsoleSender, FileSender, framed
from brineward.texts.senders import OutgoingText


def text(**changes: object) -> OutgoingText:
    """A text to the yard lead."""
    body = changes.pop(
        "body", "TH12 HIGH Tern Hollow main tank 3 min to the brim. Reply TH12 to take it."
    )
    usual: dict[str, object] = {
        "key": "k7-tern-hollow-12-raised-1-yard",
        "depot": "tern-hollow",
        "number": 12,
        "kind": "raised",
        "priority": Priority.HIGH,
        "name": "Yard lead",
        "address": "+1 555 0141",
        "notice": Notice(kind="raised", plain=str(body)),
        "attempt": 1,
    }
    return OutgoingText(**(usual | changes))


def test_the_console_shows_the_text_in_a_frame() -> None:
    """Whoever watches the console sees to whom and every word, in a straight frame."""
    out = io.StringIO()
    assert ConsoleSender(ConsoleChannel(id="screen"), out).send(text()) == Accepted(receipt="shown")
    assert out.getvalue() == (
        "  .------------------------------------------.\n"
        "  | to Yard lead +1 555 0141                 |\n"
        "  | TH12 HIGH Tern Hollow main tank 3 min to |\n"
        "  | the brim. Reply TH12 to take it.         |\n"
        "  '------------------------------------------'\n"
    )


@given(st.text(max_size=200), st.text(max_size=60))
def test_any_text_keeps_the_frame_whole(body: str, name: str) -> None:
    """No name or body can draw outside the frame or send the terminal a control code."""
    lines = framed(text(body=body, name=name)).splitlines()
    assert {len(line) for line in lines} == {46}
    assert all(line.isprintable() for line in lines)


def test_a_console_without_these_letters_still_shows_the_rest() -> None:
    """An ASCII console shows a question mark instead of failing."""
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding="ascii")
    sender = ConsoleSender(ConsoleChannel(id="screen"), out)
    assert isinstance(sender.send(text(body="Kettlé Ridge")), Accepted)
    assert b"Kettl? Ridge" in raw.getvalue()


def test_a_closed_console_is_a_failed_attempt() -> None:
    """The text stays in the outbox."""
    out = io.StringIO()
    out.close()
    outcome = ConsoleSender(ConsoleChannel(id="screen"), out).send(text())
    assert isinstance(outcome, Failed)


def test_the_file_has_one_object_a_line(tmp_path: Path) -> None:
    """Each text is a line of its own with the id that a repeat carries again."""
    path = tmp_path / "texts.jsonl"
    sender = FileSender(FileChannel(id="file", path=path), MachineClock())
    assert sender.send(text()) == Accepted(receipt="written")
    sender.send(text(attempt=2, body="Kettlé \ud800"))
    first, second = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    assert first["id"] == second["id"] == "k7-tern-hollow-12-raised-1-yard"
    assert first["address"] == "+1 555 0141"
    assert second["body"] == "Kettlé ?"
    assert second["attempt"] == 2


def test_a_line_cut_off_by_a_crash_spoils_no_other(tmp_path: Path) -> None:
    """The next text begins a line of its own."""
    path = tmp_path / "texts.jsonl"
    path.write_bytes(b'{"id": "cut')
    FileSender(FileChannel(id="file", path=path), MachineClock()).send(text())
    lines = path.read_text("utf-8").splitlines()
    assert lines[0] == '{"id": "cut'
    assert json.loads(lines[1])["number"] == 12


@pytest.mark.parametrize("where", ["missing/texts.jsonl", "."])
def test_a_file_that_cannot_be_written_is_a_failed_attempt(where: str, tmp_path: Path) -> None:
    """The operator reads which file and why; the text stays in the outbox."""
    channel = FileChannel(id="file", path=tmp_path / where)
    outcome = FileSender(channel, MachineClock()).send(text())
    assert isinstance(outcome, Failed)
    assert "channel file" in outcome.why
    assert "can't be written: " in outcome.why


def test_a_full_disk_is_a_failed_attempt() -> None:
    """Linux's /dev/full refuses every write as a full disk does."""
    if not Path("/dev/full").exists():
        pytest.skip("needs /dev/full, which Linux has")
    outcome = FileSender(FileChannel(id="file", path=Path("/dev/full")), MachineClock()).send(
        text()
    )
    assert isinstance(outcome, Failed)
    assert "No space left" in outcome.why
