"""A retained topic that we keep up to date, and that the broker sets to `gone` when we vanish."""

import threading
from dataclasses import replace
from typing import Any

from paho.mqtt.client import Client

from brineward.config.secrets import SecretMissing
from brineward.config.settings import LinkSettings
from brineward.link.client import QOS, client_for, fresh_client_id


class KeptTopic:
    """Keeps a topic at what it was last set to, through lost connections, in its own thread.

    The connection is made at the first `set`.
    """

    def __init__(self, settings: LinkSettings, topic: str, *, gone: bytes) -> None:
        # The will goes to the topic that the settings name.
        self._settings = replace(settings, state_topic=topic)
        self._topic = topic
        self._gone = gone
        self._client: Client | None = None
        self._state: bytes | None = None
        self._connected = threading.Event()
        self._why = "no answer"

    def set(self, payload: bytes, timeout_seconds: float) -> str:
        """Set it and wait for the broker's word; empty, or why it could not be done."""
        try:
            client = self._opened()
        except (OSError, SecretMissing) as why:
            return f"no way to the broker: {why}"
        if not self._connected.wait(timeout_seconds):
            return f"no way to the broker within {timeout_seconds:g} s: {self._why}"
        told = client.publish(self._topic, payload, qos=QOS, retain=True)
        try:
            told.wait_for_publish(timeout_seconds)
        except (RuntimeError, ValueError) as why:
            return f"the broker took nothing: {why}"
        if not told.is_published():
            return f"no word of the broker within {timeout_seconds:g} s"
        self._state = payload
        return ""

    def stop(self) -> None:
        """Publish `gone` and disconnect properly; nothing if it was never set."""
        if self._client is None:
            return
        if self._connected.is_set():
            told = self._client.publish(self._topic, self._gone, qos=QOS, retain=True)
            try:
                told.wait_for_publish(2.0)
            except (RuntimeError, ValueError):
                self._why = "lost"  # then the broker's will says it
        self._client.disconnect()
        self._client.loop_stop()
        self._client = None

    def _opened(self) -> Client:
        if self._client is None:
            client = client_for(
                self._settings,
                client_id=fresh_client_id("state"),
                will=self._gone,
                resume=False,
                reconnect=True,
            )
            client.reconnect_delay_set(1, 15)
            client.on_connect = self._on_connect
            client.on_disconnect = self._on_disconnect
            client.loop_start()
            self._client = client
        return self._client

    def _on_connect(
        self, client: Client, _userdata: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if reason.is_failure:
            self._why = str(reason)
            return
        if self._state is not None:  # after a lost connection the broker had set it to gone
            client.publish(self._topic, self._state, qos=QOS, retain=True)
        self._connected.set()

    def _on_disconnect(
        self, _client: Client, _userdata: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        self._connected.clear()
        self._why = str(reason)
