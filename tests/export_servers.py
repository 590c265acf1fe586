"""Real servers of Debian's packages for tests of the export, and one that answers as it is told."""

import gzip
import json
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import requests

INFLUXD = shutil.which("influxd")
VICTORIA = shutil.which("victoria-metrics")


Answering = Callable[[list[str]], tuple[int, dict[str, str], bytes] | str]


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


class Server:
    """A server that a test starts, kills and starts again on the same files and port."""

    api = 2
    alive = ""
    keeps_after_seconds = 1.0
    """So long after an answer it surely has it on the disk; influxd has it before it answers."""
    rounds_by = 0.0
    """By how much, relatively, the server itself rounds what it keeps."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.port = folder, free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        """What is run."""
        raise NotImplementedError

    def start(self) -> None:
        """Start it and wait until it answers."""
        self.process = subprocess.Popen(
            self.command(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        end = time.monotonic() + 30
        while True:
            try:
                if requests.get(self.url + self.alive, timeout=1).status_code < 300:
                    return
            except requests.RequestException:
                assert time.monotonic() < end, "the server does not answer"
            time.sleep(0.05)

    def readings(self) -> tuple[dict[tuple[str, int], float], int]:
        """The value of each sensor and time, and how many rows were given for them."""
        raise NotImplementedError

    def kill(self) -> None:
        """End it with -9."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None


class Victoria(Server):
    """VictoriaMetrics, which takes the writes of the v2 API."""

    alive = "/health"
    keeps_after_seconds = 12.0  # 7.6 s was the longest that was measured; the service waits 30
    rounds_by = 1e-9  # it packs numbers as decimals: 1e-12 was measured; influxd keeps every bit

    def command(self) -> list[str]:
        """See the docs of the export."""
        return [
            str(VICTORIA), f"-storageDataPath={self.folder}", "-retentionPeriod=100y",
            f"-httpListenAddr=127.0.0.1:{self.port}", "-dedup.minScrapeInterval=1ms",
        ]  # fmt: skip

    def readings(self) -> tuple[dict[tuple[str, int], float], int]:
        """The value of each sensor and time, and how many rows were given for them."""
        requests.get(f"{self.url}/internal/force_flush", timeout=10)
        answer = requests.get(
            f"{self.url}/api/v1/export",
            params={"match[]": '{__name__="reading_value"}'},
            timeout=30,
        )
        found: dict[tuple[str, int], float] = {}
        rows = 0
        for line in answer.text.splitlines():
            series = json.loads(line)
            sensor = series["metric"]["sensor"]
            for at, value in zip(series["timestamps"], series["values"], strict=True):
                found[sensor, at] = value
                rows += 1
        return found, rows


class Influx1(Server):
    """InfluxDB 1.6.7."""

    api = 1
    alive = "/ping"

    def command(self) -> list[str]:
        """With everything on loopback."""
        config = self.folder / "influxd.conf"
        config.write_text(
            f'reporting-disabled = true\nbind-address = "127.0.0.1:{free_port()}"\n'
            f'[meta]\ndir = "{self.folder}/meta"\n'
            f'[data]\ndir = "{self.folder}/data"\nwal-dir = "{self.folder}/wal"\n'
            f'[http]\nbind-address = "127.0.0.1:{self.port}"\nlog-enabled = false\n'
        )
        return [str(INFLUXD), "-config", str(config)]

    def start(self) -> None:
        """Start it, with its database."""
        super().start()
        self.query("CREATE DATABASE brine")

    def query(self, text: str) -> list[dict[str, object]]:
        """Ask in InfluxQL; the series of the answer."""
        answer = requests.post(
            f"{self.url}/query", params={"db": "brine", "epoch": "ms"}, data={"q": text}, timeout=30
        )
        found: list[dict[str, object]] = answer.json()["results"][0].get("series", [])
        return found

    def readings(self) -> tuple[dict[tuple[str, int], float], int]:
        """The value of each sensor and time, and how many rows were given for them."""
        found: dict[tuple[str, int], float] = {}
        rows = 0
        for series in self.query("SELECT value FROM reading GROUP BY sensor"):
            for at, value in series["values"]:  # type: ignore[attr-defined]
                found[series["tags"]["sensor"], at] = float(value)  # type: ignore[index]
                rows += 1
        return found, rows


class Told:
    """A server that answers each write as the test says."""

    def __init__(self) -> None:
        self.written: list[str] = []
        self.asked = 0
        self.paths: list[str] = []
        self.headers: list[dict[str, str]] = []
        self.connections: list[socket.socket] = []
        self.closes = ""
        """Is each connection closed after its answer: `said`, or `silently`?"""
        self.answer: Answering = lambda lines: (204, {}, b"")
        """Status, headers and body for these lines; or `cut`, or `hang`."""

    def die(self) -> None:
        """As if killed and started again at once: what was written is lost, connections end."""
        self.written.clear()
        while self.connections:
            with suppress(OSError):
                self.connections.pop().shutdown(socket.SHUT_RDWR)


@contextmanager
def told() -> Iterator[tuple[Told, str]]:
    """A server that is told its answers, and its address."""
    state = Told()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if state.connections.count(self.connection) == 0:
                state.connections.append(self.connection)
            if self.headers.get("Content-Encoding") == "gzip":
                body = gzip.decompress(body)
            lines = body.decode().split("\n")
            state.asked += 1
            state.paths.append(self.path)
            state.headers.append(dict(self.headers))
            said = state.answer(lines)
            if said == "hang":
                time.sleep(1.5)
            if isinstance(said, str):
                self.close_connection = True
                return
            status, headers, answer = said
            closes = state.closes  # a test may change it once it has the answer
            if status == 204:
                state.written += lines
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            if closes == "said":
                self.send_header("Connection", "close")
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)
            self.close_connection = bool(closes)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield state, f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
