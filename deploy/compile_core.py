"""Compile the pure core of the `brineward` package in the working directory to machine code.

    python compile_core.py OPTIMIZATION

Each module becomes an extension beside its source; `compiled_wheel.py` calls this in a copy.
"""

import sys
from pathlib import Path

from mypyc.build import mypycify
from setuptools import Distribution

CORE = ("quantities", "physics", "plant", "alarms", "watch", "engine")
"""Pure packages that each reading runs through. Not `readings`: a compiled dataclass keeps no
annotations that pydantic could check what people enter by."""


def main(optimization: str) -> None:
    """Compile with so much optimization, "0" to "3"; raises what the compiler's caller raises."""
    modules = [
        str(path)
        for package in CORE
        for path in sorted(Path("brineward", package).glob("*.py"))
        if path.name != "__init__.py"
    ]
    extensions = mypycify(
        ["--strict", "--ignore-missing-imports", *modules],
        opt_level=optimization,
        debug_level="0",
        multi_file=True,  # as one file, it takes the C compiler far longer and much more memory
        group_name="brineward_core",
    )
    distribution = Distribution({"name": "brineward_core", "ext_modules": extensions})
    command = distribution.get_command_obj("build_ext")
    command.inplace = True
    command.parallel = True
    command.ensure_finalized()
    command.run()


if __name__ == "__main__":
    main(sys.argv[1])
