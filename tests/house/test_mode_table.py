"""The page about modes says what the alarms' records say."""

from house.mode_table import PAGE, with_table


def test_the_table_of_modes_is_made_from_the_records() -> None:
    """An alarm added, or made quiet in another mode, shows in the page."""
    page = PAGE.read_text(encoding="utf-8")
    assert with_table(page) == page, "run: python tests/house/mode_table.py"
