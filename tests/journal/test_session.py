"""What the link keeps between two runs: whatever becomes of the journal, the session is found."""

import stat
from pathlib import Path

import pytest

from brineward.journal.session import LinkSession


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the journal is, or was."""
    return tmp_path / "a.journal"


def test_the_mark_is_drawn_once(path: Path) -> None:
    """The same in every run, another for another journal, and nobody else may read it."""
    mark = LinkSession(path).mark
    assert LinkSession(path).mark == mark
    assert LinkSession(path.with_name("b.journal")).mark != mark
    file = path.with_name("a.journal.session")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [one.name for one in sorted(path.parent.iterdir())] == [
        "a.journal.session",
        "b.journal.session",
    ]


def test_the_count_is_kept(path: Path) -> None:
    """What the broker had dropped when it was said is known to the next run."""
    session = LinkSession(path)
    assert session.broker_dropped is None
    session.note(7)
    again = LinkSession(path)
    assert (again.broker_dropped, again.mark) == (7, session.mark)


@pytest.mark.parametrize(
    "body", [b"", b"[1]", b"\xff", b'{"mark": "x"}', b'{"mark": 1, "broker_dropped": "many"}']
)
def test_what_is_no_session_is_drawn_anew(path: Path, body: bytes) -> None:
    """A file that a power cut has spoilt costs the session, never the start."""
    path.with_name("a.journal.session").write_bytes(body)
    session = LinkSession(path)
    assert len(session.mark) == 12
    assert session.broker_dropped is None
    assert LinkSession(path).mark == session.mark


def test_a_disk_that_refuses_is_tried_again(path: Path) -> None:
    """No room at the start: the run goes on under its mark, and keeps it once it can."""
    folder = path.parent / "none"
    session = LinkSession(folder / "a.journal")
    folder.mkdir()
    session.note(None)
    assert LinkSession(folder / "a.journal").mark == session.mark
