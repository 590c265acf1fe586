"""The checkout that the tests run in: where it is, and which files belong to it."""

import functools
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


@functools.cache
def tracked(under: str = ".") -> tuple[Path, ...]:
    """The files under a folder of the checkout that git keeps, as they stand now."""
    listed = subprocess.run(
        # A clone that belongs to another user is read all the same.
        ["git", "-c", "safe.directory=*", "ls-files", "-z", under],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    found = [ROOT / name for name in listed.split("\0") if name]
    assert found, f"git keeps nothing under {under}"
    return tuple(path for path in found if path.exists())
