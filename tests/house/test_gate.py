"""The gate of tests/run.sh: what fails a run although each test that ran has passed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from checkout import ROOT

TESTS = """
import pytest

def test_good():
    assert True

@pytest.mark.skipif(SKIPPED, reason="needs what is not here")
def test_perhaps():
    assert True
"""


def ran(
    folder: Path, *options: str, skipped: bool = False, failed: str = ""
) -> subprocess.CompletedProcess[str]:
    """pytest on two tests of its own, as tests/run.sh starts it."""
    (folder / "test_two.py").write_text(TESTS.replace("SKIPPED", str(skipped)))
    (folder / "pytest.ini").write_text("[pytest]\n")
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT / "tests"),
        "BRINEWARD_FAILED_CHECKS": failed,
    }
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "gate", *options],
        cwd=folder,
        env={key: value for key, value in environment.items() if not key.startswith("PYTEST_")},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize("workers", [(), ("-n", "2")], ids=["alone", "two workers"])
def test_a_skip_fails_the_run_where_none_may_be(tmp_path: Path, workers: tuple[str, ...]) -> None:
    """With --nothing-skipped a skip fails the run and is said; pytest's summary stays last."""
    done = ran(tmp_path, "--nothing-skipped", *workers, skipped=True)
    assert done.returncode == 1
    assert "nothing may be skipped here, and 1 were" in done.stdout
    assert "1 passed, 1 skipped" in done.stdout.splitlines()[-1]


def test_the_gate_is_open_otherwise(tmp_path: Path) -> None:
    """A skip is no failure where it was not forbidden, and no skip is none where it was."""
    assert ran(tmp_path, skipped=True).returncode == 0
    assert ran(tmp_path, "--nothing-skipped").returncode == 0


def test_a_check_that_failed_before_fails_the_run(tmp_path: Path) -> None:
    """A lint that failed is not forgotten when all tests pass."""
    done = ran(tmp_path, failed="ruff check --quiet .; mypy; ")
    assert done.returncode == 1
    assert "failed before the tests: ruff check --quiet .; mypy" in done.stdout
    assert "2 passed" in done.stdout.splitlines()[-1]
