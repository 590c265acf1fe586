"""Other programs look at the journal while the service writes it: nothing goes missing."""

import subprocess
import sys
from pathlib import Path

import pytest

from brineward.journal import Journal
from brineward.readings.entries import Tick
from brineward.readings.outputs import Step

_LOOK = """
import sys
from pathlib import Path
from brineward.journal import Journal
with Journal.open(Path(sys.argv[1]), read_only=sys.argv[2] == "read") as journal:
    print(journal.ordering.last_seq())
"""


def looked_at(path: Path, how: str) -> int:
    """The last seq that another program sees; it opens the journal and closes it again."""
    seen = subprocess.run(
        [sys.executable, "-c", _LOOK, str(path), how], capture_output=True, text=True, check=True
    )
    return int(seen.stdout)


@pytest.mark.parametrize("how", ["write", "read"])
def test_another_program_leaves_the_writer_its_file(tmp_path: Path, how: str) -> None:
    """A service has several handles on the journal, one a thread; each must keep its locks.

    Closing any plain file handle on the journal would drop them all (How To Corrupt An SQLite
    Database File, section 2.2): then the other program takes itself for the last one, removes
    the write-ahead file as it leaves, and what the service commits afterwards is gone.
    """
    path = tmp_path / "a.journal"
    with Journal.open(path, service=True, check=True) as service:
        service.commit([Step(Tick(time=1), ())])
        with Journal.open(path) as second, Journal.open(path, read_only=True):
            second.cursors.at("follower")
        for count in range(2, 6):
            assert looked_at(path, how) == count - 1
            service.commit([Step(Tick(time=count), ())])
    assert looked_at(path, how) == 5
