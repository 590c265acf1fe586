"""`sh deploy/try.sh` on machines that lack something: one sentence, with its remedy."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from checkout import ROOT

TOOLS = ("cat", "cksum", "dirname", "grep", "ls", "mkdir", "rm", "sed", "sh", "tail")
"""What the script may use beside Python: on every Debian and Ubuntu, however small."""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with no more than the script reads before it needs the package."""
    folder = tmp_path / "a checkout"
    shutil.copytree(ROOT / "deploy", folder / "deploy")
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    """A PATH with the usual tools and no Python."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for tool in TOOLS:
        found = shutil.which(tool)
        assert found is not None
        (folder / tool).symlink_to(found)
    return folder


def python(machine: Path, name: str, script: str) -> None:
    """A program of that name in `machine`."""
    program = machine / name
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)


def real_python(machine: Path, *, without: str = "", name: str = "python3") -> None:
    """A real Python of that name, which can't import `without`."""
    interpreter = Path(sys.executable).resolve()
    blocked = machine.parent / "blocked"
    blocked.mkdir(exist_ok=True)
    if without:
        (blocked / f"{without}.py").write_text("raise ImportError('left out by the packager')\n")
    python(machine, name, f'PYTHONPATH="{blocked}" exec {interpreter} "$@"')


def tried(checkout: Path, machine: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    """`sh deploy/try.sh --help` on that machine."""
    return subprocess.run(
        ["sh", str(checkout / "deploy" / "try.sh"), "--help"],
        env={"PATH": str(machine), "HOME": str(machine.parent), **variables},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


def refused(done: subprocess.CompletedProcess[str]) -> str:
    """The one line that it said, having done nothing else."""
    assert done.returncode == 1, done
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    return line


def test_no_python(checkout: Path, machine: Path) -> None:
    """A machine without Python is told which packages to install."""
    line = refused(tried(checkout, machine))
    assert "needs Python 3.11 or newer" in line
    assert '"apt install python3 python3-venv"' in line
    assert not (checkout / ".venv").exists()


def test_a_python_that_is_too_old(checkout: Path, machine: Path) -> None:
    """Python 3.10 is named with its version, and where a newer one comes from."""
    python(machine, "python3", 'case $2 in *"%d.%d"*) echo 3.10 ;; *) exit 1 ;; esac')
    line = refused(tried(checkout, machine))
    assert "python3 is 3.10" in line
    assert '"apt install python3.11 python3.11-venv"' in line


def test_a_newer_python_beside_one_that_is_too_old_is_used(checkout: Path, machine: Path) -> None:
    """Where python3 is old and python3.11 is there, python3.11 is asked next: here for its venv."""
    python(machine, "python3", 'case $2 in *"%d.%d"*) echo 3.10 ;; *) exit 1 ;; esac')
    real_python(machine, without="ensurepip", name="python3.11")
    line = refused(tried(checkout, machine))
    assert "(python3.11, version 3." in line
    assert "-venv" in line


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_virtual_environments(checkout: Path, machine: Path, missing: str) -> None:
    """Debian's python3 without python3-venv is told so before anything is written."""
    real_python(machine, without=missing)
    line = refused(tried(checkout, machine))
    assert '"apt install python3-venv"' in line
    assert not (checkout / ".venv").exists()


def test_no_package_index(checkout: Path, machine: Path) -> None:
    """Without a network pip's failure is one sentence, with pip's own reason and where the rest is.

    Plugged in again it goes on: nothing claims that the installation is there.
    """
    real_python(machine)
    done = tried(checkout, machine, PIP_NO_INDEX="1", PIP_FIND_LINKS=str(machine))
    assert done.returncode == 1
    first, line = done.stderr.splitlines()
    assert first.startswith("First time:")
    assert "is this machine online" in line
    assert "No matching distribution found for hatchling" in line
    assert (checkout / ".venv" / "pip.log").read_text().count("\n") > 1
    assert not list((checkout / ".venv").glob("installed-*"))


def test_what_lies_in_the_way_is_never_cleared_away(checkout: Path, machine: Path) -> None:
    """A .venv that is no virtual environment is somebody's: it stays, and is named."""
    real_python(machine)
    (checkout / ".venv").mkdir()
    (checkout / ".venv" / "letters.txt").write_text("dear\n")
    assert "something else" in refused(tried(checkout, machine))
    assert (checkout / ".venv" / "letters.txt").read_text() == "dear\n"


@pytest.mark.parametrize("changed", [False, True])
def test_pip_is_not_asked_again_unless_the_project_changed(
    checkout: Path, machine: Path, changed: bool
) -> None:
    """The second time starts the demo at once, with its options; a changed project asks pip."""
    bin_folder = checkout / ".venv" / "bin"
    bin_folder.mkdir(parents=True)
    (checkout / ".venv" / "pyvenv.cfg").write_text("")
    python(bin_folder, "python", 'case "$*" in *"pip install"*) echo asked >>"$HOME/asked" ;; esac')
    python(bin_folder, "brineward", 'echo "started: $*"')
    for _ in range(2):
        done = tried(checkout, machine)
        assert done.stdout == "started: demo --help\n", done.stderr
        if changed:
            with (checkout / "pyproject.toml").open("a") as file:
                file.write("# another need\n")
    asked = (machine.parent / "asked").read_text().splitlines()
    assert len(asked) == (2 if changed else 1)


def test_a_checkout_that_cannot_be_written_to(checkout: Path, machine: Path) -> None:
    """A folder in which nothing can be made is named (root may write to all but such a place)."""
    real_python(machine)
    (checkout / ".venv").symlink_to("/proc/no-such-folder")
    assert f"Can't write to {checkout}/.venv" in refused(tried(checkout, machine))
