"""Push messages and voice calls by the services that the library Apprise knows; an extra."""

import importlib.util
import logging
import threading
from queue import Empty, SimpleQueue
from urllib.parse import quote

from brineward.config.channel_kinds import PushChannel
from brineward.config.secrets import SecretMissing, read_secret
from brineward.texts.attempts import Accepted, Failed, Outcome
from brineward.texts.senders import OutgoingText
from brineward.wording.letter import subject_of
from brineward.wording.segment import segment

PUSH_MISSING = "needs the library apprise: pip install 'brineward[push]'"


def push_missing() -> bool:
    """Is the library not installed?"""
    return importlib.util.find_spec("apprise") is None


class PushSender:
    """Hands a notice to one service."""

    def __init__(self, channel: PushChannel) -> None:
        self._channel = channel
        self._under_way: threading.Thread | None = None

    def send(self, text: OutgoingText) -> Outcome:
        """Done within the answer timeout; a service that hangs is left behind in a thread."""
        channel = self._channel
        if push_missing():
            return Failed(why=f"channel {channel.id} {PUSH_MISSING}", channel_unusable=True)
        if self._under_way is not None and self._under_way.is_alive():
            return Failed(why=f"channel {channel.id}: the last text still hangs there")
        try:
            url = read_secret(channel.url).replace("{address}", quote(text.address, safe=""))
        except SecretMissing as error:
            return Failed(why=f"channel {channel.id}: {error}", channel_unusable=True)
        done: SimpleQueue[Outcome] = SimpleQueue()
        self._under_way = threading.Thread(
            target=lambda: done.put(self._notify(url, text)), name=f"push {channel.id}", daemon=True
        )
        self._under_way.start()
        try:
            return done.get(timeout=channel.answer_timeout_seconds)
        except Empty:
            limit = channel.answer_timeout_seconds
            return Failed(why=f"channel {channel.id}: no answer within {limit:g} s")

    def _notify(self, url: str, text: OutgoingText) -> Outcome:
        from apprise import Apprise  # noqa: PLC0415 - slow to import, and an extra

        # It logs what it calls, secrets and all.
        logging.getLogger("apprise").setLevel(logging.CRITICAL)
        service = Apprise()
        if not service.add(url):
            why = f"channel {self._channel.id}: its URL is of no service that Apprise knows"
            return Failed(why=why, channel_unusable=True)
        try:
            taken = service.notify(body=segment(text.notice), title=subject_of(text.notice))
        except (OSError, TypeError, ValueError) as error:
            kind = type(error).__name__
            return Failed(why=f"channel {self._channel.id}: the service failed ({kind})")
        if taken:
            return Accepted(receipt="taken by the service")
        return Failed(why=f"channel {self._channel.id}: the service took nothing")
