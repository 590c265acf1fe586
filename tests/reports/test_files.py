"""Each form says the same, can be opened by independent readers, and carries nothing that runs."""

import csv
import io
import re
from dataclasses import replace
from datetime import datetime

import pytest
from openpyxl import load_workbook
from playwright.sync_api import sync_playwright
from pypdf import PdfReader

from brineward.export.whole_file import NoFile
from brineward.records.balance import Figure as Known
from brineward.reports import figures
from brineward.reports.cells import Parts, give_or_take, mass_unit, signs, volume_unit
from brineward.reports.files import FORMS, write
from brineward.reports.page import html

CHROMIUM = "/usr/bin/chromium"
QUIETLY = [
    "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def sheets_of(text: str) -> dict[str, list[list[str]]]:
    """A CSV report's tables by their names, as rows of cells."""
    blocks = re.split(r"(?:\r\n){2}", text.strip())[1:]
    tables = [list(csv.reader(io.StringIO(block))) for block in blocks]
    return {table[0][0]: table[1:] for table in tables}


def test_the_spreadsheet_and_the_csv_hold_the_same_rows(report, tmp_path):
    """Read back by openpyxl and by the standard library, cell by cell; times as times."""
    write(report, tmp_path / "a.csv")
    write(report, tmp_path / "a.xlsx")
    tables = sheets_of((tmp_path / "a.csv").read_bytes().decode())
    book = load_workbook(tmp_path / "a.xlsx")
    assert set(tables) == set(book.sheetnames)
    for name, rows in tables.items():
        found = [["" if cell is None else cell for cell in row]
                 for row in book[name].iter_rows(values_only=True)]  # fmt: skip
        assert len(found) == len(rows)
        for mine, theirs in zip(rows, found, strict=True):
            for one, other in zip(mine, theirs, strict=True):
                assert agree(one, other)


def agree(text: str, cell: object) -> bool:
    """Does a spreadsheet's cell hold what the text says? Its own times know no zone."""
    if isinstance(cell, datetime):
        return text[:19] == cell.isoformat()
    return float(text) == cell if isinstance(cell, int | float) else text == cell


def test_every_number_of_the_sum_is_on_the_print(report, tmp_path):
    """An independent reader finds each figure in the PDF, with its name."""
    write(report, tmp_path / "a.pdf")
    text = " ".join(page.extract_text() for page in PdfReader(tmp_path / "a.pdf").pages)
    text = re.sub(r"\s+", " ", text)
    for figure in figures.figures(report):
        assert figure.name in text
        assert signs(figure.value) in text
    assert figures.heading(report) in text


def test_a_spreadsheet_s_columns_can_be_added_up(report, tmp_path):
    """Volumes, strengths and salt are numbers in columns of their own, named with their unit."""
    write(report, tmp_path / "a.xlsx")
    book = load_workbook(tmp_path / "a.xlsx")
    head, *rows = book["Batches"].iter_rows(values_only=True)
    assert rows
    for name in ("Volume, gal", "Plus or minus, gal", "Strength, %", "Low, %", "High, %"):
        assert all(isinstance(row[head.index(name)], int | float) for row in rows)
    assert all(isinstance(row[head.index("From")], datetime) for row in rows)
    made = next(row for row in book["In sum"].iter_rows(values_only=True) if row[0] == "Made")
    total = sum(row[head.index("Volume, gal")] for row in rows)
    assert made[1] == pytest.approx(total, abs=0.1 * len(rows))
    assert made[3] == "gal"


def test_an_amount_has_no_more_digits_than_are_known():
    """Doubt has two figures, an amount its unit; nothing is made of nothing."""
    gallon = volume_unit(us=True).size
    assert give_or_take(Known(8958 * gallon, 106.6 * gallon), volume_unit(us=True)) == Parts(
        "8,958 +/- 210 gal", (8958.0, 213.2)
    )
    assert give_or_take(Known(0.0, 0.0), volume_unit(us=True)).words == "0 gal"
    tons = mass_unit(us=True, kg=20_000.0)
    assert give_or_take(Known(37_340.0, 1180.0), tons).words == "41.2 +/- 2.6 tons"
    assert give_or_take(Known(9117.0, 142.0), tons).words == "10.05 +/- 0.31 tons"


def test_a_picture_looks_the_same_without_the_page_s_style(report):
    """What prints a page to PDF gives pictures no style from outside: each part has its own.

    Without it every line is filled with black.
    """
    svg = re.search(r"<svg.*?</svg>", html(report), re.DOTALL)
    assert svg is not None
    assert "class=" not in svg[0]
    for part in re.findall(r"<(?:path|polyline|polygon|circle|text)[^>]*>", svg[0]):
        assert 'fill="' in part
    assert 'points="' in svg[0]


def test_what_people_typed_runs_nowhere(report):
    """Markup is shown as it was typed, and a formula in a spreadsheet is text."""
    (tank,) = report.tanks
    nasty = [
        replace(tank.tests[0], entered="<script>alert(1)</script>"),
        replace(tank.tests[0], entered='=HYPERLINK("//x")'),
    ]
    made = replace(report, tanks=[replace(tank, tests=nasty)])
    page = html(made)
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    book = load_workbook(io.BytesIO(FORMS[".xlsx"](made)))
    typed = [row[-1] for row in book["Hydrometer tests"].iter_rows(min_row=2)]
    assert [cell.data_type for cell in typed] == ["s", "s"]
    assert typed[1].value.startswith("'=")
    rows = sheets_of(FORMS[".csv"](made).decode())["Hydrometer tests"]
    assert rows[2][-1].startswith("'=")


def test_a_real_browser_shows_and_prints_it_without_asking_anybody(report, tmp_path):
    """Nothing is fetched, nothing sticks out on a small phone, and every figure is on paper."""
    write(report, tmp_path / "a.html")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=QUIETLY)
        page = browser.new_page(viewport={"width": 360, "height": 740})
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto((tmp_path / "a.html").as_uri())
        assert [url for url in asked if not url.startswith("file:")] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.locator("svg").count() == page.locator("figure").count() > 1
        drawn = page.locator("svg polyline").first.bounding_box()
        assert drawn is not None
        assert drawn["width"] > 200
        figure = page.locator("figure").first
        hidden = "one => one.scrollWidth - one.clientWidth"
        assert figure.evaluate(hidden) <= 0, "the night's end is seen without moving the picture"
        figure.click()
        assert figure.evaluate(hidden) > 300, "larger, to be moved"
        page.pdf(path=tmp_path / "b.pdf", format="Letter")
        browser.close()
    text = " ".join(page.extract_text() for page in PdfReader(tmp_path / "b.pdf").pages)
    for one in figures.figures(report):
        assert one.name in re.sub(r"\s+", " ", text)


def test_a_form_that_nobody_knows_is_refused_in_a_sentence(report, tmp_path):
    """And a folder that isn't there; neither leaves anything behind."""
    with pytest.raises(NoFile, match=r"\.html, \.pdf, \.csv, \.xlsx"):
        write(report, tmp_path / "a.doc")
    with pytest.raises(NoFile, match="can't be written"):
        write(report, tmp_path / "none" / "a.csv")
    assert list(tmp_path.iterdir()) == []
