"""A test entered in the browser makes the strength surer, and every open page shows it."""

import re
import time
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from brineward.commands.replay_into import ReplayedJournal
from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.physics.hydrometer import specific_gravity
from brineward.readings.entries import LinkChanged
from brineward.readings.values import Reading
from brokers import Mosquitto, mosquitto
from pages.page_visits import chromium, config_with_page, opened, photographed
from services import CALM, DEPOT, depot, now_ms, running

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

_SAID = re.compile(r"([\d.]+)\s%, ([\d.]+) to\s([\d.]+)")
HOUR_MS = 3_600_000


def _stood(config: Path, hours: int) -> None:
    """The journal of a watch of so many hours over a tank at rest, up to half a minute ago."""
    settings, now = load_settings(config), now_ms()
    engine = Engine(settings.depots)
    with ReplayedJournal(settings.journal.path, engine) as journal:
        start = now - hours * HOUR_MS
        up = LinkChanged(time=start - 1000, up=True)
        journal.add(up, engine.step(up))
        for at in range(start, now - 30_000, 10_000):
            for sensor, value in CALM.items():
                entry = Reading(DEPOT, sensor, at, value, at)
                journal.add(entry, engine.step(entry))


def _strength(page: Page) -> tuple[float, float, float]:
    """What the first screen says of the main tank: the strength and its interval, in percent."""
    found = _SAID.search(page.locator("#live").inner_text())
    assert found is not None, page.locator("#live").inner_text()
    value, low, high = (float(one) for one in found.groups())
    return value, low, high


def test_a_test_entered_narrows_the_interval_on_every_page(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """By form, on a phone: within seconds that page and a second one show a narrower interval, the
    test lies in it, and the service's own next strength is calibrated."""
    config, base = config_with_page(tmp_path / "s", mosquitto.port)
    _stood(config, 3)
    with running(config) as service, depot(mosquitto.port) as source, chromium() as browser:
        source.rounds(2.0)
        one = opened(browser, base, config.parent).new_page()
        other = opened(browser, base, config.parent, size=(1440, 900), scheme="dark").new_page()
        for page in (one, other):
            page.goto(base)
            expect(page.locator("#live")).to_contain_text(re.compile(_SAID.pattern))
        value, low, high = _strength(other)
        photographed(one, "phone-before-the-test")
        page = one
        page.goto(f"{base}/d/{DEPOT}/tests")
        mark = round(specific_gravity(value / 100.0, CALM["main-temperature"]), 4)
        page.get_by_label("Reading").fill(f"{mark:.4f}")
        page.get_by_label("Sample's temperature").fill("18")
        page.get_by_role("button", name="See what it shows").click()
        page.get_by_role("button", name="Yes, enter").click()
        expect(page.locator(".said")).to_contain_text("the probe is set right by it")
        photographed(page, "phone-test-entered")
        page.goto(base)
        ends = time.monotonic() + 60.0
        narrower = []
        while time.monotonic() < ends and len(narrower) < 2:
            source.rounds(1.0)
            shown = [_strength(each) for each in (one, other)]
            narrower = [s for s in shown if s[2] - s[1] < 0.8 * (high - low)]
        assert len(narrower) == 2, (shown, (low, high))
        for now_low, now_high in ((s[1], s[2]) for s in narrower):
            assert now_low <= value <= now_high
        photographed(one, "phone-after-the-test")
        assert service.ask(lambda r: r.acts.between(DEPOT, kind="test"))
