"""The arrows of pyproject.toml hold: a deliberate violation of each is caught."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from checkout import ROOT, tracked

LINT_IMPORTS = "from importlinter.cli import lint_imports_command as lint; lint()"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The two packages and the contracts, to be spoiled."""
    for path in [*tracked("daemon"), *tracked("simulators"), ROOT / "pyproject.toml"]:
        target = tmp_path / path.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, target)
    return tmp_path


def linted(copy: Path) -> subprocess.CompletedProcess[str]:
    """What import-linter says of the copy."""
    return subprocess.run(
        [sys.executable, "-c", LINT_IMPORTS, "--config", "pyproject.toml", "--no-cache"],
        cwd=copy,
        env={"PYTHONPATH": f"{copy}/daemon:{copy}/simulators", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def test_the_house_as_it_stands_keeps_them(copy: Path) -> None:
    """Without a violation the same call is content, so that the others mean something."""
    done = linted(copy)
    assert done.returncode == 0, done.stdout + done.stderr
    assert " 0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("brineward/physics/water.py", "import brineward.plant.plan", "Arrows point one way"),
        ("brineward/plant/plan.py", "import brineward.engine.engine", "Arrows point one way"),
        ("brineward/link/link.py", "import brineward.journal.journal", "Arrows point one way"),
        ("brineward/texts/follower.py", "import brineward.link.link", "Arrows point one way"),
        ("brineward/journal/room.py", "import brineward.service.service", "Arrows point one way"),
        ("brineward/news/__init__.py", "", "Arrows point one way"),
        ("brineward/engine/engine.py", "import brineward.clock", "The core knows no clock"),
        ("brineward/alarms/life.py", "import logging", "The core knows no clock"),
        ("brineward/wording/gsm.py", "import pathlib", "The core knows no clock"),
        ("brineward/service/service.py", "import sqlite3", "Only the journal opens SQLite"),
        ("brinesim/plant.py", "import brineward.physics.water", "The simulator is an independent"),
    ],
)
def test_a_violation_is_caught(copy: Path, module: str, line: str, contract: str) -> None:
    """An arrow turned round, a new package nobody decided on, a clock in the core: each fails."""
    (file,) = [root / module for root in (copy / "daemon", copy / "simulators")
               if (root / module.split("/", maxsplit=1)[0]).exists()]  # fmt: skip
    is_new = not file.exists()
    file.parent.mkdir(exist_ok=True)
    file.write_text(f"{'' if is_new else file.read_text()}\n{line}\n")
    done = linted(copy)
    assert done.returncode == 1, done.stdout + done.stderr
    assert any(
        contract in told and ("BROKEN" in told or is_new) for told in done.stdout.splitlines()
    ), done.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("engine/engine.py", "import time\n\nNOW = time.time()"),
        ("service/worker.py", "import time\n\ntime.sleep(1)"),
        ("journal/journal.py", "import datetime\n\nNOW = datetime.datetime.now()"),
        ("texts/attempts.py", "import random\n\nJITTER = random.random()"),
    ],
)
def test_a_clock_outside_its_module_is_caught(copy: Path, module: str, line: str) -> None:
    """Only clock.py may read clocks, wait and draw: ruff says so by name."""
    file = copy / "daemon" / "brineward" / module
    file.write_text(f"{file.read_text()}\n{line}\n")
    done = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--no-cache", "--select", "TID251", "daemon"],
        cwd=copy,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    assert "TID251" in done.stdout
    assert module in done.stdout
