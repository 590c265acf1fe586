"""A command starts without the libraries that it has no use for: on a small box each costs."""

import subprocess
import sys
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
HEADER = "time,depot,sensor,value\n"
HEAVY = frozenset(
    {
        "apprise",
        "apscheduler",
        "asyncio",
        "icalendar",
        "influxdb_client",
        "itsdangerous",
        "jinja2",
        "matplotlib",
        "numpy",
        "openpyxl",
        "paho",
        "pandas",
        "pyarrow",
        "requests",
        "scipy",
        "serial",
        "starlette",
        "tqdm",
        "urllib3",
        "uvicorn",
    }
)
"""What pages, exports, channels, the link and pictures are made with."""


def loaded_by(*arguments: str) -> set[str]:
    """The packages that are loaded once a command has ended, by their first names."""
    program = (
        "import sys\n"
        "from brineward.commands.main import main\n"
        "main(sys.argv[1:])\n"
        "print('loaded:', *{name.partition('.')[0] for name in sys.modules})\n"
    )
    seen = subprocess.run(
        [sys.executable, "-c", program, *arguments],
        check=True,
        capture_output=True,
        text=True,
        timeout=60,
    )
    return set(seen.stdout.rpartition("loaded:")[2].split())


@pytest.mark.parametrize("command", ["status", "check", "replay"])
def test_it_loads_no_library_that_it_does_not_use(command: str, tmp_path: Path) -> None:
    """Status, check and replay start without what serves pages, exports, texts and pictures."""
    arguments = [command, str(CONFIG)]
    if command == "replay":
        run = tmp_path / "run.csv"
        run.write_text(HEADER)
        arguments.append(str(run))
    loaded = loaded_by(*arguments)
    assert {"brineward", "pydantic"} <= loaded, "the list of what is loaded is not read"
    assert not loaded & HEAVY


def test_a_replay_that_keeps_no_journal_loads_none(tmp_path: Path) -> None:
    """A replay of a readings file opens no journal, so SQLite is not even loaded."""
    run = tmp_path / "run.csv"
    run.write_text(HEADER)
    assert "sqlite3" not in loaded_by("replay", str(CONFIG), str(run))
    kept = ("replay", "--journal", str(tmp_path / "kept.db"), str(CONFIG), str(run))
    assert "sqlite3" in loaded_by(*kept)
