"""A page without a service: a journal with one alarm, and what people do left in its inbox."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import requests

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import PageSettings, ReportSettings, Settings
from brineward.http_server.server import HttpServer
from brineward.journal import Journal
from brineward.readings.entries import Answer, Entry, LinkChanged
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import Step
from brineward.service.paging import page_door
from brokers import until
from journal.samples import alarm, derived, reading, text
from pages.page_visits import DISPATCH, YARD, token_in
from services import DEPOT
from serving import SetClock

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"
NUMBERS = {"yard": YARD, "dispatch": DISPATCH}

_IN_PLACE = {
    "{depot}": DEPOT,
    "{number:int}": "12",
    "{act}": "take",
    "{kind}": "week",
    "{file}": f"{DEPOT}-week-2026-01-05.html",
    "{name}": "page.js",
}


def filled(path: str) -> str:
    """A route's path with something in each of its places."""
    for place, value in _IN_PLACE.items():
        path = path.replace(place, value)
    assert "{" not in path, path
    return path


@dataclass
class PageBench:
    """The page, and its journal."""

    settings: Settings
    base: str
    clock: SetClock
    paths: list[str]
    """Every path that there is, with something in each of its places."""

    @property
    def depot(self) -> str:
        """The first screen's address."""
        return f"{self.base}/d/{DEPOT}"

    def inbox(self) -> list[Entry]:
        """What waits for the service."""
        with Journal.open(self.settings.journal.path, read_only=True) as journal:
            return [entry for _, entry in journal.inbox.waiting(10_000)]

    def codes(self) -> list[str]:
        """Every code that is to be texted, in order."""
        answers = [one for one in self.inbox() if isinstance(one, Answer)]
        return [m[1] for one in answers if (m := re.match(r"(\d{6}) is your code", one.body))]

    def ask_code(self, session: requests.Session, number: str) -> requests.Response:
        """The first step of signing in; the second one's page."""
        token = token_in(session.get(f"{self.base}/sign-in", timeout=10).text)
        form = {"token": token, "number": number}
        return session.post(f"{self.base}/sign-in", data=form, timeout=10)

    def enter(self, session: requests.Session, page: str, code: str) -> requests.Response:
        """The second step."""
        form = {"token": token_in(page), "code": code}
        return session.post(f"{self.base}/sign-in/code", data=form, timeout=10)

    def stranger(self) -> requests.Session:
        """Somebody who is not signed in."""
        return requests.Session()

    def signed_in(self, person: str = "yard") -> requests.Session:
        """Somebody who is signed in."""
        session, before = requests.Session(), len(self.codes())
        page = self.ask_code(session, NUMBERS[person])
        until(lambda: len(self.codes()) > before, 10, "a code")
        assert self.enter(session, page.text, self.codes()[-1]).status_code == 200
        return session


@contextmanager
def page_bench(
    folder: Path,
    page: PageSettings | None = None,
    on_call: tuple[str, ...] = ("yard", "dispatch"),
    reports: ReportSettings | None = None,
    more: str = "",
) -> Iterator[PageBench]:
    """A page on a port of its own: TH12 is active, and nobody has it; `more` joins the config."""
    config = folder / "tern-hollow.toml"
    written = 'on_call = ["yard", "dispatch"]'
    assert written in EXAMPLE.read_text()
    config.write_text(
        EXAMPLE.read_text().replace(written, f"on_call = {json.dumps(on_call)}") + more
    )
    settings = replace(load_settings(config), reports=reports)
    now = MachineClock().now()
    with Journal.open(settings.journal.path) as journal:
        journal.signs_of_life.note(
            beat=now, pid=7, version="0.1.0", config_hash=settings.hash, started=now
        )
        level = reading(0, 1.2192)._replace(time=now - 4000, received=now - 4000)
        strength = derived(0, 0.2331, name="main-strength", low_95=0.2286, high_95=0.2371)
        raised = replace(alarm(unit="1"), time=now - 5 * MINUTE)
        journal.commit(
            [
                Step(LinkChanged(time=now - MINUTE, up=True), ()),
                Step(
                    level, (replace(strength, time=now - 4000), raised, replace(text(), time=now))
                ),
            ]
        )
    clock = SetClock()
    door = page_door(settings, page or PageSettings(), clock, port=0)
    server = HttpServer([door])
    server.start()
    try:
        paths = [filled(route.path) for route in door.app.app.routes]  # type: ignore[attr-defined]
        yield PageBench(settings, f"http://127.0.0.1:{server.port}", clock, paths)
    finally:
        server.stop()
