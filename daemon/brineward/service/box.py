"""The machine that the service runs on: its memory, its file handles, how its clock is kept.

The kernel is asked; where it doesn't say, nothing is known, and nothing is reported.
"""

import ctypes
import resource
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from brineward.clock import Clock
from brineward.readings.entries import ServiceTrouble

MOST_OF_MEMORY = 0.85
LEAST_LEFT = 0.05
MOST_OF_HANDLES = 0.8
"""Shares (common practice, no source)."""

_MEGABYTE = 1_000_000
_TIMEX_BYTES = 1024
"""More than the kernel's `struct timex` has anywhere."""
_STATUS_AT = {4: 20, 8: 40}
"""Where its `status` lies, by the size of a C long: after modes, offset, freq, maxerror, esterror
(linux/timex.h)."""
_STA_UNSYNC = 0x0040
_MARK_OF_TIMESYNCD = Path("/run/systemd/timesync/synchronized")


class Use(NamedTuple):
    """How much of something is used, of how much there may be."""

    used: int
    bound: int

    @property
    def share(self) -> float:
        """Used of the bound, from 0 up."""
        return self.used / self.bound


def handles() -> Use | None:
    """The file handles that this process has open, of those that it may; None: not known."""
    bound = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    try:
        used = sum(1 for _ in Path("/proc/self/fd").iterdir()) - 1  # not the one that lists them
    except OSError:
        return None
    return None if bound in (resource.RLIM_INFINITY, 0) else Use(used, bound)


def memory() -> Use | None:
    """What this process holds of what its control group may, in bytes; None: no bound.

    What the group's page cache takes is left out: the kernel takes it back.
    Source: memory.max of cgroup v2 (kernel documentation), proc_pid_statm(5).
    """
    try:
        group = Path("/proc/self/cgroup").read_text(encoding="ascii").strip().rpartition("::")[2]
        folder = Path("/sys/fs/cgroup") / group.lstrip("/")
        bound = (folder / "memory.max").read_text(encoding="ascii").strip()
        used = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return None
    if not bound.isdigit() or int(bound) == 0:
        return None
    return Use(used * resource.getpagesize(), int(bound))


def machine_left() -> float | None:
    """The share of the machine's memory that is available; None where it isn't known."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        sizes = {name: int(rest.split()[0]) for name, _, rest in (x.partition(":") for x in lines)}
        return sizes["MemAvailable"] / sizes["MemTotal"]
    except (OSError, ValueError, KeyError, IndexError, ZeroDivisionError):
        return None


def synchronised() -> bool | None:
    """Does a time server keep this machine's clock? None where nothing says so.

    Asked of the kernel (adjtimex with modes 0 sets nothing), else of systemd-timesyncd's mark.
    """
    status = _kernel_clock_status()
    if status is not None:
        return not status & _STA_UNSYNC
    return True if _MARK_OF_TIMESYNCD.exists() else None


def _kernel_clock_status() -> int | None:
    at = _STATUS_AT.get(ctypes.sizeof(ctypes.c_long))
    ask = getattr(ctypes.CDLL(None, use_errno=True), "adjtimex", None)
    if at is None or ask is None:
        return None
    asked = ctypes.create_string_buffer(_TIMEX_BYTES)
    if ask(asked) < 0:
        return None
    return ctypes.c_int.from_buffer(asked, at).value


def strain() -> str:
    """What is nearly used up; empty where nothing is, as far as is known."""
    found = []
    mine, open_, left = memory(), handles(), machine_left()
    if mine is not None and mine.share >= MOST_OF_MEMORY:
        found.append(f"memory {mine.used // _MEGABYTE} of {mine.bound // _MEGABYTE} MB")
    if left is not None and left <= LEAST_LEFT:
        found.append(f"{left:.0%} of the machine's memory free")
    if open_ is not None and open_.share >= MOST_OF_HANDLES:
        found.append(f"file handles {open_.used} of {open_.bound}")
    return ", ".join(found)


class BoxLook:
    """Checks the machine, and reports when something has come or gone.

    `post` hands an entry to the service and may raise; then it is handed over at the next check.
    """

    def __init__(self, clock: Clock, post: Callable[[ServiceTrouble], object]) -> None:
        self._clock = clock
        self._post = post
        self._strained: bool | None = None
        self._unsynced: bool | None = None

    def look(self) -> None:
        """Post what has changed; the first look posts, since the last run may have left it so."""
        sentence = strain()
        if bool(sentence) is not self._strained:
            well = "Memory and file handles suffice."
            entry = ServiceTrouble(
                time=self._clock.now(),
                trouble="box-strained",
                present=bool(sentence),
                sentence=f"brineward box: {sentence}" if sentence else well,
            )
            self._post(entry)
            self._strained = bool(sentence)
        kept = synchronised()
        if kept is False and self._unsynced is not True:
            self._post(self._clock_entry("no time server keeps the brineward box's clock"))
            self._unsynced = True
        elif kept is not False and self._unsynced is not False:
            self._post(self._clock_entry(""))
            self._unsynced = False

    def _clock_entry(self, sentence: str) -> ServiceTrouble:
        return ServiceTrouble(
            time=self._clock.now(),
            trouble="clock-unsynced",
            present=bool(sentence),
            sentence=sentence or "The clock is kept, as far as is known.",
        )
