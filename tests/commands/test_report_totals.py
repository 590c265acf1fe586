"""Who adds up the lines of a report comes to `balance`'s totals, in every kind and every form."""

import csv
import json
import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from openpyxl import load_workbook

from brineward.commands.main import main
from commands.loads_in_fills import CONFIG, run

__all__ = ["run"]

GALLON_M3 = 0.003785411784
"""The US gallon: 231 cubic inches (NIST Handbook 44, appendix C)."""


Rows = list[list[str]]


def of_csv(file: Path) -> Iterator[Rows]:
    """The tables of a CSV report, each with its head."""
    for block in re.split(r"(?:\r\n){2}", file.read_bytes().decode().strip())[1:]:
        yield list(csv.reader(block.splitlines()))[1:]


def of_xlsx(file: Path) -> Iterator[Rows]:
    """The same of a spreadsheet."""
    for sheet in load_workbook(file).worksheets:
        yield [[str(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]


class Tables(HTMLParser):
    """The cells of every table of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Rows] = []
        self._within = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self.found.append([])
        elif tag == "tr":
            self.found[-1].append([])
        elif tag in ("td", "th"):
            self.found[-1][-1].append("")
            self._within = True

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._within = False

    def handle_data(self, data: str) -> None:
        if self._within:
            self.found[-1][-1][-1] += data.strip()


def of_html(file: Path) -> Iterator[Rows]:
    """The same of a page."""
    page = Tables()
    page.feed(file.read_text(encoding="utf-8"))
    yield from page.found


FORMS: dict[str, Callable[[Path], Iterator[Rows]]] = {
    "csv": of_csv,
    "xlsx": of_xlsx,
    "html": of_html,
}


def added(tables: list[Rows], column: str) -> tuple[float, int]:
    """Gallons of all finished rows of the table that has a volume and this column; how many.

    A spreadsheet has them as numbers, a page with how sure they are.
    """
    (table,) = [
        one
        for one in tables
        if {"From", column} <= set(one[0]) and {"Volume", "Volume, gal"} & set(one[0])
    ]
    head = table[0]
    place = next(k for k, name in enumerate(head) if name in ("Volume", "Volume, gal"))
    rows = [row for row in table[1:] if row[head.index("To")] != "goes on"]
    gallons = sum(float(row[place].split(" ")[0].replace(",", "")) for row in rows)
    return gallons, len(rows)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("kind", ["night", "week", "month", "season"])
def test_its_lines_add_up_to_the_balance(
    run: Path, capsys: pytest.CaptureFixture[str], kind: str, form: str
) -> None:
    """Gallons loaded and made: the lines' sum is `balance --json`'s, but for their rounding."""
    journal, file = str(run / "run.journal"), run / f"{kind}.{form}"
    truth = json.loads((run / "run.truth.json").read_text())
    span = ["--since", truth["start"], "--until", truth["end"]]
    words = ["report", str(CONFIG), kind, "--journal", journal, "-o", str(file), *span]
    assert main(words) == 0
    capsys.readouterr()
    assert main(["balance", str(CONFIG), "--journal", journal, "--json", *span]) == 0
    balance = json.loads(capsys.readouterr().out)
    tables = list(FORMS[form](file))
    for column, total in (("How known", "loaded_m3"), ("Tank", "made_m3")):
        gallons, count = added(tables, column)
        assert count > 2
        assert abs(gallons - balance[total][0] / GALLON_M3) <= count / 2


POUND_KG = 0.45359237
SHORT_TON_KG = 2000 * POUND_KG
"""By definition (NIST Handbook 44, appendix C)."""
SUMS = {
    "Made": ("made_m3", {"gal": GALLON_M3}),
    "Loaded": ("loaded_m3", {"gal": GALLON_M3}),
    "Water in what was made": ("water_made_kg", {"gal": 1000 * GALLON_M3}),
    "Salt in what was made": ("salt_made_kg", {"tons": SHORT_TON_KG, "lb": POUND_KG}),
    "Salt in what was loaded": ("salt_loaded_kg", {"tons": SHORT_TON_KG, "lb": POUND_KG}),
    "Chloride in what was loaded": ("chloride_loaded_kg", {"tons": SHORT_TON_KG, "lb": POUND_KG}),
}


def test_every_sum_is_the_balance_s(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Gallons, water, salt and chloride of the spreadsheet's first table are `balance --json`'s,
    and `balance` in words says the same gallons of water."""
    journal, file = str(run / "run.journal"), run / "sums.csv"
    truth = json.loads((run / "run.truth.json").read_text())
    span = ["--since", truth["start"], "--until", truth["end"], "--journal", journal]
    assert main(["report", str(CONFIG), "season", "-o", str(file), *span]) == 0
    capsys.readouterr()
    assert main(["balance", str(CONFIG), "--json", *span]) == 0
    balance = json.loads(capsys.readouterr().out)
    assert main(["balance", str(CONFIG), *span]) == 0
    in_words = capsys.readouterr().out
    found = {row[0]: row[1:] for row in csv.reader(file.open(encoding="utf-8-sig")) if row}
    for name, (key, units) in SUMS.items():
        amount, _, unit = found[name]
        true = balance[key][0] / units[unit]
        said = float(amount.replace(",", ""))
        assert abs(said - true) <= 0.51 * 10.0 ** -len(amount.partition(".")[2]), name
        if name.startswith("Water"):
            assert f"in what was made: {said:,.0f} gal" in in_words
