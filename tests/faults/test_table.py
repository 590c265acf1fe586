"""The table of faults: what is measured again takes its row's place, and nothing else changes."""

from faults.measure import FAULTS, TABLE, row_of, with_row
from faults.measuring.stand import Measured


def test_a_row_takes_its_place() -> None:
    """Its words before and after the table stay, and so do the other rows, in their order."""
    text = TABLE.read_text()
    measured = Measured(name="disk full", how="made up", times=3, told=[1.0, 3.0], untold=1)
    new = with_row(text, row_of(measured))
    old_lines, new_lines = text.splitlines(), new.splitlines()
    differing = [(old, now) for old, now in zip(old_lines, new_lines, strict=True) if old != now]
    assert [now for _, now in differing if now.startswith("|")] == [row_of(measured)]
    assert all("Measured on: " in now for _, now in differing if not now.startswith("|"))
    assert "| 2.0 / 3.0 of 3 | 1 |" in row_of(measured)


def test_every_fault_stands_in_it() -> None:
    """Each that the command can measure has been, and none was dreamt up."""
    rows = [line for line in TABLE.read_text().splitlines() if line.startswith("| ")]
    assert len(rows) - 1 == len(FAULTS)
