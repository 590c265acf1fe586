"""The link: a thread that holds the session with the broker, and a queue to take from."""

import logging
import socket
import threading
from collections import deque
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from types import TracebackType
from typing import Final

import orjson
from paho.mqtt.client import MQTTMessage

from brineward.clock import Clock, jittered
from brineward.config.secrets import SecretMissing
from brineward.config.settings import LinkSettings
from brineward.link.client import QOS, client_for, subscription
from brineward.link.connection import Connection, Noted
from brineward.link.inbox import Arrival, Inbox
from brineward.link.messages import Message, Token
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import rfc3339_from_instant

_LOG = logging.getLogger(__name__)

MOST_BYTES: Final = 8_000_000
"""So many bytes of payload may wait in the inbox before reading stops."""

_STEADY_SECONDS: Final = 10.0
"""A connection that lasted so long was a good one: the next wait is a short one again."""

_GOODBYE_SECONDS: Final = 3.0


class LinkFailed(Exception):
    """The network thread ended by a mistake in this program; the service must start anew."""


class Link:
    """Holds a persistent session with the broker and hands on what arrives.

    One worker thread takes, commits and acknowledges, in the order it took. Messages that are
    not acknowledged come again after the next connect.
    """

    def __init__(
        self,
        settings: LinkSettings,
        topics: Iterable[str],
        clock: Clock,
        *,
        former_topics: Iterable[str] = (),
        first_wait_seconds: float = 1.0,
        longest_wait_seconds: float = 60.0,
    ) -> None:
        """Prepare; nothing is connected before `start`.

        `former_topics` are those of the service's last run: what is not in `topics` any more is
        unsubscribed, since the broker's session still holds it.
        """
        self.topics = tuple(sorted(set(topics)))
        self._former = tuple(sorted(set(former_topics) - set(self.topics)))
        self._settings = settings
        self._clock = clock
        self._first_wait = first_wait_seconds
        self._longest_wait = longest_wait_seconds
        self._inbox = Inbox(most_messages=2 * settings.receive_maximum, most_bytes=MOST_BYTES)
        self._acknowledged: deque[Token] = deque()
        self._generation = 0
        self._up: bool | None = None
        self._why = ""
        self._fields: Mapping[str, object] = {}
        self._state_due = False
        self._paused = False
        self._unanswered = 0
        self._stopping = threading.Event()
        self._wake, self._waker = socket.socketpair()
        self._wake.setblocking(False)
        self._waker.setblocking(False)
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        self.turned_seconds = clock.monotonic_seconds()
        """When the network thread last went round, on the clock's monotonic scale."""

    @property
    def up(self) -> bool:
        """Is the session with the broker there now?"""
        return bool(self._up)

    @property
    def subscribed(self) -> bool:
        """Has the broker answered for every topic on this connection?"""
        return self.up and self._unanswered == 0

    @property
    def why(self) -> str:
        """Why the link is down; empty while it is up."""
        return self._why

    @property
    def waiting(self) -> int:
        """How many arrivals wait to be taken."""
        return len(self._inbox)

    def start(self) -> None:
        """Start connecting; a broker that is not there yet is waited for."""
        self._thread.start()

    def stop(self) -> None:
        """Send what was acknowledged, publish `stopped` and leave; the session stays."""
        self._stopping.set()
        self._rouse()
        if self._thread.ident is not None:
            self._thread.join()
        self._wake.close()
        self._waker.close()

    def take(self, max_items: int, timeout_seconds: float) -> list[Arrival]:
        """Up to `max_items` arrivals, oldest first; empty where none came within the timeout.

        Raises: LinkFailed where the network thread has ended by a mistake.
        """
        taken, failure = self._inbox.take(max_items, timeout_seconds)
        if failure is not None:
            raise LinkFailed(f"the link's thread ended: {failure!r}") from failure
        if self._paused:
            self._rouse()
        return taken

    def acknowledge(self, messages: Iterable[Message]) -> None:
        """Tell the broker that these are committed; an older connection's are passed over."""
        self._acknowledged.extend(m.token for m in messages if m.token.packet_id)
        self._rouse()

    def publish_state(self, fields: Mapping[str, object]) -> None:
        """Add fields to the retained `online` state, now and after every reconnect."""
        self._fields = dict(fields)
        self._state_due = True
        self._rouse()

    def _rouse(self) -> None:
        # A full or closed socket pair: the thread is awake already, or gone.
        with suppress(OSError):
            self._waker.send(b"\0")

    # Everything below runs in the network thread.

    def _run(self) -> None:
        with _Surfacing(self._inbox):
            failures = cut_short = 0
            while not self._stopping.is_set():
                began = self._clock.monotonic_seconds()
                why = self._hold_one_connection()
                if self._stopping.is_set():
                    break
                steady = self._clock.monotonic_seconds() - began >= _STEADY_SECONDS
                failures = 0 if steady else failures + 1
                cut_short = cut_short + 1 if self._up and not steady else 0
                if cut_short > 1:  # not every broker says that it gave our session to another
                    why += f"; is another service connected as {self._settings.instance!r}?"
                self._went_down(why)
                wait = min(self._longest_wait, self._first_wait * 2 ** min(failures, 16))
                self._clock.wait(self._stopping, jittered(wait))
                self._await_room()

    def _hold_one_connection(self) -> str:
        """Connect and serve until the connection is lost or we stop; returns why it ended."""
        self._generation += 1
        try:
            client = client_for(self._settings, self._state("offline"))
            connection = Connection(client, self._wake)
            with closing(connection):
                connection.open()
                self._serve(connection)
                return connection.lost or ""
        except (OSError, UnicodeError) as error:
            return f"no way to {self._settings.host}:{self._settings.port}: {error}"
        except SecretMissing as missing:
            return str(missing)

    def _serve(self, connection: Connection) -> None:
        while connection.lost is None and not self._stopping.is_set():
            self.turned_seconds = self._clock.monotonic_seconds()
            self._send_acknowledgements(connection)
            if self._state_due and self._up:
                self._publish_state(connection, "online", self._fields)
            self._paused = not self._inbox.has_room
            # Room may have come before the line above was seen; then nobody rouses us.
            room = self._inbox.has_room
            noted = connection.turn(read=room, wait_seconds=1.0)
            self._take_in(connection, noted)
        if connection.lost is None:
            self._leave(connection)
        elif self._paused:
            connection.lost = f"reading had stopped, the inbox being full; {connection.lost}"

    def _take_in(self, connection: Connection, noted: Noted) -> None:
        arrivals: list[Arrival] = []
        if noted.session_present is not None:
            arrivals.append(self._came_up(connection, session_present=noted.session_present))
        if noted.messages:
            now, generation = self._clock.now(), self._generation
            arrivals += [_message(message, now, generation) for message in noted.messages]
        if noted.grants:
            arrivals += self._granted(noted)
        if arrivals:
            self._inbox.put(arrivals)

    def _came_up(self, connection: Connection, *, session_present: bool) -> LinkChanged:
        self._unanswered = len(self.topics)
        self._up, self._why = True, ""
        _LOG.info("connected to the broker, session %s", "resumed" if session_present else "new")
        if session_present and self._former:
            connection.unsubscribe(self._former)
        connection.subscribe(self.topics, subscription(self._settings))
        self._state_due = True
        return LinkChanged(
            time=self._clock.now(),
            up=True,
            gap=not session_present,
            why="" if session_present else "the broker had no session for us",
        )

    def _granted(self, noted: Noted) -> list[LinkChanged]:
        """Say which topics the broker does not give us with QoS 1."""
        self._unanswered -= len(noted.grants)
        refused = [f"{topic} ({reason})" for topic, reason in noted.grants if reason.value != QOS]
        if not refused:
            return []
        why = "the broker does not grant QoS 1 for " + ", ".join(refused[:5])
        if len(refused) > 5:
            why += f" and {len(refused) - 5} more"
        _LOG.error("%s", why)
        return [LinkChanged(time=self._clock.now(), up=True, why=why)]

    def _went_down(self, why: str) -> None:
        if self._up is not False or why != self._why:
            _LOG.warning("not connected to the broker: %s", why)
        if self._up is not False:
            self._inbox.put([LinkChanged(time=self._clock.now(), up=False, why=why)])
        self._up, self._why = False, why

    def _await_room(self) -> None:
        """Stay away while the worker is stuck: the broker keeps better than we do."""
        while not self._inbox.has_room and not self._stopping.is_set():
            self.turned_seconds = self._clock.monotonic_seconds()
            self._clock.wait(self._stopping, 0.2)

    def _send_acknowledgements(self, connection: Connection) -> None:
        while self._acknowledged:
            token = self._acknowledged.popleft()
            if token.generation == self._generation:
                connection.acknowledge(token.packet_id)

    def _leave(self, connection: Connection) -> None:
        self._send_acknowledgements(connection)
        deadline = self._clock.monotonic_seconds() + _GOODBYE_SECONDS
        if self._up:
            told = connection.publish_retained(self._settings.state_topic, self._state("stopped"))
            while not told.is_published() and self._before(deadline, connection):
                connection.turn(read=True, wait_seconds=0.1)
        connection.disconnect()
        while self._before(deadline, connection):
            connection.turn(read=True, wait_seconds=0.1)
        self._up = False

    def _before(self, deadline: float, connection: Connection) -> bool:
        return connection.lost is None and self._clock.monotonic_seconds() < deadline

    def _publish_state(
        self, connection: Connection, state: str, fields: Mapping[str, object]
    ) -> None:
        self._state_due = False
        connection.publish_retained(self._settings.state_topic, self._state(state, fields))

    def _state(self, state: str, fields: Mapping[str, object] | None = None) -> bytes:
        """The retained state; an `offline` one carries the time of the connect it belongs to."""
        return orjson.dumps(
            {
                **(fields or {}),
                "state": state,
                "instance": self._settings.instance,
                "time": rfc3339_from_instant(self._clock.now()),
            }
        )


class _Surfacing:
    """Hands whatever ends the network thread to the worker, who raises it."""

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox

    def __enter__(self) -> None:
        pass

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        error: BaseException | None,
        _trace: TracebackType | None,
    ) -> bool:
        if error is not None:
            _LOG.critical("the link's thread ended by a mistake", exc_info=error)
            self._inbox.fail(error)
        return error is not None


def _message(message: MQTTMessage, now: int, generation: int) -> Message:
    try:
        topic = message.topic
    except UnicodeDecodeError:  # the standard forbids it; then it is a topic that nobody has
        topic = ""
    token = Token(generation, message.mid if message.qos else 0)
    return Message(topic, bytes(message.payload), now, message.retain, token)
