"""The link: a thread that holds the session with the broker, and a queue to take messages from."""

import logging
import socket
import threading
from collections import deque
from collections.abc import Iterable
from contextlib import closing, suppress
from types import TracebackType
from typing import Final

import orjson
from paho.mqtt.client import MQTTMessage, topic_matches_sub

from brineward.clock import Clock, jittered
from brineward.config.secrets import SecretMissing
from brineward.config.settings import LinkSettings
from brineward.link.client import QOS, client_for, subscription
from brineward.link.connection import Connection, Noted
from brineward.link.dropped import DROPPED_TOPIC, DroppedCount, dropped_in_words
from brineward.link.inbox import Arrival, Inbox
from brineward.link.messages import Message, Token, message_from
from brineward.link.settling import Settling
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import rfc3339_from_instant

_LOG = logging.getLogger(__name__)

MOST_BYTES: Final = 8_000_000
"""How many bytes of payload may wait in the inbox before reading stops."""

_STEADY_SECONDS: Final = 10.0
"""A connection that lasted so long was a good one: the next wait is a short one again."""

_GOODBYE_SECONDS: Final = 3.0

_FLAPPING_AGAIN_SECONDS: Final = 60.0
"""While the link flaps, how often that is said, with its count."""

_MOST_STRAYS: Final = 1_000


