"""The texts follower: it sends what the journal's outbox holds, each channel in its own thread.

A slow or dead channel holds up nobody else.
"""

from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor

from brineward.clock import Clock
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
from brineward.texts.gateway import HttpSender
from brineward.texts.local import ConsoleSender, FileSender
from brineward.texts.senders import Sender


def sender_of(channel: Channel, clock: Clock) -> Sender:
    """The sender for a channel of the config. Raises: ChannelMistake."""
    match channel:
        case HttpChannel():
            return HttpSender(channel, clock)
        case ConsoleChannel():
            return ConsoleSender(channel)
        case FileChannel():
            return FileSender(channel, clock)


class TextsFollower(Follower):
    """Sends the texts of the outbox until it is stopped.

    `open_outbox` is called in the thread that uses the outbox, again after every error of it;
    `on_trouble` gets a sentence and may be called from any thread. `key_of` gives the key
    that a text's record will have.
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
    ) -> None:
        self._pools = {id_: ThreadPoolExecutor(1, f"texts {id_}") for id_ in channels}
        # They outlive an outbox that broke: what is in the air must be recorded in the next.
        lanes = {
            id_: Lane(channel, make_sender(channel, clock), self._pools[id_])
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
            )

        super().__init__("texts", open_dispatcher, clock, on_trouble, trouble="texts can't be sent")

    def send_unkept(self, texts: Iterable[TextDue]) -> None:
        """Send what can't wait for the disk to take its record; may be called again with them."""
        self._from_memory.send(texts)

    def stop(self) -> None:
        """Launch nothing more, wait a little for what is in the air, record it and let go.

        What lands later is sent again after the next start. May be called again.
        """
        super().stop()
        for pool in self._pools.values():
            pool.shutdown(wait=False, cancel_futures=True)
