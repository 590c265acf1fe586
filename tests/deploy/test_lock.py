"""deploy/requirements.lock: what a box installs is what was tested, and nothing else."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, requires, version

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from checkout import ROOT

LOCK = ROOT / "deploy" / "requirements.lock"


def pinned() -> dict[str, tuple[str, int]]:
    """Each package of the lock: its version, and how many hashes it has."""
    text = re.sub(r"^#.*\n", "", LOCK.read_text(), flags=re.MULTILINE)
    found = {}
    for block in re.split(r"\n(?=\S)", text.strip()):
        name, _, rest = block.partition("==")
        found[canonicalize_name(name)] = (rest.split()[0], block.count("--hash=sha256:"))
    return found


def project() -> dict[str, list[str]]:
    """What the project needs to run, and to be built."""
    read = tomllib.loads((ROOT / "pyproject.toml").read_text())
    return {"run": read["project"]["dependencies"], "build": read["build-system"]["requires"]}


def test_every_package_has_its_hashes() -> None:
    """One without would be refused on the box, and the whole installation with it."""
    assert pinned()
    assert [name for name, (_, hashes) in pinned().items() if not hashes] == []


def test_it_fits_the_project() -> None:
    """Whatever pyproject.toml asks for stands in it, in a version that it allows: who changes the
    one makes the other again (deploy/lock.sh)."""
    lock = pinned()
    for line in [*project()["run"], *project()["build"]]:
        wanted = Requirement(line)
        name = canonicalize_name(wanted.name)
        assert name in lock, f"{name}: run deploy/lock.sh"
        assert wanted.specifier.contains(lock[name][0], prereleases=True), line


def test_what_each_package_needs_is_in_it() -> None:
    """Nothing is left for pip to look for: it would refuse what has no hash."""
    lock = pinned()
    for name in lock:
        for line in _needs(name):
            needed = Requirement(line)
            if needed.marker is not None and not needed.marker.evaluate({"extra": ""}):
                continue
            own = canonicalize_name(needed.name)
            assert own in lock, f"{name} needs {own}"
            assert needed.specifier.contains(lock[own][0], prereleases=True), f"{name}: {line}"


def _needs(name: str) -> list[str]:
    try:
        return requires(name) or []
    except PackageNotFoundError:
        return []  # what builds is not installed where the tests run


def test_it_names_no_host() -> None:
    """From where a box takes its packages is its own affair."""
    assert "://" not in LOCK.read_text()
    assert "--index-url" not in LOCK.read_text()


def test_the_tests_run_with_what_is_pinned() -> None:
    """At least with no older version of what the service needs: else the lock is untested."""
    for line in project()["run"]:
        name = canonicalize_name(Requirement(line).name)
        here, there = (_numbers(one) for one in (version(name), pinned()[name][0]))
        assert here[:2] >= there[:2], f"{name}: {version(name)} is older than the lock's"


def _numbers(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", text))
