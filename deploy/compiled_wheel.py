"""A wheel with the pure core as machine code: long replays take about half the time.

    HATCH_BUILD_HOOK_ENABLE_CUSTOM=true pip install .

Only built when asked for so, and never for an editable install: there a compiled module would stay
beside its source and hide later changes of it, where a wheel is replaced as a whole. It needs a C
compiler and takes some minutes. The core is otherwise interpreted from the same files.
"""

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

_COMPILER = Path(__file__).with_name("compile_core.py")


def compile_core(daemon: Path, work: Path, optimization: str = "2") -> list[Path]:
    """Compile a copy of `daemon`'s core inside `work`, which is made anew; returns what was made.

    Raises:
        subprocess.CalledProcessError: it can't be compiled; the compiler's own words are printed
    """
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(daemon, work, ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    subprocess.run([sys.executable, str(_COMPILER), optimization], check=True, cwd=work)  # noqa: S603 (our own script)
    shutil.rmtree(work / "build")
    return sorted(work.rglob("*.so"))


class CompiledCore(BuildHookInterface[Any]):
    """What the packager calls while it builds a wheel."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile the core, and put it into the wheel beside its source."""
        if self.target_name != "wheel" or version == "editable":
            return
        for made in compile_core(Path(self.root, "daemon"), self._work):
            build_data["force_include"][str(made)] = str(made.relative_to(self._work))
        build_data["pure_python"] = False
        build_data["infer_tag"] = True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Leave nothing of the compiling behind."""
        shutil.rmtree(self._work, ignore_errors=True)

    @property
    def _work(self) -> Path:
        return Path(self.directory, "compiled-core")
