"""Many small depots in one config, each with its own person and channel, and the other side of each
channel: an HTTP gateway, a mail server with TLS, a modem on a pseudo-terminal.

Each depot is a pump with its valve: running against it when it is shut is an alarm of its own, so
that many can be raised one after another without waiting for one to clear.
"""

import json
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from string import ascii_uppercase

import requests

from gateways import Answer as GatewayAnswer
from gateways import Asked, Gateway
from modems import FakeModem
from texts.test_channels_contract import Mailbox, mail_server

CHANNELS = ("http", "mail", "modem")
ON_DELAY_SECONDS = 1.0
"""The alarm's own delay in these configs."""
WORD = "open-sesame-47"
NUMBERS = {"http": "+15550100141", "mail": "+15550100142", "modem": "+15550100143"}
_MAIL = "yard@wexmoor.example"


_PLANT = f"""
[DEPOT.vessels.main]
kind = "main"
shape = "upright cylinder"
diameter = "2.40 m"
brim = "2.40 m"
[DEPOT.valves.hose-valve]
[DEPOT.pumps.pump]
draws_from = "main"
flow = "3.6 L/s"
valves = ["hose-valve"]
[DEPOT.sensors.pump-running]
measures = "running"
at = "pump"
on_change = true
every = "10 min"
[DEPOT.sensors.hose-valve-open]
measures = "open"
at = "hose-valve"
on_change = true
every = "10 min"
[DEPOT.alarms.closed-valve]
on_delay = "{ON_DELAY_SECONDS:g} s"
[DEPOT.alarms.dangers-unwatched]
enabled = false
"""


def short(place: int) -> str:
    """The letters of the depot at this place, from 0 to 675."""
    return ascii_uppercase[place // 26] + ascii_uppercase[place % 26]


def readings(place: int, sensor: str, value: int) -> list[tuple[str, bytes]]:
    """A switch of a depot says so now: topic and payload."""
    raw = json.dumps({"value": value, "time": time.time_ns() // 1_000_000}).encode()
    return [(f"brine/d{place}/{sensor}", raw)]


def calm(place: int) -> list[tuple[str, bytes]]:
    """The pump is stopped, and its valve is shut."""
    return [*readings(place, "hose-valve-open", 0), *readings(place, "pump-running", 0)]


def danger(place: int) -> list[tuple[str, bytes]]:
    """The pump runs, against its closed valve."""
    return readings(place, "pump-running", 1)


@dataclass
class Arrivals:
    """When which text arrived, by the first code in it."""

    texts: list[tuple[float, str]] = field(default_factory=list)
    """Real time in seconds, and the text."""

    def note(self, text: str) -> None:
        """It is here."""
        self.texts.append((time.time(), text))

    def first(self, code: str, *, words: str = "") -> float | None:
        """When a text with this code and these words arrived; None where none has."""
        its = re.compile(rf"\b{code}\b")
        return next((at for at, text in self.texts if its.search(text) and words in text), None)


class NotingGateway(Gateway):
    """A text gateway that notes when each text came."""

    def __init__(self, arrivals: Arrivals) -> None:
        super().__init__()
        self._arrivals = arrivals

    def take(self, asked: Asked) -> GatewayAnswer:
        """Note it."""
        self._arrivals.note(asked.json()["text"])
        return super().take(asked)


class _NotingList(list[tuple[str, str]]):
    def __init__(self, arrivals: Arrivals) -> None:
        super().__init__()
        self._arrivals = arrivals

    def append(self, one: tuple[str, str]) -> None:
        super().append(one)
        self._arrivals.note(bytes.fromhex(one[1]).decode("utf-16-be"))


class _NotingMails(list[bytes]):
    def __init__(self, arrivals: Arrivals) -> None:
        super().__init__()
        self._arrivals = arrivals

    def append(self, one: bytes) -> None:
        super().append(one)
        self._arrivals.note(one.decode("utf-8", "replace"))


@dataclass
class OtherSides:
    """The other side of every channel, what arrived there, and the config's tables for them."""

    arrivals: Arrivals
    tables: str
    modem: FakeModem
    replies_port: int

    def reply(self, channel: str, text: str) -> None:
        """Somebody texts back by the way that the text came by."""
        number = NUMBERS[channel]
        if channel == "modem":
            self.modem.arrive(f"{number}|{text}")
            return
        with requests.Session() as session:
            session.trust_env = False
            answer = session.post(
                f"http://127.0.0.1:{self.replies_port}/replies",
                json={"from": number, "text": text, "id": f"{text}-{time.time_ns()}"},
                headers={"Authorization": f"Bearer {WORD}"},
                timeout=10,
            )
        assert answer.status_code == 200, answer.text


@contextmanager
def other_sides(folder: Path, replies_port: int) -> Iterator[OtherSides]:
    """All of them, started; they end with the context."""
    arrivals = Arrivals()
    with (
        NotingGateway(arrivals) as gateway,
        mail_server(folder) as (mail, box, _),
        FakeModem() as modem,
    ):
        assert isinstance(box, Mailbox)
        box.mails = _NotingMails(arrivals)
        modem.sent = _NotingList(arrivals)
        (folder / "word").write_text(WORD)
        tables = f"""
[channels.http]
kind = "http"
url = "{gateway.url}"
body = "json"
[channels.http.fields]
to = "{{address}}"
text = "{{body}}"
[channels.mail]
kind = "mail"
host = "127.0.0.1"
port = {mail.port}
from = "brineward@wexmoor.example"
username = "brineward"
password = {{ file = "{folder / "secret"}" }}
ca_file = "{folder / "ca.pem"}"
[channels.modem]
kind = "modem"
port = "{modem.port}"
mode = "text"
[replies]
kind = "bearer"
secret = {{ file = "{folder / "word"}" }}
port = {replies_port}
id = "id"
"""
        yield OtherSides(arrivals, tables, modem, replies_port)


def write_config(folder: Path, broker: int, sides: OtherSides, channel_of: list[str]) -> Path:
    """A config of one depot for each of these channels, in order."""
    folder.mkdir(parents=True, exist_ok=True)
    parts = [
        f'[link]\nhost = "127.0.0.1"\nport = {broker}\n[journal]\npath = "brineward.journal"\n',
        sides.tables,
    ]
    for channel in dict.fromkeys(channel_of):
        mail = f'mail = "{_MAIL}"\n' if channel == "mail" else ""
        parts.append(
            f'[people.{channel}]\nname = "By {channel}"\nchannel = "{channel}"\n'
            f'number = "{NUMBERS[channel]}"\n{mail}'
        )
    for place, channel in enumerate(channel_of):
        parts.append(
            f'[depots.d{place}]\nname = "Depot {place}"\nshort = "{short(place)}"\n'
            f'time_zone = "America/Chicago"\non_call = ["{channel}"]\n'
            + _PLANT.replace("DEPOT", f"depots.d{place}")
        )
    file = folder / "brineward.toml"
    file.write_text("\n".join(parts))
    return file
