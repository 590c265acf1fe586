"""The map in DEVELOPERS.md is the house as it stands."""

import runpy
from pathlib import Path

HERE = Path(__file__).resolve().parent


def test_the_map_names_every_module_by_its_own_first_line() -> None:
    """A module added, renamed or given another purpose shows in the map."""
    found = runpy.run_path(str(HERE / "module_map.py"))
    page = found["PAGE"].read_text(encoding="utf-8")
    assert found["with_map"](page) == page, "run: python tests/house/module_map.py"
