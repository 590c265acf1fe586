"""The texts follower: it sends what the journal's outbox holds, each channel in its own thread.

A slow or dead channel holds up nobody else.
"""

import logging
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from brineward.clock import Clock
from brineward.config.channel_kinds import (
    MailChannel,
    ModemChannel,
    PushChannel,
    SirenChannel,
)
from brineward.config.settings import (
    Channel,
    ConsoleChannel,
    FileChannel,
    HttpChannel,
    Person,
)
from brineward.followers.follower import Follower
from brineward.readings.outputs import TextDue
from brineward.texts.dispatch import Dispatcher, Lane, Outbox
from brineward.texts.from_memory import FromMemory
from brineward.texts.gateway import ChannelMistake, HttpSender
from brineward.texts.local import ConsoleSender, FileSender
from brineward.texts.mail import MailSender
from brineward.texts.modem import Incoming, ModemSender
from brineward.texts.push import PushSender
from brineward.texts.senders import Sender
from brineward.texts.siren import SirenSender, StateTopic

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """What some channels need of the rest of the service."""

    topic: Callable[[SirenChannel], StateTopic]
    """A retained topic that the broker switches off when we vanish."""
    incoming: Incoming | None = None
    """Who is handed what people text to a modem."""
    on_trouble: Callable[[str], None] = lambda sentence: None


def sender_of(channel: Channel, clock: Clock, outside: Outside | None = None) -> Sender:
    """The sender for a channel of the config. Raises: ChannelMistake."""
    if isinstance(channel, ModemChannel | SirenChannel):
        return _sender_outside(channel, clock, outside)
    match channel:
        case HttpChannel():
            return HttpSender(channel, clock)
        case ConsoleChannel():
            return ConsoleSender(channel)
        case FileChannel():
            return FileSender(channel, clock)
        case MailChannel():
            return MailSender(channel, clock)
        case PushChannel():
            return PushSender(channel)


def _sender_outside(
    channel: ModemChannel | SirenChannel, clock: Clock, outside: Outside | None
) -> Sender:
    if isinstance(channel, ModemChannel):
        incoming = outside.incoming if outside is not None else None
        said = outside.on_trouble if outside is not None else _log.error
        return ModemSender(channel, clock, incoming, on_trouble=said)
    if outside is None:
        raise ChannelMistake(f"channel {channel.id}: there is no broker to switch it by")
    return SirenSender(channel, outside.topic(channel))


class TextsFollower(Follower):
    """Sends the texts of the outbox until it is stopped.

    `open_outbox` is called in the thread that uses the outbox, again after every error of it;
    `on_trouble` gets a sentence and may be called from any thread. `key_of` gives the key
    that a text's record will have; `on_missed` is told which channel gave no receipt in time,
    `on_awaited` by which name one is awaited from now on.
    """

    def __init__(
        self,
        open_outbox: Callable[[], Outbox],
        channels: Mapping[str, Channel],
        people: Mapping[str, Person],
        clock: Clock,
        on_trouble: Callable[[str], None],
        *,
        key_of: Callable[[TextDue], str],
        make_sender: Callable[[Channel, Clock], Sender] = sender_of,
        on_missed: Callable[[str], None] = lambda channel: None,
        on_awaited: Callable[[str], None] = lambda known_as: None,
    ) -> None:
        self._pools = {id_: ThreadPoolExecutor(1, f"texts {id_}") for id_ in channels}
        # They outlive an outbox that broke: what is in the air must be recorded in the next.
        self._senders = {id_: make_sender(channel, clock) for id_, channel in channels.items()}
        lanes = {
            id_: Lane(channel, self._senders[id_], self._pools[id_])
            for id_, channel in channels.items()
        }
        self._from_memory = FromMemory(lanes, people, clock, key_of=key_of, wake=self.wake)

        def open_dispatcher() -> Dispatcher:
            return Dispatcher(
                open_outbox(),
                lanes,
                people,
                clock,
                wake=self.wake,
                on_trouble=on_trouble,
                from_memory=self._from_memory,
                on_missed=on_missed,
                on_awaited=on_awaited,
            )

        super().__init__("texts", open_dispatcher, clock, on_trouble, trouble="texts can't be sent")

    def send_unkept(self, texts: Iterable[TextDue]) -> None:
        """Send what can't wait for the disk to take its record; may be called again with them."""
        self._from_memory.send(texts)

    def unheard(self) -> str:
        """Which modems don't hear what people text to them, and why, as a sentence without its
        stop; empty where all do. From any thread."""
        modems = [one for one in self._senders.values() if isinstance(one, ModemSender)]
        return "; ".join(why for modem in modems if (why := modem.unheard()))

    def stop(self) -> None:
        """Launch nothing more, wait a little for what is in the air, record it and let go.

        What lands later is sent again after the next start. May be called again.
        """
        super().stop()
        for pool in self._pools.values():
            pool.shutdown(wait=False, cancel_futures=True)
        for sender in self._senders.values():
            if isinstance(sender, ModemSender | SirenSender):
                sender.stop()
