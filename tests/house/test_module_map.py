"""The maps in DEVELOPERS.md and daemon/docs are the house as it is."""

import runpy
from pathlib import Path

HERE = Path(__file__).resolve().parent


def test_the_maps_name_every_room_and_module_by_its_own_first_line() -> None:
    """A package or module added, renamed or given another purpose shows in them."""
    found = runpy.run_path(str(HERE / "module_map.py"))
    for path, made in found["PAGES"].items():
        page = path.read_text(encoding="utf-8")
        assert found["with_map"](page, made()) == page, "run: python tests/house/module_map.py"
