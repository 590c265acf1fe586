"""A heartbeat to a place where its absence is noticed: sent only after a self-test of everything,
from a reading that was committed to a channel by which texts can leave.

A brineward that has stopped looks like a quiet night; one whose heartbeat is missing does not.
"""

import logging
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import orjson
import requests
import urllib3

from brineward.clock import Clock
from brineward.config.channel_checks import web_address
from brineward.config.channel_kinds import HeartbeatSettings, MailChannel, ModemChannel
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import Channel, HttpChannel, Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.link.state_topic import KeptTopic
from brineward.readings.instants import SECOND, Instant
from brineward.records import Records
from brineward.records.service import ServiceRow
from brineward.texts.deadlines import Deadline, DeadlineAdapter

_LOG = logging.getLogger(__name__)

BEAT_WITHIN: Final = 30 * SECOND
"""The service says each ten seconds that reader and sender go round."""
_FIRST_AFTER_SECONDS: Final = 10.0
_AHEAD: Final = 300 * SECOND
_REACHED_WITHIN_SECONDS: Final = 5.0
_MAIL_PORTS: Final = {"starttls": 587, "implicit": 465, "none": 25}


class Heartbeat:
    """Tests and calls in its own thread; without a `[heartbeat]` it does nothing."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._settings, self._clock = settings, clock
        self._heart = settings.heartbeat
        self._stop = threading.Event()
        self._said: str | None = None
        self._thread: threading.Thread | None = None
        self._topic: KeptTopic | None = None
        if self._heart is not None and self._heart.topic is not None:
            self._topic = KeptTopic(settings.link, self._heart.topic, gone=b'{"value": 0}')

    def start(self) -> None:
        """Begin."""
        if self._heart is not None:
            self._thread = threading.Thread(
                target=self._run, args=(self._heart,), name="heartbeat", daemon=True
            )
            self._thread.start()

    def stop(self) -> None:
        """No more signs; the topic says so."""
        self._stop.set()
        if self._thread is not None and self._heart is not None:
            self._thread.join(2 * self._heart.answer_timeout_seconds)
        if self._topic is not None:
            self._topic.stop()

    def _run(self, heart: HeartbeatSettings) -> None:
        self._clock.wait(self._stop, min(_FIRST_AFTER_SECONDS, heart.every_seconds))
        while not self._stop.is_set():
            self._say(self.beat(heart))
            self._clock.wait(self._stop, heart.every_seconds)

    def beat(self, heart: HeartbeatSettings) -> str:
        """Test, and give the sign where all is well; why it was not given, or empty."""
        why = self_test(self._settings, self._clock.now())
        if why:
            return f"no heartbeat is sent: {why}"
        troubles = []
        if heart.url is not None:
            troubles.append(call(heart, self._clock))
        if self._topic is not None:
            reading = {"value": 1, "time": self._clock.now()}
            troubles.append(self._topic.set(orjson.dumps(reading), heart.answer_timeout_seconds))
        found = [one for one in troubles if one]
        return f"the heartbeat did not arrive: {'; '.join(found)}" if found else ""

    def _say(self, sentence: str) -> None:
        """Once, and again when it has changed."""
        if sentence == self._said:
            return
        if sentence:
            _LOG.error("heartbeat: %s", sentence)
        elif self._said:
            _LOG.warning("the heartbeat is sent again")
        self._said = sentence


def self_test(settings: Settings, now: Instant) -> str:
    """Is a reading committed, the engine alive, and a way open for texts? Why not; else empty."""
    try:
        with Journal.open(settings.journal.path, read_only=True) as journal:
            records = Records(journal.handle)
            why = _alive(records.service(), now) or _committed(settings, records, now)
    except (DiskTrouble, JournalUnusable) as trouble:
        return f"the journal can't be read: {trouble}"
    return why or _no_way_out(settings)


def _alive(service: ServiceRow, now: Instant) -> str:
    if service.beat is None or now - service.beat > BEAT_WITHIN:
        return "the service makes no progress"
    return "" if service.link_up else "there is no link to the broker"


def _committed(settings: Settings, records: Records, now: Instant) -> str:
    """Of each depot that is watched, one reading must be younger than its first silence."""
    for plan in settings.depots.values():
        if not plan.sensors:
            continue
        within = max(sensor.silent_after_seconds for sensor in plan.sensors.values()) * SECOND
        latest = records.readings.latest(plan.id, now + _AHEAD)
        newest = max((one.time for one in latest.values()), default=0)
        if now - newest > within:
            return f"no reading of {plan.name} was committed lately"
    return ""


def _no_way_out(settings: Settings) -> str:
    """One channel of who is on call must be within reach, of those that can be tried."""
    on_call = {person for plan in settings.depots.values() for person in plan.duty.on_call}
    names = {name for one in on_call for name in settings.people[one].channels}
    tried = [
        reaches for name in sorted(names) if (reaches := _way(settings.channels[name])) is not None
    ]
    if not tried or any(reaches() for reaches in tried):
        return ""
    return "no channel of anybody on call can be reached"


def _way(channel: Channel) -> Callable[[], bool] | None:
    """How to see whether it can be reached; None where that can't be seen."""
    match channel:
        case HttpChannel():
            parts = urlsplit(channel.url)
            port = parts.port or (443 if parts.scheme == "https" else 80)
            host = parts.hostname or ""
            return lambda: _connects(host, port)
        case MailChannel():
            mail_port = channel.port or _MAIL_PORTS[channel.tls]
            mail_host = channel.host
            return lambda: _connects(mail_host, mail_port)
        case ModemChannel():
            device = Path(channel.port)
            return device.exists
        case _:
            return None


def _connects(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), _REACHED_WITHIN_SECONDS):
            return True
    except OSError:
        return False


def call(heart: HeartbeatSettings, clock: Clock) -> str:
    """Call the address, within the answer timeout; empty, or why it did not arrive.

    Never with the address: whoever has it can fake the sign.
    """
    if heart.url is None:
        return ""
    try:
        url = web_address(read_secret(heart.url))
    except SecretMissing as why:
        return str(why)
    except ValueError:
        return "its address is no web address"
    limit = heart.answer_timeout_seconds
    with Deadline(limit) as deadline, requests.Session() as session:
        adapter = DeadlineAdapter(deadline)
        session.mount("http://", adapter)
        session.mount("https://", adapter)
        try:
            with session.get(url, timeout=limit, allow_redirects=False, stream=True) as answer:
                status = 0 if deadline.expired else answer.status_code
        except (requests.RequestException, urllib3.exceptions.HTTPError, OSError) as error:
            late = deadline.expired
            return (
                f"no answer within {limit:g} s" if late else f"no answer ({type(error).__name__})"
            )
    if not status:  # cut off in the middle of its headers
        return f"no answer within {limit:g} s"
    return "" if 200 <= status <= 299 else f"it answered {status}"
