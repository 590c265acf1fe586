"""The picture of an alarm's life is the table that alarms run on."""

import runpy
from pathlib import Path

HERE = Path(__file__).resolve().parent


def test_the_picture_is_the_table() -> None:
    """A row added, changed or taken away shows in the page that people read."""
    found = runpy.run_path(str(HERE / "life_picture.py"))
    written = found["PAGE"].read_text(encoding="utf-8")
    assert found["page"](written) == written, "run: python tests/house/life_picture.py"
