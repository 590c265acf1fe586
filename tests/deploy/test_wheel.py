"""What is installed from a wheel has all that it needs: no file of the checkout is missed."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from checkout import ROOT, tracked


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by pip as an installation would, unpacked far from the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder), str(ROOT)],
        check=True,
        capture_output=True,
        timeout=240,
    )
    (wheel,) = folder.glob("brineward-*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    return folder / "site"


def ran(installed: Path, where: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """`brineward ...` from the unpacked wheel, in another folder."""
    return subprocess.run(
        [sys.executable, "-m", "brineward", *arguments],
        env={**os.environ, "PYTHONPATH": str(installed)},
        cwd=where,
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )


def test_it_is_the_wheel_that_runs(installed: Path, tmp_path: Path) -> None:
    """Both packages come from the wheel, or the other tests here would prove nothing."""
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import brineward, brinesim; print(*brineward.__path__, *brinesim.__path__)",
        ],
        env={**os.environ, "PYTHONPATH": str(installed)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == [str(installed / "brineward"), str(installed / "brinesim")]


def test_it_holds_every_file_of_the_packages(installed: Path) -> None:
    """Tables, scenarios and types travel too; and the examples, and nothing of the tests."""
    for source, package in (("daemon", "brineward"), ("simulators", "brinesim")):
        kept = [str(path.relative_to(ROOT / source)) for path in tracked(f"{source}/{package}")]
        assert [name for name in kept if not (installed / name).exists()] == []
    assert {path.name for path in installed.iterdir() if "dist-info" not in path.name} == {
        "brineward",
        "brinesim",
    }


@pytest.mark.parametrize("name", ["tern-hollow.toml", "smallest.toml", "pump-by-level.toml"])
def test_the_examples_in_it_are_good(installed: Path, tmp_path: Path, name: str) -> None:
    """Each example config is there as it stands in config/, and `brineward check` likes it."""
    example = installed / "brineward" / "examples" / name
    assert example.read_bytes() == (ROOT / "config" / name).read_bytes()
    done = ran(installed, tmp_path, "check", str(example))
    assert (done.returncode, done.stderr) == (0, "")
    assert "no mistakes" in done.stdout


def test_the_demo_plays_from_it(installed: Path, tmp_path: Path) -> None:
    """A whole night, simulator and broker included, played quickly in an empty folder.

    At this pace a busy machine may hear a sensor too late, so what was raised is not judged here.
    """
    done = ran(installed, tmp_path, "demo", "--seconds", "20")
    assert "The night is over" in done.stdout, done.stderr
    assert (tmp_path / "brineward-demo" / "night-1" / "tern-hollow.journal").exists()
