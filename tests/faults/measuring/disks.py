"""The journal's file and its disk: bits flipped, cut short, taken away, full."""

import os
import random
import shutil
import signal
import subprocess
import time
from pathlib import Path

from faults.measuring.stand import Measured, Stand, stand
from faults.small_disks import fill


def _damage(s: Stand, times: int, draw: random.Random, harm) -> list[str]:
    """Harm the file so often while the service is down; what the service said of each."""
    said = []
    for number in range(times):
        # In turns: all in the file itself, or the newest in the write-ahead file.
        s.service.stop(signal.SIGTERM if number % 2 else signal.SIGKILL)
        harm(s.service.journal, draw)
        before = len(s.service.log)
        s.service.start()
        s.recover()
        said.append(s.service.log[before:])
        time.sleep(draw.uniform(0.2, 1.0))
    return said


def _flip(journal: Path, draw: random.Random) -> None:
    wal = journal.with_name(journal.name + "-wal")
    files = [one for one in (journal, wal) if one.exists() and one.stat().st_size]
    sizes = [one.stat().st_size for one in files]
    (file,) = draw.choices(files, weights=sizes)
    at = draw.randrange(file.stat().st_size)
    with file.open("r+b") as opened:
        opened.seek(at)
        (byte,) = opened.read(1)
        opened.seek(at)
        opened.write(bytes([byte ^ (1 << draw.randrange(8))]))


def _cut(journal: Path, draw: random.Random) -> None:
    os.truncate(journal, draw.randrange(journal.stat().st_size))


def _found(said: list[str]) -> str:
    found = sum(
        any(word in one for word in ("damaged", "can't be read", "are gone from")) for one in said
    )
    return f"found and reported at the start {found} times"


def flipped(folder: Path, times: int) -> Measured:
    """One bit of the journal or its write-ahead file flips while the service is down."""
    with stand(folder) as s:
        time.sleep(5.0)
        said = _damage(s, times, random.Random(times), _flip)
        return s.measured(
            "bit flipped in the journal",
            "one bit of the file or its write-ahead file, then a start",
            times,
            note=_found(said) + "; SQLite has no checksums over its pages: a flipped bit in a "
            "value is not found, one in the write-ahead file costs what follows there",
        )


def cut_short(folder: Path, times: int) -> Measured:
    """The journal is cut to a random length while the service is down."""
    with stand(folder) as s:
        time.sleep(5.0)
        said = _damage(s, times, random.Random(times), _cut)
        return s.measured(
            "journal cut short", "to a random length, then a start", times, note=_found(said)
        )


def taken_away(folder: Path, times: int) -> Measured:
    """Deleted or replaced by an older copy under the running service, alternately."""
    with stand(folder) as s:
        time.sleep(2.0)
        for number in range(times):
            journal = s.service.journal
            if number % 2 == 0:
                for ending in ("", "-wal", "-shm"):
                    journal.with_name(journal.name + ending).unlink(missing_ok=True)
            else:
                shutil.copy(journal, journal.with_name("copy"))
                journal.with_name("copy").replace(journal)
            time.sleep(0.5)
            s.recover()
            time.sleep(2.0)
        ends = s.service.kept.ends
        return s.measured(
            "journal deleted or replaced",
            "under the running service, alternately",
            times,
            note=f"ended with code 3 and was started again {ends.count(3)} times; what was "
            "recorded before is in the file that was taken away",
        )


def full(folder: Path, times: int) -> Measured:
    """The disk fills to its last byte and stays so for 20 seconds."""
    disk = folder / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(disk)]
    subprocess.run(mount, check=True)
    try:
        little = 'disk_warn = "3 MB"\ndisk_thin = "2 MB"'
        with stand(folder, where=disk / "service", journal=little) as s:
            for _ in range(times):
                before = s.service.log.count("the disk is full; make room")
                ballast = fill(disk)
                _wait(lambda b=before: s.service.log.count("the disk is full; make room") > b)
                time.sleep(20.0)
                ballast.unlink()
                s.recover()
                time.sleep(3.0)
            return s.measured("disk full", "to the last byte, for 20 s, without a reserve", times)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def _wait(met, seconds: float = 120.0) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end and not met():
        time.sleep(0.05)
    assert met(), "not in time"
