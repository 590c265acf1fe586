"""A report as a file: its form follows from the ending of the file's name."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from brineward.export.whole_file import NoFile, whole_file
from brineward.reports import figures
from brineward.reports.cells import Single, volume_unit
from brineward.reports.contents import Report
from brineward.reports.page import html
from brineward.reports.tables import tables

_FORMULA: Final = tuple("=+-@\t\r")
_DATE_WIDTH: Final = 16

_Sheet = tuple[str, Sequence[str], Sequence[Sequence[Single]]]


def write(report: Report, path: Path) -> None:
    """Write the report to a file, whole or not at all.

    Raises: NoFile where its name ends in none of `.html`, `.pdf`, `.csv` or `.xlsx`, a library for
    it is missing, or the disk refuses.
    """
    make = FORMS.get(path.suffix.lower())
    if make is None:
        raise NoFile(f"{path.name} ends in none of {', '.join(FORMS)}: that says what to write")
    body = make(report)
    with whole_file(path) as file:
        file.write(body)


def _html(report: Report) -> bytes:
    return html(report).encode()


def _pdf(report: Report) -> bytes:
    try:
        from weasyprint import HTML  # noqa: PLC0415 - 50 MB that only a print needs
    except (ImportError, OSError) as why:
        raise NoFile(
            "a PDF needs brineward's extra 'print' and Debian's libpangoft2-1.0-0; or print the "
            ".html from a browser"
        ) from why
    made: bytes = HTML(string=html(report), url_fetcher=_fetch_nothing).write_pdf()
    return made


def _fetch_nothing(url: str, *_: object, **__: object) -> object:
    raise ValueError(f"a report fetches nothing, not {url[:60]}")


def _csv(report: Report) -> bytes:
    """All tables under one another, each under a line with its name."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([figures.heading(report)])
    writer.writerow([figures.stretch(report)])
    for name, columns, rows in _sheets(report):
        writer.writerow([])
        writer.writerow([name])
        writer.writerow(columns)
        writer.writerows([_plain(cell) for cell in row] for row in rows)
    return text.getvalue().encode()


def _xlsx(report: Report) -> bytes:
    """A sheet a table."""
    try:
        from openpyxl import Workbook  # noqa: PLC0415 - only a spreadsheet needs it
        from openpyxl.styles import Font  # noqa: PLC0415 - as above
        from openpyxl.utils import get_column_letter  # noqa: PLC0415 - as above
    except ImportError as why:
        raise NoFile("a spreadsheet needs brineward's extra 'files'; or write .csv") from why
    book = Workbook()
    first = True
    for name, columns, rows in _sheets(report):
        sheet = book.worksheets[0] if first else book.create_sheet()
        first = False
        sheet.title = name[:31]
        sheet.append(list(columns))
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        for row in rows:
            sheet.append([_dated(cell) for cell in row])
        for times in sheet.iter_rows(min_row=2):
            for cell in times:
                if isinstance(cell.value, datetime):
                    cell.number_format = "yyyy-mm-dd hh:mm"
        sheet.freeze_panes = "A2"
        for place, column in enumerate(columns):
            widest = max([len(column), *(_width(row[place]) for row in rows[:200])])
            sheet.column_dimensions[get_column_letter(place + 1)].width = min(60, widest + 2)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _width(cell: Single) -> int:
    return _DATE_WIDTH if isinstance(cell, datetime) else len(str(cell))


def _plain(cell: Single) -> str | float:
    """A text that a spreadsheet would take for a formula is quoted: people type what is in here.

    A time has its offset from UTC, which tells the hour that comes twice in autumn apart.
    """
    if isinstance(cell, datetime):
        return cell.isoformat(timespec="seconds")
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in _FORMULA and cell else cell


def _dated(cell: Single) -> str | float | datetime:
    """A spreadsheet's own times know no zone: they are of the depot's clock."""
    return cell.replace(tzinfo=None, microsecond=0) if isinstance(cell, datetime) else _plain(cell)


def _sheets(report: Report) -> list[_Sheet]:
    """Each table with one number a cell, so that columns can be added up."""
    totals: list[Sequence[Single]] = [(one.name, *one.numbers) for one in figures.figures(report)]
    found: list[_Sheet] = [("In sum", ("What", "How much", "Plus or minus", "Unit"), totals)]
    found += [(table.name, *table.apart()) for table in tables(report)]
    volume = f"Volume, {volume_unit(report.plan.us_units).name}"
    columns = ("Time", "Tank", volume, "Strength, %", "Low, %", "High, %")
    return [*found, ("Course", columns, list(figures.course_rows(report)))]


FORMS: Final[Mapping[str, Callable[[Report], bytes]]] = {
    ".html": _html,
    ".pdf": _pdf,
    ".csv": _csv,
    ".xlsx": _xlsx,
}
"""How a report is made, by what its file's name ends in."""
