"""Small disks of their own, in memory, and what fills them to the last byte."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[Path]:
    """A small disk of its own, in memory."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a small disk in memory: run as root")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(disk: Path) -> Path:
    """Fill a disk to its last byte; returns the file that does."""
    ballast = disk / "ballast"
    with ballast.open("ab", buffering=0) as file:
        for size in (1 << 20, 1 << 12, 1):
            try:
                while file.write(b"x" * size) == size:
                    pass
            except OSError:
                continue
    return ballast
