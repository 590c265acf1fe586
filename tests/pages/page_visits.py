"""A service with its page for tests, people who sign in to it, and browsers that look at it."""

import json
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import requests
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from brineward.link.embedded import free_port
from brokers import until
from services import write_config

PHONE = (360, 740)
YARD, DISPATCH = "+1 555 0141", "+1 555 0140"
_TOKEN = re.compile(r'name="token" value="([^"]+)"')


def config_with_page(
    folder: Path, broker_port: int, more: str = "", next_after: str = "10 min"
) -> tuple[Path, str]:
    """A config whose texts go to a file beside it, and where its page will be."""
    config = write_config(folder, broker_port, next_after=next_after)
    port = free_port()
    config.write_text(f"{config.read_text()}\n[page]\nport = {port}\n{more}\n")
    return config, f"http://127.0.0.1:{port}"


def texted(folder: Path) -> list[str]:
    """Every text so far."""
    file = folder / "phone.jsonl"
    lines = file.read_text().splitlines() if file.exists() else []
    return [json.loads(line)["body"] for line in lines]


def code_texted(folder: Path, after: int = 0) -> str:
    """The newest code for signing in, of the texts after so many; waits for it."""

    def found() -> str:
        codes = [m[1] for body in texted(folder)[after:] if (m := re.match(r"(\d{6}) is", body))]
        return codes[-1] if codes else ""

    return str(until(found, 20, "a code by text"))


def token_in(html: str) -> str:
    """The first form's token."""
    found = _TOKEN.search(html)
    assert found is not None, html[:500]
    return found[1]


def signed_in(base: str, folder: Path, number: str = YARD) -> requests.Session:
    """Somebody who is signed in, without a browser."""
    session = requests.Session()
    before = len(texted(folder))
    token = token_in(session.get(f"{base}/sign-in", timeout=10).text)
    form = {"token": token, "number": number}
    page = session.post(f"{base}/sign-in", data=form, timeout=10)
    assert page.url == f"{base}/sign-in/code", page.text
    form = {"token": token_in(page.text), "code": code_texted(folder, before)}
    page = session.post(f"{base}/sign-in/code", data=form, timeout=10)
    assert page.status_code == 200
    assert page.url == f"{base}/", page.text
    return session


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's browser; the test is skipped where it is not installed."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("needs a browser: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=program,
            args=[
                "--no-sandbox",
                "--disable-dev-shm-usage",
                "--disable-gpu",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--no-first-run",
            ],
        )
        try:
            yield browser
        finally:
            browser.close()


def opened(
    browser: Browser, base: str, folder: Path, *, size=PHONE, scheme="light", script=True
) -> BrowserContext:
    """A browser of its own, signed in as the yard lead."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme=scheme,
        java_script_enabled=script,
    )
    cookie = signed_in(base, folder).cookies["brineward"]
    context.add_cookies([{"name": "brineward", "value": cookie, "url": base}])
    return context


def photographed(page: Page, name: str) -> None:
    """A picture for somebody to look at, where a folder for them is named."""
    folder = os.environ.get("BRINEWARD_PAGE_PICTURES")
    if folder:
        page.screenshot(path=f"{folder}/{name}.png")
