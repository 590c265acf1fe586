"""The page's server: TLS by own files, an address that is taken, and the command by itself."""

import os
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import requests
import trustme

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import PageSettings
from brineward.http_server.door import CannotServe
from brineward.http_server.server import HttpServer
from brineward.journal import Journal
from brineward.page.errors import NoKey
from brineward.page.sessions import key_beside
from brineward.service.paging import page_door
from pages.page_bench import page_bench
from services import write_config


def test_it_speaks_tls_by_own_files(tmp_path: Path) -> None:
    """A browser that trusts their authority gets in, its cookie is for TLS alone; HTTP fails."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(tmp_path / "ca.pem"))
    issued = authority.issue_cert("127.0.0.1")
    issued.cert_chain_pems[0].write_to_path(str(tmp_path / "page.pem"))
    issued.private_key_pem.write_to_path(str(tmp_path / "page.key"))
    files = PageSettings(certificate_file=tmp_path / "page.pem", key_file=tmp_path / "page.key")
    with page_bench(tmp_path, files) as bench:
        secure = bench.base.replace("http:", "https:")
        answer = requests.get(f"{secure}/sign-in", verify=str(tmp_path / "ca.pem"), timeout=10)
        assert answer.status_code == 200
        assert "Secure" in answer.headers["set-cookie"]
        assert "strict-transport-security" in answer.headers
        with pytest.raises(requests.RequestException):
            requests.get(f"{bench.base}/sign-in", timeout=10)


def test_what_stands_in_its_way_is_a_sentence(tmp_path: Path) -> None:
    """A port that is taken, a certificate that is none, a key that is cut short."""
    config = write_config(tmp_path, 1883)
    settings, clock = load_settings(config), MachineClock()
    taken = socket.create_server(("127.0.0.1", 0))
    server = HttpServer([page_door(settings, PageSettings(), clock, port=taken.getsockname()[1])])
    with pytest.raises(CannotServe, match=r"can't listen on 127\.0\.0\.1"):
        server.start()
    taken.close()
    (tmp_path / "none.pem").write_text("nothing")
    none = replace(
        PageSettings(), certificate_file=tmp_path / "none.pem", key_file=tmp_path / "none.pem"
    )
    with pytest.raises(CannotServe, match="certificate"):
        HttpServer([page_door(settings, none, clock, port=0)]).start()
    settings.journal.path.with_name("brineward.journal.page-key").write_bytes(b"short")
    with pytest.raises(NoKey, match="holds no key"):
        key_beside(settings.journal.path)


@pytest.mark.parametrize(
    ("table", "wrong"),
    [
        ('look = ["nobody"]', "nobody"),
        ('proxy_header = "Remote-User"', "anybody could send it"),
        ('certificate_file = "a.pem"', "one of certificate_file and key_file"),
        ("port = 0", "port"),
        ('served_by = "me"', '"service" or "unit"'),
        (
            'served_by = "unit"\nport = 8091\n[replies]\nsecret = { env = "PATH" }',
            "listens for replies",
        ),
        ('hosts = "x"', "hosts"),
    ],
)
def test_the_table_is_refused_with_a_sentence(tmp_path: Path, table: str, wrong: str) -> None:
    """Each mistake of [page] names its key, on its line."""
    config = write_config(tmp_path, 1883)
    config.write_text(f"{config.read_text()}\n[page]\n{table}\n")
    with pytest.raises(ConfigMistakes, match=wrong) as found:
        load_settings(config)
    assert "page" in str(found.value)


def test_the_command_serves_a_journal_by_itself(tmp_path: Path) -> None:
    """Beside the bench's own: it says where it is, lets nobody in, and ends when it is told to."""
    with page_bench(tmp_path) as bench:
        process = subprocess.Popen(
            [sys.executable, "-m", "brineward", "page", str(bench.settings.file), "--port", "0"],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        assert process.stdout is not None
        said = process.stdout.readline()
        assert said.startswith("The page is at http://127.0.0.1:"), said
        base = said.split()[-1]
        assert requests.get(f"{base}sign-in", timeout=10).status_code == 200
        assert requests.get(f"{base}d/tern-hollow", timeout=10).status_code == 401
        # Both servers have the one key: who is signed in at one is at the other.
        cookie = bench.signed_in().cookies["brineward"]
        page = requests.get(f"{base}d/tern-hollow", cookies={"brineward": cookie}, timeout=10)
        assert "TH12" in page.text
        process.send_signal(signal.SIGTERM)
        assert process.wait(15) == 0


def test_a_copy_is_shown_as_it_was_to_look_only(tmp_path: Path) -> None:
    """Without signing in, by the copy's own time; nothing can be done, and a page whose name was
    made to lead here gets nothing."""
    with page_bench(tmp_path) as bench:
        copy = tmp_path / "copy.journal"
        with Journal.open(bench.settings.journal.path, read_only=True) as journal:
            journal.copying.backup(copy)
        command = [sys.executable, "-m", "brineward", "page", str(bench.settings.file)]
        process = subprocess.Popen(
            [*command, "--copy", str(copy), "--port", "0"],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        try:
            assert process.stdout is not None
            base = process.stdout.readline().split()[-1].rstrip("/")
            shown = requests.get(f"{base}/d/tern-hollow", timeout=10)
            assert "TH12" in shown.text
            assert "Take TH12" not in shown.text
            take = f"{base}/d/tern-hollow/alarm/12/take"
            assert requests.post(take, data={"token": "x"}, timeout=10).status_code == 403
            elsewhere = {"host": "depot.example.com"}
            led = requests.get(f"{base}/d/tern-hollow", headers=elsewhere, timeout=10)
            assert led.status_code == 403
        finally:
            process.terminate()
            process.wait(15)
