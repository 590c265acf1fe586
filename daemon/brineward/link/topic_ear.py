"""Messages of one topic, each acknowledged only once it has been handled."""

import queue
import threading
from collections.abc import Callable
from typing import Any, Final, NamedTuple

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.subscribeoptions import SubscribeOptions

from brineward.config.secrets import SecretMissing
from brineward.config.settings import LinkSettings
from brineward.followers.errors import place_of
from brineward.link.client import QOS, client_for

AWAY: Final = "the broker does not answer"
"""Why nothing is heard, where that may pass."""
AGAIN_SECONDS: Final = 5.0
"""What could not be dealt with is handed on again after this."""
_MOST_UNPROMISED: Final = 100
"""How many messages of QoS 0 may wait; the broker would not hold more of them back for us."""
_STOP_WITHIN_SECONDS: Final = 5.0


class _Waiting(NamedTuple):
    connection: int
    packet_id: int
    payload: bytes
    qos: int


class TopicEar:
    """Receives one topic in its own session, which the broker keeps while we are away.

    `on_message` gets a payload in its own thread, one at a time, and says whether it has been
    handled; if not, it gets it again. Where it raises, the message is reported and passed over.
    Retained messages are not new and are passed over too. Memory is bounded by what the broker may
    have unacknowledged.
    """

    def __init__(
        self,
        settings: LinkSettings,
        topic: str,
        *,
        client_id: str,
        on_message: Callable[[bytes], bool],
        on_trouble: Callable[[str], None],
    ) -> None:
        self._settings = settings
        self._topic = topic
        self._client_id = client_id
        self._on_message = on_message
        self._on_trouble = on_trouble
        self._client: Client | None = None
        self._connection = 0
        """Counts connections: a packet id means something within its own alone."""
        self._said = ""
        self._deaf = AWAY
        self._waiting: queue.SimpleQueue[_Waiting | None] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="reply topic", daemon=True)

    def start(self) -> None:
        """Begin; a broker that is away is waited for."""
        try:
            client = client_for(
                self._settings, client_id=self._client_id, will=None, reconnect=True
            )
        except (OSError, SecretMissing) as why:
            self._deafened(str(why))
            return
        client.reconnect_delay_set(1, 15)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._heard
        self._thread.start()
        self._client = client
        client.loop_start()

    def stop(self) -> None:
        """End; what is not dealt with comes again after the next start."""
        if self._client is None:
            return
        self._stop.set()
        self._waiting.put(None)
        self._thread.join(_STOP_WITHIN_SECONDS)
        self._client.disconnect()
        self._client.loop_stop()
        self._client = None

    def unheard(self) -> str:
        """Why nothing is heard now, as a sentence without its stop; empty while it is. From any
        thread."""
        ended = self._client is not None and not self._thread.is_alive()
        deaf = "nobody listens any more" if ended and not self._stop.is_set() else self._deaf
        return f"replies by text are not heard: {deaf}" if deaf else ""

    def _run(self) -> None:
        while (one := self._waiting.get()) is not None and not self._stop.is_set():
            while self._still_ours(one) and not self._is_dealt_with(one.payload):
                if self._stop.wait(AGAIN_SECONDS):
                    return
            if one.qos and self._still_ours(one) and self._client is not None:
                self._client.ack(one.packet_id, one.qos)

    def _is_dealt_with(self, payload: bytes) -> bool:
        try:
            return self._on_message(payload)
        # Whatever it is: without this thread nobody's reply is heard, and a message that is not
        # acknowledged would come again and hold up all that come after it.
        except Exception as why:  # noqa: BLE001 - see above
            self._on_trouble(f"{self._topic}: a message is passed over: {place_of(why)}")
            return True

    def _still_ours(self, one: _Waiting) -> bool:
        """What came with QoS 1 in a connection that was lost comes again in the next one."""
        return not one.qos or one.connection == self._connection

    # -- in the library's thread

    def _on_connect(
        self, client: Client, _userdata: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._deafened(f"the broker says: {reason}")
            return
        if self._settings.protocol == "5":
            never = SubscribeOptions.RETAIN_DO_NOT_SEND
            client.subscribe([(self._topic, SubscribeOptions(qos=QOS, retainHandling=never))])
        else:
            client.subscribe([(self._topic, QOS)])

    def _on_disconnect(
        self, _client: Client, _userdata: Any, _flags: Any, _reason: Any, _properties: Any
    ) -> None:
        self._connection += 1
        if not self._deaf:
            self._deaf = AWAY

    def _on_subscribe(
        self, _client: Client, _userdata: Any, _packet_id: Any, reasons: Any, _properties: Any
    ) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        if refused:
            self._deafened(f"the broker refuses the topic: {refused[0]}")
        else:
            self._said = self._deaf = ""

    def _heard(self, client: Client, _userdata: Any, message: MQTTMessage) -> None:
        if message.retain:
            if message.qos:
                client.ack(message.mid, message.qos)
            return
        if not message.qos and self._waiting.qsize() >= _MOST_UNPROMISED:
            self._say(f"{self._topic}: a message of QoS 0 is lost, expected QoS 1")
            return
        self._waiting.put(
            _Waiting(self._connection, message.mid, bytes(message.payload), message.qos)
        )

    def _deafened(self, why: str) -> None:
        """Nothing is heard, for a reason that won't go by itself."""
        self._deaf = why
        self._say(f"nothing is heard on {self._topic}: {why}")

    def _say(self, sentence: str) -> None:
        """Once, until it is well again or something else is wrong."""
        if sentence != self._said:
            self._said = sentence
            self._on_trouble(sentence)
