"""Several depots on one page, and the reports that are kept: for everybody, on every screen."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal, NamedTuple

import pytest
import requests
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from brineward.config.settings import ReportSettings
from brineward.journal import Journal
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import AlarmState, Step
from checkout import ROOT
from journal.samples import alarm, reading
from pages.page_bench import PageBench, page_bench
from pages.page_visits import PHONE, chromium, photographed
from services import DEPOT

OTHER = "kettle-ridge"
SIZES = [PHONE, (768, 1024), (1440, 900)]


class Site(NamedTuple):
    """A page of two depots, a browser, and who may see both or one."""

    bench: PageBench
    browser: Browser
    yard: str
    dispatch: str

    def page(
        self,
        size: tuple[int, int] = PHONE,
        scheme: Literal["light", "dark"] = "light",
        cookie: str = "",
    ) -> Page:
        """A browser of its own on the front page."""
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme
        )
        context.add_cookies(
            [{"name": "brineward", "value": cookie or self.yard, "url": self.bench.base}]
        )
        page = context.new_page()
        page.goto(self.bench.base)
        return page


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Tern Hollow has an alarm; Kettle Ridge has none, and its one person is the yard lead."""
    folder = tmp_path_factory.mktemp("depots")
    smallest = (ROOT / "config" / "smallest.toml").read_text()
    kettle_ridge = smallest[smallest.index("[depots.kettle-ridge]") :]
    reports = folder / "reports"
    reports.mkdir()
    for name in ("night-2026-01-14.html", "week-2026-01-12.pdf", "season-2025-07-01.xlsx"):
        (reports / f"{DEPOT}-{name}").write_text("x")
    with (
        page_bench(folder, reports=ReportSettings(folder=reports), more=kettle_ridge) as bench,
        chromium() as browser,
    ):
        now = bench.clock.now()
        with Journal.open(bench.settings.journal.path) as journal:
            level = reading(0, 1.5, depot=OTHER)._replace(time=now - MINUTE, received=now - MINUTE)
            journal.commit([Step(level, ())])
        cookies = [bench.signed_in(one).cookies["brineward"] for one in ("yard", "dispatch")]
        yield Site(bench, browser, *cookies)


def test_each_depot_is_on_one_page_with_how_it_is(site: Site) -> None:
    """The name leads to its screen, the alarm stands by the depot that has it, and the way back
    is there."""
    page = site.page()
    expect(page.locator(".state")).to_have_count(2)
    first, second = page.locator(".state").all()
    expect(first).to_contain_text("1 alarm needs somebody.")
    expect(first).to_contain_text("TH12")
    expect(second).not_to_contain_text("TH12")
    second.get_by_role("link", name="Kettle Ridge").click()
    expect(page).to_have_url(f"{site.bench.base}/d/{OTHER}")
    expect(page.locator("main")).not_to_contain_text("TH12")
    page.get_by_role("link", name="Depots").click()
    expect(page.locator(".state")).to_have_count(2)
    page.context.close()


def test_the_list_is_live(site: Site) -> None:
    """An alarm of the other depot comes by itself, and the title says how grave it is."""
    page = site.page()
    second = page.locator(".state").nth(1)
    expect(second).to_contain_text("Kettle Ridge")
    now = site.bench.clock.now()
    raised = replace(alarm(depot=OTHER, number=3), time=now)
    seen = reading(0, 1.5, depot=OTHER)._replace(time=now, received=now)
    with Journal.open(site.bench.settings.journal.path) as journal:
        journal.commit([Step(seen, (raised,))])
    expect(second).to_contain_text("KR3")
    assert page.title().startswith("Act")
    gone = replace(raised, time=now + 1, before=raised.state, state=AlarmState.NORMAL)
    with Journal.open(site.bench.settings.journal.path) as journal:
        journal.commit([Step(seen._replace(time=now + 1), (gone,))])
    expect(second).not_to_contain_text("KR3")
    page.context.close()


def test_who_belongs_to_one_depot_sees_no_other(site: Site) -> None:
    """The front page is that depot's own screen, with no way to the other."""
    page = site.page(cookie=site.dispatch)
    expect(page.get_by_role("link", name="Take TH12")).to_be_visible()
    expect(page.get_by_role("link", name="Depots")).to_have_count(0)
    refused = page.goto(f"{site.bench.base}/d/{OTHER}")
    assert refused is not None
    assert refused.status == 404
    page.context.close()


@pytest.mark.parametrize("size", SIZES, ids=["phone", "tablet", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_list_and_the_kept_reports_are_for_everybody(
    site: Site, size: tuple[int, int], scheme: Literal["light", "dark"]
) -> None:
    """axe-core finds nothing serious, nothing is wider than the screen, each report is there."""
    page = site.page(size, scheme)
    for path, name in (("", "depots"), (f"/d/{DEPOT}/reports", "reports")):
        page.goto(site.bench.base + path)
        if name == "reports":
            expect(page.locator("a[href*='/reports/kept/']")).to_have_count(3)
        found = Axe().run(page).response["violations"]
        assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], name
        photographed(page, f"{name}-{size[0]}-{scheme}")
    page.context.close()


def test_what_is_live_is_of_ones_own_depots(site: Site) -> None:
    """The list's events say nothing of a depot to whom it is not for."""
    yard, dispatch = ({"brineward": one} for one in (site.yard, site.dispatch))
    for cookies, sees in ((yard, True), (dispatch, False)):
        with requests.get(
            f"{site.bench.base}/live", cookies=cookies, stream=True, timeout=10
        ) as live:
            first = next(live.iter_lines(decode_unicode=True))
        assert ("Kettle Ridge" in first) is sees
