"""The watch's own house, with real processes: handles, memory, the clock, stopped parts."""

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.journal import Journal
from brineward.readings.entries import ServiceTrouble
from brineward.service import box, parts
from brineward.service.box import BoxLook, handles, machine_left, strain, synchronised
from brineward.service.parts import STUCK_SECONDS, PartsLook
from brineward.service.rounds import Rounds

NEARLY_OUT = """
import os, resource
from brineward.service.box import handles, strain
resource.setrlimit(resource.RLIMIT_NOFILE, (40, 40))
print(strain() or "well")
kept = [os.open("/dev/null", os.O_RDONLY) for _ in range(31)]
print(strain())
for one in kept:
    os.close(one)
print(strain() or "well")
"""


def test_a_process_that_runs_out_of_handles_says_so() -> None:
    """A real one, with a limit of 40: nothing at first, then how many, and nothing again."""
    ran = subprocess.run(
        [sys.executable, "-c", NEARLY_OUT], capture_output=True, text=True, timeout=60, check=True
    )
    before, used, after = ran.stdout.splitlines()
    assert (before, after) == ("well", "well")
    words, count = used.removesuffix(" of 40").rsplit(" ", 1)
    assert words == "file handles"
    assert 32 <= int(count) <= 40


def test_the_kernel_is_asked_and_answers() -> None:
    """On Linux the counts are there, and are those of this process."""
    use = handles()
    assert use is not None
    assert 2 <= use.used < use.bound
    with ExitStack() as opened:
        for _ in range(5):
            opened.enter_context(Path("/dev/null").open("rb"))
        more = handles()
    assert more is not None
    assert more.used == use.used + 5
    left = machine_left()
    assert left is not None
    assert 0.0 < left <= 1.0


def test_the_clocks_keeping_is_the_kernels_own_word() -> None:
    """The same as `adjtimex` says by another binding, where one is installed; never a guess."""
    assert synchronised() in (True, False, None)
    status = box._kernel_clock_status()
    if status is not None:
        assert synchronised() is (status & 0x40 == 0)


@pytest.mark.parametrize(("status", "kept"), [(0x2001, True), (0x40, False), (0x2041, False)])
def test_an_unsynchronised_clock_shows_in_its_status(
    status: int, kept: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """STA_UNSYNC is the bit 0x40 (linux/timex.h), whatever else is set."""
    monkeypatch.setattr(box, "_kernel_clock_status", lambda: status)
    assert synchronised() is kept


def test_where_nothing_says_how_the_clock_is_kept_nothing_is_known(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """No kernel's word and no mark: unknown, and no trouble; with timesyncd's mark it is kept."""
    monkeypatch.setattr(box, "_kernel_clock_status", lambda: None)
    monkeypatch.setattr(box, "_MARK_OF_TIMESYNCD", tmp_path / "synchronized")
    assert synchronised() is None
    (tmp_path / "synchronized").touch()
    assert synchronised() is True


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """A new one."""
    with Journal.open(tmp_path / "a.journal") as opened:
        yield opened


def posted(journal: Journal, about: str) -> list[tuple[bool, str]]:
    """What was handed to the service."""
    entries = [entry for _, entry in journal.inbox.waiting()]
    found = [one for one in entries if isinstance(one, ServiceTrouble) and one.trouble == about]
    return [(one.present, one.sentence) for one in found]


def test_what_comes_and_goes_is_posted_once_each(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first look says how it is; the same again says nothing; each change says one thing."""
    look = BoxLook(MachineClock(), journal.inbox.post)
    says = iter(["", "", "file handles 52 of 64", "file handles 53 of 64", ""])
    kept = iter([True, False, False, None, None])
    monkeypatch.setattr(box, "strain", lambda: next(says))
    monkeypatch.setattr(box, "synchronised", lambda: next(kept))
    for _ in range(5):
        look.look()
    assert posted(journal, "box-strained") == [
        (False, "Memory and file handles suffice."),
        (True, "brineward box: file handles 52 of 64"),
        (False, "Memory and file handles suffice."),
    ]
    assert [present for present, _ in posted(journal, "clock-unsynced")] == [False, True, False]


def test_strain_of_this_process_is_none() -> None:
    """An ordinary test run is not strained: an alarm here would be false."""
    assert strain() == ""


class Steady:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def now(self) -> int:
        """As its seconds."""
        return round(self.seconds * 1000)

    def monotonic_seconds(self) -> float:
        """As set."""
        return self.seconds

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Really, but no longer than a moment."""
        return wake.wait(min(seconds, 0.01))


def test_a_thread_that_died_or_hangs_is_named_and_one_that_goes_on_is_not(
    journal: Journal,
) -> None:
    """Real threads: rounds that go on, a job that hangs, a thread that was ended."""
    clock, release = Steady(), threading.Event()
    well = Rounds(clock, {lambda: None: 0.001})
    hung = Rounds(clock, {lambda: release.wait(30) and None: 0.001})
    for one in (well, hung):
        one.start()
    part = {"upkeep": _AsPart(hung), "other": _AsPart(well)}
    look = PartsLook(part, clock, journal.inbox.post)
    clock.seconds = 11.0
    look.look()
    assert posted(journal, "part-stopped") == [(False, "Every part of the service goes round.")]
    clock.seconds = STUCK_SECONDS + 20.0
    assert _until(lambda: (well.went_round or 0.0) > STUCK_SECONDS)
    look.look()
    assert posted(journal, "part-stopped")[1:] == [(True, "brineward: upkeep is stuck")]
    release.set()
    assert _until(lambda: (hung.went_round or 0.0) > STUCK_SECONDS)
    clock.seconds += parts.LOOK_SECONDS
    look.look()
    assert posted(journal, "part-stopped")[2:] == [(False, "Every part of the service goes round.")]
    well.stop()
    clock.seconds += parts.LOOK_SECONDS
    look.look()
    assert posted(journal, "part-stopped")[3:] == [(True, "brineward: other stopped")]
    hung.stop()


class _AsPart:
    """Rounds as the service's upkeep shows them."""

    def __init__(self, rounds: Rounds) -> None:
        self._rounds = rounds

    def is_alive(self) -> bool:
        return self._rounds.is_alive()

    def went_round(self) -> float | None:
        return self._rounds.went_round


def _until(true: object, tries: int = 500) -> bool:
    waiting = threading.Event()
    return any(true() or waiting.wait(0.01) for _ in range(tries))
