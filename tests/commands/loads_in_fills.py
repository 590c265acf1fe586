"""A night of loads while the tank refills, kept in a journal, for tests of what is told of it."""

from pathlib import Path

import pytest

from brinesim.commands.main import main as simulate
from brineward.commands.main import main
from checkout import ROOT

CONFIG = ROOT / "config" / "tern-hollow.toml"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirteen hours of trucks while the tank refills, and the journal beside them."""
    folder = tmp_path_factory.mktemp("run")
    words = ["write", "loads-in-fills", "--duration", "13 h", "--quiet", "-o", f"{folder}/run.csv"]
    assert simulate(words) == 0
    kept = ["--journal", str(folder / "run.journal")]
    assert main(["replay", str(CONFIG), str(folder / "run.csv"), "--json", *kept]) == 0
    return folder
