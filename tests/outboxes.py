"""An outbox in memory for tests of what follows it; several handles may share one."""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from brineward.readings.outputs import Notice, Priority, TextDue

NOW = 1_767_225_600_000


def high_text(id_: str, plain: str, *, number: int = 12, time: int = NOW) -> TextDue:
    """A text to the yard lead about an alarm of high priority, as the engine gives it."""
    return TextDue(
        id=id_,
        time=time,
        depot="tern-hollow",
        number=number,
        person="yard",
        kind="raised",
        priority=Priority.HIGH,
        notice=Notice(kind="raised", plain=plain),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A text as the outbox holds it."""

    id: str = "12-raised-1-yard"
    depot: str = "tern-hollow"
    number: int = 12
    person: str = "yard"
    kind: str = "raised"
    priority: Priority = Priority.HIGH
    notice: Notice = field(default_factory=lambda: Notice(kind="raised", plain="TH12"))
    created: int = NOW
    attempts: int = 0
    next_attempt: int = NOW
    way: int = 0
    known_as: str = ""
    why: str = ""

    @property
    def key(self) -> str:
        """What the gateway knows it by."""
        return f"k7-{self.id}"


class MemoryOutbox:
    """Open texts by id, the story of what was recorded, and how each text ended."""

    def __init__(self, texts: Sequence[Text] = ()) -> None:
        self.texts = {text.id: text for text in texts}
        self.story: list[tuple[str, str]] = []
        self.broken: set[str] = set()
        """What can't be recorded: "attempt", "accepted", ..."""
        self.refusals: tuple[type[Exception], ...] = (OSError,)
        self.unfit: set[str] = set()
        """What can't be recorded, on whatever disk."""
        self.closed = 0
        self._lock = threading.Lock()

    def add(self, *texts: Text) -> None:
        """They become due."""
        with self._lock:
            self.texts |= {text.id: text for text in texts}

    def settled(self) -> list[tuple[str, str]]:
        """How each settled text ended, in order: ("accepted" or "dead: ...", its id)."""
        with self._lock:
            return [each for each in self.story if each[0].startswith(("accepted", "dead"))]

    def _note(self, what: str, text_id: str) -> None:
        if what in self.broken:
            raise OSError(28, "No space left on device")
        if what in self.unfit:
            raise UnicodeEncodeError("utf-8", "\ud83d", 0, 1, "surrogates not allowed")
        self.story.append((what, text_id))

    def texts_open(self, now: int, limit: int = 100) -> list[Text]:
        """What is due."""
        with self._lock:
            due = [text for text in self.texts.values() if text.next_attempt <= now]
        return due[:limit]

    def record_attempt(self, text_id: str, at: int) -> int:
        """Count it."""
        with self._lock:
            text = self.texts[text_id]
            self._note("attempt", text_id)
            self.texts[text_id] = replace(text, attempts=text.attempts + 1)
        return text.attempts + 1

    def record_accepted(self, text_id: str, at: int, receipt: str) -> None:
        """Settle it."""
        with self._lock:
            self._note("accepted", text_id)
            del self.texts[text_id]

    def record_retry(self, text_id: str, at: int, next_at: int, why: str) -> None:
        """Put it off."""
        with self._lock:
            self._note("retry", text_id)
            self.texts[text_id] = replace(self.texts[text_id], next_attempt=next_at)

    def record_dead(self, text_id: str, at: int, why: str) -> None:
        """Settle it."""
        with self._lock:
            self._note(f"dead: {why}", text_id)
            del self.texts[text_id]

    def record_way(self, text_id: str, at: int, next_at: int, way: int, why: str) -> None:
        """The next way."""
        with self._lock:
            self._note(f"way {way}", text_id)
            text = self.texts[text_id]
            self.texts[text_id] = replace(text, next_attempt=next_at, way=way, known_as="", why=why)

    def record_sent(self, text_id: str, at: int, until: int, known_as: str, receipt: str) -> None:
        """A receipt is awaited."""
        with self._lock:
            self._note("sent", text_id)
            self.texts[text_id] = replace(
                self.texts[text_id], next_attempt=until, known_as=known_as
            )

    def close(self) -> None:
        """Count it; there is nothing to let go of."""
        self.closed += 1
