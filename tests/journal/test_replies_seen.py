"""Replies that a gateway hands in twice: known for a week, also after a restart."""

from brineward.journal import Journal
from brineward.readings.instants import DAY
from journal.samples import T0


def test_a_reply_is_known_for_a_week(tmp_path):
    """Also by another handle and after a restart; other keys are news."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        assert not journal.replies_seen.seen("msg-1", T0)
        journal.replies_seen.remember("msg-1", T0)
        journal.replies_seen.remember("msg-1", T0 - DAY)  # an older clock takes nothing back
    with Journal.open(path, read_only=True) as journal:
        assert journal.replies_seen.seen("msg-1", T0 + 7 * DAY - 1)
        assert not journal.replies_seen.seen("msg-1", T0 + 7 * DAY)
        assert not journal.replies_seen.seen("msg-2", T0)


def test_old_ones_are_dropped(tmp_path):
    """The table doesn't grow for ever: remembering the next one drops what is over a week old."""
    with Journal.open(tmp_path / "a.journal") as journal:
        for day in range(30):
            journal.replies_seen.remember(f"msg-{day}", T0 + day * DAY)
        with journal.handle.reading() as db:
            assert db.execute("SELECT count(*) FROM reply_seen").fetchone()[0] == 7
