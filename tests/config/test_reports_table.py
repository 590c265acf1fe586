"""`[reports]`: where to, which, in which form and when."""

from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.config.settings import ReportSettings
from config.test_load import CONFIGS, EVERY_FEATURE, mistakes_in, written


def test_reports_are_read() -> None:
    """Where to, which, in which form and when; a file without the table makes none by itself."""
    assert load_settings(EVERY_FEATURE).reports == ReportSettings(
        folder=CONFIGS / "good" / "paper", periods=("night", "season"), form="csv", at="06:45"
    )
    assert load_settings(CONFIGS / "good" / "plain.toml").reports is None


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ('at = "25:00"', "not a time of day"),
        ('periods = ["year"]', "night, week, month, season"),
        ("periods = []", "night, week, month, season"),
        ('form = "doc"', "html, pdf, csv or xlsx"),
    ],
)
def test_a_wrong_reports_table_is_refused_by_its_key(tmp_path: Path, key: str, said: str) -> None:
    """What is wrong and what was expected."""
    table = f'[reports]\nfolder = "paper"\n{key}\n\n[link]'
    found = mistakes_in(written(tmp_path, ("[link]", table)))
    assert any("reports." in mistake and said in mistake for mistake in found), found