class LinkFailed(Exception):
    """The network thread ended by a mistake in this program; the service must be restarted."""


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
        client_id: str = "",
        broker_dropped: int | None = None,
        first_wait_seconds: float = 1.0,
        longest_wait_seconds: float = 60.0,
    ) -> None:
        """Prepare; nothing is connected before `start`.

        `client_id` names the session on the broker, and must be the same in every run; without
        one it is the instance's name. `broker_dropped` is the last run's, see the property.
        """
        self.topics = tuple(sorted(set(topics)))
        self._plain = frozenset(self.topics)
        self._filters = tuple(topic for topic in self.topics if "+" in topic or "#" in topic)
        self._strays: set[str] = set()
        self._client_id = client_id or settings.instance
        self._dropped = DroppedCount(broker_dropped)
        # The laptop's broker, which knows 3.1.1 alone, hangs up on whoever asks for such a topic.
        self._ask_dropped = settings.protocol == "5"
        self._dropped_unanswered = False
        self._settling = Settling()
        self._settings = settings
        self._clock = clock
        self._first_wait = first_wait_seconds
        self._longest_wait = longest_wait_seconds
        self._inbox = Inbox(most_messages=2 * settings.receive_maximum, most_bytes=MOST_BYTES)
        self._acknowledged: deque[Token] = deque()
        self._generation = 0
        self._connected = False
        self._said_up: bool | None = None
        """What the last entry said, which a connection alone does not change while it flaps."""
        self._said_at = 0.0
        self._why = ""
        self._gap = False
        self._paused = False
        self._unanswered = 0
        self._stopping = threading.Event()
        self._wake, self._waker = socket.socketpair()
        self._wake.setblocking(False)
        self._waker.setblocking(False)
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)

    @property
    def broker_dropped(self) -> int | None:
        """How many messages the broker had dropped when this was last reported or found; None if it
        has not said. Kept across a restart, it shows what was dropped meanwhile."""
        return self._dropped.known

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
        """Up to `max_items` arrivals, oldest first; empty if none came within the timeout.

        Raises: LinkFailed if the network thread has ended by a mistake.
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

    def _rouse(self) -> None:
        # A full or closed socket pair: the thread is awake already, or gone.
        with suppress(OSError):
            self._waker.send(b"\0")

    # Everything below runs in the network thread.

    def _run(self) -> None:
        with _Surfacing(self._inbox):
            failures = 0
            while not self._stopping.is_set():
                began = self._clock.monotonic_seconds()
                why = self._hold_one_connection()
                if self._stopping.is_set():
                    break
                steady = self._clock.monotonic_seconds() - began >= _STEADY_SECONDS
                failures = 0 if steady else failures + 1
                self._went_down(why)
                wait = min(self._longest_wait, self._first_wait * 2 ** min(failures, 16))
                self._clock.wait(self._stopping, jittered(wait))
                self._await_room()

    def _hold_one_connection(self) -> str:
        """Connect and serve until the connection is lost or we stop; returns why it ended."""
        self._generation += 1
        try:
            client = client_for(
                self._settings, client_id=self._client_id, will=self._state("offline")
            )
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
            self._send_acknowledgements(connection)
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
            self._came_up(connection, session_present=noted.session_present)
            arrivals += self._settled()
        if noted.messages:
            arrivals += self._arrived(connection, noted.messages)
        if noted.grants:
            arrivals += self._granted(noted)
        if self._connected and not self._said_up:
            arrivals += self._settled()
        if arrivals:
            self._inbox.put(arrivals)

    def _came_up(self, connection: Connection, *, session_present: bool) -> None:
        self._unanswered = len(self.topics)
        self._connected, self._why = True, ""
        self._gap = self._gap or not session_present
        self._strays.clear()
        self._settling.came(self._clock.monotonic_seconds())
        _LOG.info("connected to the broker, session %s", "resumed" if session_present else "new")
        connection.subscribe(self.topics, subscription(self._settings))
        if self._ask_dropped:
            connection.subscribe([DROPPED_TOPIC], 0)
            self._dropped_unanswered = True
        connection.publish_retained(self._settings.state_topic, self._state("online"))

    def _settled(self) -> list[Arrival]:
        """Say that the link is up: at once, or where it was flapping once it has stayed."""
        flapped = self._settling.flapping
        if not self._settling.settled(self._clock.monotonic_seconds()):
            return []
        why = "steady again" if flapped else ""
        if self._gap:
            why = "the broker had no session for us"
        change = LinkChanged(time=self._clock.now(), up=True, gap=self._gap, why=why)
        self._said_up, self._gap = True, False
        return [change]

    def _arrived(self, connection: Connection, messages: list[MQTTMessage]) -> list[Arrival]:
        now, generation = self._clock.now(), self._generation
        arrivals: list[Arrival] = []
        for one in messages:
            message = message_from(one, now, generation)
            if message.topic == DROPPED_TOPIC:
                arrivals += self._heard_dropped(message.payload)
                continue
            if message.topic not in self._plain:
                self._leave_stray(connection, message.topic)
            arrivals.append(message)
        return arrivals

    def _heard_dropped(self, payload: bytes) -> list[Arrival]:
        more = self._dropped.heard(payload, self._clock.monotonic_seconds())
        if more is None:
            return []
        why = dropped_in_words(more)
        _LOG.error("%s", why)
        return [self._remark(why)]

    def _leave_stray(self, connection: Connection, topic: str) -> None:
        """Unsubscribe what the session still holds and the config no longer names."""
        if topic in self._strays or len(self._strays) >= _MOST_STRAYS:
            return
        if not topic or any(topic_matches_sub(wide, topic) for wide in self._filters):
            return
        self._strays.add(topic)
        _LOG.info("no sensor of the config has the topic %r: unsubscribed", topic[:200])
        connection.unsubscribe([topic])

    def _granted(self, noted: Noted) -> list[Arrival]:
        """Say which topics the broker does not give us with QoS 1."""
        grants = [grant for grant in noted.grants if grant[0] != DROPPED_TOPIC]
        if len(grants) < len(noted.grants):
            self._dropped_unanswered = False
        self._unanswered -= len(grants)
        if grants and self._unanswered == 0:
            _LOG.info("the broker has answered for all %d topics", len(self.topics))
        refused = [f"{topic} ({reason})" for topic, reason in grants if reason.value != QOS]
        if not refused:
            return []
        why = "the broker does not grant QoS 1 for " + ", ".join(refused[:5])
        if len(refused) > 5:
            why += f" and {len(refused) - 5} more"
        _LOG.error("%s", why)
        return [self._remark(why)]

    def _remark(self, why: str) -> LinkChanged:
        """An entry that changes nothing but says something."""
        return LinkChanged(time=self._clock.now(), up=bool(self._said_up), why=why)

    def _went_down(self, why: str) -> None:
        now = self._clock.monotonic_seconds()
        if self._dropped_unanswered:  # perhaps it hung up for that: it is asked once in a run
            self._ask_dropped = self._dropped_unanswered = False
        counts = self._connected
        self._settling.lost(now)
        due = self._said_up is not False
        if counts and self._settling.flapping:
            why = f"{self._settling.in_words(now, self._client_id)} ({why})"
            due = due or now - self._said_at >= _FLAPPING_AGAIN_SECONDS
        if due or (why != self._why and not counts):
            _LOG.warning("not connected to the broker: %s", why)
        if due:
            self._inbox.put([LinkChanged(time=self._clock.now(), up=False, why=why)])
            self._said_up, self._said_at = False, now
        self._connected, self._why = False, why

    def _await_room(self) -> None:
        """Stay away while the worker is stuck: the broker keeps better than we do."""
        while not self._inbox.has_room and not self._stopping.is_set():
            self._clock.wait(self._stopping, 0.2)

    def _send_acknowledgements(self, connection: Connection) -> None:
        while self._acknowledged:
            token = self._acknowledged.popleft()
            if token.generation == self._generation:
                connection.acknowledge(token.packet_id)

    def _leave(self, connection: Connection) -> None:
        self._send_acknowledgements(connection)
        deadline = self._clock.monotonic_seconds() + _GOODBYE_SECONDS
        if self._connected:
            told = connection.publish_retained(self._settings.state_topic, self._state("stopped"))
            while not told.is_published() and self._before(deadline, connection):
                connection.turn(read=True, wait_seconds=0.1)
        connection.disconnect()
        while self._before(deadline, connection):
            connection.turn(read=True, wait_seconds=0.1)
        self._connected = False

    def _before(self, deadline: float, connection: Connection) -> bool:
        return connection.lost is None and self._clock.monotonic_seconds() < deadline

    def _state(self, state: str) -> bytes:
        """The retained state; an `offline` one carries the time of the connect it belongs to."""
        return orjson.dumps(
            {
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
