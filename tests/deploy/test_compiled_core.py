"""The core as machine code, built as the packager builds it: it prints what the source prints."""

import importlib.util
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from types import ModuleType

import pytest

from checkout import ROOT

_HEADER = Path(sysconfig.get_path("include"), "Python.h")

pytestmark = pytest.mark.skipif(
    shutil.which("cc") is None or not _HEADER.exists(),
    reason="needs a C compiler and Python's headers (apt install gcc libc6-dev python3-dev)",
)

_PLAYED = (
    "recorded/test_recorded_runs.py",
    "decode/test_by_hand.py",
    "journal/test_boxes.py",
    "journal/test_resume.py",
)

_CORE_FILES = """
import sys, brineward.engine.engine
core = tuple("brineward." + package for package in sys.argv[1:])
modules = [module for name, module in sys.modules.items() if name.startswith(core)]
print(*{module.__file__ for module in modules if not hasattr(module, "__path__")})
"""


def _script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "deploy" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _run(*command: str, core: Path) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join(map(str, (core, ROOT / "simulators", ROOT / "tests")))
    return subprocess.run(
        [sys.executable, *command],
        capture_output=True,
        text=True,
        check=False,
        cwd=core,
        env=os.environ | {"PYTHONPATH": path},
    )


@pytest.mark.timeout(900)
def test_the_recorded_runs_by_machine_code(tmp_path: Path) -> None:
    """Every module of the core is compiled, every recorded run raises what it should, and what
    people enter and the journal keeps is read as ever."""
    core = tmp_path / "core"
    _script("compiled_wheel").compile_core(ROOT / "daemon", core, optimization="0")

    loaded = _run("-c", _CORE_FILES, *_script("compile_core").CORE, core=core)
    files = loaded.stdout.split()
    assert len(files) > 140, loaded.stderr
    assert [name for name in files if not name.endswith(".so")] == []

    played = _run(
        *("-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"),
        *("-o", f"pythonpath={core}"),
        *(str(ROOT / "tests" / file) for file in _PLAYED),
        core=core,
    )
    assert played.returncode == 0, played.stdout
    assert " passed" in played.stdout
