"""A warning light or siren: on while an alarm that it was told of is neither taken nor cleared."""

from typing import Protocol

from brineward.config.channel_kinds import SirenChannel
from brineward.texts.attempts import Accepted, Failed, Outcome
from brineward.texts.senders import OutgoingText

_ON = ("raised", "again")
_OFF = ("cleared", "taken", "held back")


class StateTopic(Protocol):
    """A retained topic of the broker."""

    def set(self, payload: bytes, timeout_seconds: float) -> str:
        """Set it and wait for the broker's word; empty, or why it could not be done."""
        ...

    def stop(self) -> None:
        """Switch it off and part."""
        ...


class SirenSender:
    """Switches one siren. What it was told before a restart is forgotten: the broker has switched
    it off, and the next round of an alarm that nobody has taken switches it on again."""

    def __init__(self, channel: SirenChannel, topic: StateTopic) -> None:
        self._channel = channel
        self._topic = topic
        self._calling: set[tuple[str, int]] = set()

    def stop(self) -> None:
        """The watch ends: switched off."""
        self._topic.stop()

    def send(self, text: OutgoingText) -> Outcome:
        """Switch it as the notice says; what is about no alarm changes nothing."""
        about = (text.depot, text.number)
        calling = set(self._calling)
        if text.number and text.kind in _ON:
            calling.add(about)
        elif text.kind in _OFF:
            calling.discard(about)
        on = bool(calling)
        state = self._channel.on if on else self._channel.off
        why = self._topic.set(state.encode(), self._channel.answer_timeout_seconds)
        if why:
            return Failed(why=f"channel {self._channel.id}: {why}")
        self._calling = calling
        return Accepted(receipt=f"switched {'on' if on else 'off'}")
