"""A disk that can't be read ends no watch: what is not known of the past is not waited for."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from brineward.journal import DiskTrouble
from brineward.readings.instants import SECOND
from brineward.readings.outputs import Priority
from journal.samples import asked
from service.workbench import AGAINST_CLOSED_VALVE, Bench, bench
from services import CALM

__all__ = ["bench"]


@contextmanager
def unreadable(bench: Bench) -> Iterator[None]:
    """The journal's open files give the kernel's errors at each read and write, and nothing of it
    is in memory any more."""
    bench.journal.handle._db.execute("PRAGMA shrink_memory")
    path = bench.settings.journal.path
    ours = [
        int(one.name)
        for one in Path("/proc/self/fd").iterdir()
        if one.is_symlink() and one.readlink() in (path, Path(f"{path}-wal"))
    ]
    assert ours
    broken = os.open("/dev/null", os.O_PATH)
    kept = {number: os.dup(number) for number in ours}
    try:
        for number in ours:
            os.dup2(broken, number)
        yield
    finally:
        for number, copy in kept.items():
            os.dup2(copy, number)
            os.close(copy)
        os.close(broken)


def test_while_the_disk_cannot_be_read_the_watch_goes_on(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    """Readings of a clock that is ahead are looked up in the journal. That fails, and is said; a
    pump against a closed valve is texted all the same. Later all of it is kept, and once."""
    bench.up()
    bench.round()
    ahead = bench.clock.now() + 40 * SECOND
    again = bench.arrive("spare-level", 1.3, ahead)
    bench.turn()
    acknowledged = len(bench.link.acknowledged)
    with unreadable(bench):
        with pytest.raises(DiskTrouble, match="could not be read"):
            bench.journal.inbox.waiting()
        for second in range(10):
            bench.clock.time += SECOND
            bench.again(again)
            bench.arrive("shelter-temperature", 12.0, ahead + second)
            bench.round(**AGAINST_CLOSED_VALVE)
        assert len(bench.link.acknowledged) == acknowledged
        (due,) = bench.texts.unkept
        assert (due.person, due.kind, due.priority) == ("yard", "raised", Priority.HIGH)
        assert caplog.text.count("a repeat may pass for news meanwhile") == 1

    for _ in range(8):
        bench.turn()
    bench.again(again)
    bench.turn()
    assert "the disk can be read again" in caplog.text
    assert len(bench.link.acknowledged) == acknowledged + 10 * (len(CALM) + 2) + 1
    assert [a.change.alarm for a in asked(bench.journal).alarms.active()] == ["closed-valve"]
    found = bench.journal.handle._db.execute(
        "SELECT count(*) FROM reading WHERE time = ?", (ahead,)
    )
    assert found.fetchone()[0] == 2  # one of each sensor
