"""How many messages the broker says it dropped, and when to report it. Pure."""

from typing import Final

DROPPED_TOPIC: Final = "$SYS/broker/publish/messages/dropped"
"""mosquitto's count since it started, "due to inflight/queuing limits": mosquitto(8), Broker
Status. Other brokers have no such topic; then nothing is heard, and nothing said."""

_AGAIN_SECONDS: Final = 3600.0


class DroppedCount:
    """Follows the count; each increase is reported once, at most once an hour."""

    def __init__(self, known: int | None = None) -> None:
        """`known` is the last count that was accounted for; None takes the first one for it."""
        self.known = known
        """The last count that was said, or that there was nothing to say of."""
        self._said: float | None = None

    def heard(self, payload: bytes, now: float) -> int | None:
        """How many more were dropped, where it is time to say so; `now` in seconds."""
        if not payload.isdigit() or len(payload) > 18:
            return None
        count = int(payload)
        if self.known is None:
            self.known = count
        if count < self.known:  # the broker was restarted, and counts from 0
            self.known = 0
        more = count - self.known
        if more == 0 or (self._said is not None and now - self._said < _AGAIN_SECONDS):
            return None
        self.known, self._said = count, now
        return more


def dropped_in_words(more: int) -> str:
    """What it means, and where to check."""
    return (
        f"the broker dropped {more} message{'s' if more > 1 else ''} that it could not hold for"
        " a reader; readings may be lost: see max_queued_messages and max_queued_bytes in its"
        " settings, and whether an old session still waits there"
    )
