"""The unit of the page alone is as closed as the service's, and never goes before the watch."""

import configparser
import shutil
import subprocess
from pathlib import Path

import pytest

from checkout import ROOT

UNITS = ROOT / "deploy" / "systemd"
_OPEN_TO_EITHER = {
    "Type",
    "ExecStart",
    "WatchdogSec",
    "TimeoutStartSec",
    "TimeoutStopSec",
    "OOMScoreAdjust",
    "MemoryMax",
}
"""What the two differ in by what they are."""


def _service(name: str) -> dict[str, str]:
    found = configparser.ConfigParser(strict=False, interpolation=None)
    found.optionxform = str  # type: ignore[assignment,method-assign]
    found.read(UNITS / name)
    return dict(found["Service"])


def test_it_is_as_closed_as_the_service() -> None:
    """Every key that closes something to the service closes it to the page, alike."""
    watch, page = _service("brineward.service"), _service("brineward-page.service")
    differ = {key for key in watch if watch[key] != page.get(key)}
    assert differ <= _OPEN_TO_EITHER
    assert "ProtectSystem" in page
    assert page["ExecStart"].endswith("/brineward page /etc/brineward/brineward.toml")


def test_the_watch_outlives_it() -> None:
    """When memory is short the page goes first; it takes less at most, and comes back by itself."""
    watch, page = _service("brineward.service"), _service("brineward-page.service")
    assert int(page["OOMScoreAdjust"]) > int(watch["OOMScoreAdjust"])
    assert int(page["MemoryMax"].rstrip("M")) < int(watch["MemoryMax"].rstrip("M"))
    assert page["Restart"] == "always"


def test_systemd_reads_it(tmp_path: Path) -> None:
    """systemd's own check finds nothing to say, but that the program is not installed here."""
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("needs systemd-analyze")
    unit = tmp_path / "brineward-page.service"
    text = (UNITS / "brineward-page.service").read_text()
    unit.write_text(text.replace("/opt/brineward/bin/brineward", "/bin/true"))
    done = subprocess.run(
        [program, "verify", "--man=no", str(unit)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert not [line for line in done.stderr.splitlines() if "brineward-page" in line], done.stderr
