"""Reports that the schedule has written, listed and opened; nothing else of the disk."""

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.settings import ReportSettings
from brineward.service.reporting import Reporting
from pages.page_bench import PageBench, page_bench
from services import DEPOT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the reports are."""
    made = tmp_path / "reports"
    made.mkdir()
    return made


@pytest.fixture
def bench(tmp_path: Path, folder: Path) -> Iterator[PageBench]:
    """A page whose config has `[reports]`."""
    with page_bench(tmp_path, reports=ReportSettings(folder=folder)) as built:
        yield built


def _url(bench: PageBench, name: str) -> str:
    return f"{bench.depot}/reports/kept/{name}"


def test_they_are_listed_the_newest_first_by_kind(bench: PageBench, folder: Path) -> None:
    """Nights before weeks, each kind's newest first, with its form; another depot's and other
    files are not there, nor is a heading where none was written."""
    yard = bench.signed_in()
    assert "As they were written" not in yard.get(f"{bench.depot}/reports", timeout=10).text
    for name in (
        "week-2026-01-05.html",
        "week-2026-01-12.pdf",
        "night-2026-01-14.html",
        "season-2025-07-01.xlsx",
        "month-2026-13-01.html",
        "decade-2026-01-01.html",
    ):
        (folder / f"{DEPOT}-{name}").write_text("x")
    (folder / "kettle-ridge-week-2026-01-12.html").write_text("x")
    page = yard.get(f"{bench.depot}/reports", timeout=10).text
    kept = page.split("As they were written")[1]
    in_order = [
        ">Night of Wed 14 January 2026<",
        ">Week from Mon 12 January 2026, PDF<",
        ">Week from Mon 5 January 2026<",
        ">Season 2025-26, spreadsheet<",
    ]
    places = [kept.index(one) for one in in_order]
    assert places == sorted(places)
    assert kept.count("/reports/kept/") == 4


@pytest.mark.parametrize(
    ("form", "kind", "shown"),
    [
        ("html", "text/html; charset=utf-8", "inline"),
        ("csv", "text/csv; charset=utf-8", "attachment"),
        (
            "xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            "attachment",
        ),
        ("pdf", "application/pdf", "inline"),
    ],
)
def test_each_form_is_served_as_the_service_wrote_it(
    bench: PageBench, folder: Path, form: str, kind: str, shown: str
) -> None:
    """By the schedule's own hand, byte for byte, under its type, with nothing that may run."""
    pytest.importorskip({"xlsx": "openpyxl", "pdf": "weasyprint"}.get(form, "csv"))
    settings = bench.settings
    wanted = ReportSettings(folder=folder, periods=("week",), form=form)
    making = Reporting(replace(settings, reports=wanted), wanted, MachineClock())
    [written] = making.make_due(settings.depots[DEPOT])
    yard = bench.signed_in()
    listed = yard.get(f"{bench.depot}/reports", timeout=10).text
    assert f'href="/d/{DEPOT}/reports/kept/{written.name}"' in listed
    answer = yard.get(_url(bench, written.name), timeout=10)
    assert answer.status_code == 200
    assert answer.content == written.read_bytes()
    assert answer.headers["content-type"] == kind
    assert answer.headers["content-disposition"] == f'{shown}; filename="{written.name}"'
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert "script-src" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_nothing_but_a_report_of_the_folder_is_reached(
    bench: PageBench, folder: Path, tmp_path: Path
) -> None:
    """Not by dots, links, folders or pipes, not of another depot, not without a session."""
    secret = tmp_path / "secret.html"
    secret.write_text("<p>secret</p>")
    own, week = f"{DEPOT}-week-2026-01-05.html", f"{DEPOT}-week-2026-01-12.html"
    (folder / own).symlink_to(secret)
    (folder / week).mkdir()
    os.mkfifo(folder / f"{DEPOT}-week-2026-01-19.html")
    (folder / "kettle-ridge-week-2026-01-12.html").write_text("secret")
    (folder / "notes.html").write_text("secret")
    yard = bench.signed_in()
    for name in (
        own,
        week,
        f"{DEPOT}-week-2026-01-19.html",
        f"{DEPOT}-week-2026-01-26.html",
        "kettle-ridge-week-2026-01-12.html",
        "notes.html",
        "..%2fsecret.html",
        "%2e%2e/secret.html",
        f"..%2freports%2f{own}",
        f"{DEPOT}-week-2026-01-05.html%00",
        f"{DEPOT}-week-2026-01-05.html%0a",
        f"x%2f{own}",
        "%2fetc%2fpasswd",
        f"{DEPOT}-week-٢٠٢٦-01-05.html",
    ):
        answer = yard.get(_url(bench, name), timeout=10)
        assert answer.status_code == 404, name
        assert "secret" not in answer.text
    (folder / f"{DEPOT}-week-2025-01-06.html").write_text("whole")
    good = _url(bench, f"{DEPOT}-week-2025-01-06.html")
    assert yard.get(good, timeout=10).text == "whole"
    assert bench.stranger().get(good, timeout=10).status_code == 401


def test_a_folder_that_is_not_there_yet_is_no_trouble(bench: PageBench, folder: Path) -> None:
    """Before the first report is written the page has its own list alone."""
    folder.rmdir()
    yard = bench.signed_in()
    assert yard.get(f"{bench.depot}/reports", timeout=10).status_code == 200
    name = f"{DEPOT}-week-2026-01-12.html"
    assert yard.get(_url(bench, name), timeout=10).status_code == 404
