"""The page and the listener for replies: what stands in their way ends no watch."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
import requests
import trustme

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import PageSettings
from brineward.http_server.server import HttpServer
from brineward.readings.entries import ServiceTrouble
from brineward.service import kept_server
from brineward.service.kept_server import KeptServer
from brineward.service.paging import page_door
from brokers import Mosquitto, mosquitto, until
from gateways import free_port
from services import DEPOT, Running, depot, running, write_config

__all__ = ["mosquitto"]

AGAINST_CLOSED_VALVE = {"pump-running": 1.0, "hose-valve-open": 0.0}


@contextmanager
def held_port() -> Iterator[socket.socket]:
    """A port that another program listens on."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        yield taken


def with_tables(config: Path, page: int, replies: int) -> Path:
    """The config with a page and a listener for replies at these ports."""
    added = (
        f"\n[page]\nport = {page}\n[replies]\nport = {replies}\n"
        'secret = { env = "BRINEWARD_REPLIES" }\n'
    )
    config.write_text(config.read_text() + added)
    return config


def said_of_parts(service: Running) -> list[tuple[bool, str]]:
    """What the service has reported of its parts."""
    found = [one for one in service.entries() if isinstance(one, ServiceTrouble)]
    return [(one.present, one.sentence) for one in found if one.trouble == "part-stopped"]


def answers(address: str) -> bool:
    """Does anybody answer there?"""
    try:
        return requests.get(address, timeout=5).status_code < 500
    except requests.ConnectionError:
        return False


@pytest.mark.mosquitto
def test_a_port_that_is_taken_ends_no_watch(
    tmp_path: Path, mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The alarm is raised and texted, the replies are listened to, and it is reported that the page
    is not served; once the port is free the page answers, and that is reported too."""
    monkeypatch.setenv("BRINEWARD_REPLIES", "salt and water")
    replies = free_port()
    with held_port() as taken:
        page = taken.getsockname()[1]
        config = with_tables(
            write_config(tmp_path / "service", mosquitto.port), page=page, replies=replies
        )
        with depot(mosquitto.port) as source, running(config) as service:
            source.values |= AGAINST_CLOSED_VALVE
            source.rounds(3.0)
            service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm")
            texts = config.parent / "phone.jsonl"
            service.wait_for(texts.exists, "its text")
            assert answers(f"http://127.0.0.1:{replies}/replies")
            stopped = (True, "brineward: page stopped")
            service.wait_for(lambda: said_of_parts(service) == [stopped], "the report")
            assert f"page: can't listen on 127.0.0.1:{page}: Address already in use" in service.log
            taken.close()
            service.wait_for(lambda: answers(f"http://127.0.0.1:{page}/sign-in"), "the page")
            well = (False, "Every part of the service goes round.")
            service.wait_for(lambda: said_of_parts(service) == [stopped, well], "the good news")
            assert service.log.count("can't listen") == 1
            assert service.stop() == 0


@pytest.mark.mosquitto
def test_a_page_without_its_key_ends_no_watch(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """The key's file was cut short: nobody can sign in, and the depot is watched all the same."""
    config = write_config(tmp_path / "service", mosquitto.port)
    config.write_text(f"{config.read_text()}\n[page]\nport = {free_port()}\n")
    (config.parent / "brineward.journal.page-key").write_bytes(b"short")
    with depot(mosquitto.port) as source, running(config) as service:
        source.round()
        service.wait_for(lambda: len(service.readings()) == len(source.sent), "the readings")
        stopped = (True, "brineward: page stopped")
        service.wait_for(lambda: said_of_parts(service) == [stopped], "the report")
        assert "holds no key of 32 bytes" in service.log
        assert service.ask(lambda records: records.readings.span(DEPOT)) is not None


def test_a_certificate_is_read_once_it_can_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """One that is none is no end: it is said once, and with the right one the page speaks TLS."""
    monkeypatch.setattr(kept_server, "AGAIN_SECONDS", 0.05)
    settings, clock = load_settings(write_config(tmp_path, 1883)), MachineClock()
    files = replace(
        PageSettings(), certificate_file=tmp_path / "page.pem", key_file=tmp_path / "page.key"
    )
    for name in ("page.pem", "page.key"):
        (tmp_path / name).write_text("nothing")
    port = free_port()
    server = KeptServer(HttpServer([page_door(settings, files, clock, port=port)]), clock)
    server.start()
    try:
        assert not server.is_alive()
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
        issued = authority.issue_cert("127.0.0.1")
        issued.private_key_pem.write_to_path(str(tmp_path / "page.key"))
        issued.cert_chain_pems[0].write_to_path(str(tmp_path / "page.pem"))
        until(server.is_alive, 10.0, "the page")
        answer = requests.get(
            f"https://127.0.0.1:{port}/sign-in", verify=str(tmp_path / "ca.pem"), timeout=10
        )
        assert answer.status_code == 200
        assert server.went_round() is not None
        assert caplog.text.count("certificate or key can't be used") == 1
    finally:
        server.stop()
    assert not server.is_alive()


def test_a_stop_does_not_wait_for_the_next_try(tmp_path: Path) -> None:
    """While a port is taken the service can be stopped, and nothing is served afterwards."""
    settings, clock = load_settings(write_config(tmp_path, 1883)), MachineClock()
    with held_port() as taken:
        port = taken.getsockname()[1]
        door = page_door(settings, PageSettings(), clock, port=port)
        server = KeptServer(HttpServer([door]), clock)
        server.start()
        began = clock.monotonic_seconds()
        server.stop()
        assert clock.monotonic_seconds() - began < kept_server.AGAIN_SECONDS / 2
    assert not server.is_alive()
    assert not answers(f"http://127.0.0.1:{port}/sign-in")
