"""Gateways that fail in every way, with receipts, and what phones show; time is the test's."""

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field

from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.receipts import receipt_name
from brineward.texts.senders import OutgoingText

RECEIPT_WITHIN_SECONDS = 90.0
FATES = (
    "deliver",
    "refuse",
    "never",
    "hang",
    "drop",
    "twice",
    "receipt lost",
    "receipt late",
    "undelivered",
)
SHOWING = ("deliver", "twice", "receipt lost", "receipt late", "hang")
"""With these a text reaches the phone, whatever the gateway says."""
_HANGS_SECONDS = 60
_RECEIPT_AFTER = {"deliver": 5, "twice": 5, "receipt late": 600, "undelivered": 20}


@dataclass
class Sent:
    """One attempt, as the gateway saw it."""

    key: str
    number: int
    person: str
    gateway: str
    fate: str
    body: str
    at: int
    """By true time, in seconds."""
    said_yes: bool
    """The gateway took it, and the service heard so."""
    owes_receipt: bool


@dataclass
class Receipt:
    """What a gateway says of a text afterwards."""

    at: int
    gateway: str
    key: str
    status: str


@dataclass
class Ether:
    """All that went out, all that phones show, and all receipts that are on their way."""

    true: int = 0
    """Time that nobody can set, in seconds."""
    sent: list[Sent] = field(default_factory=list)
    shown: dict[str, set[str]] = field(default_factory=dict)
    """The keys that each person's phone shows; one that comes twice is shown once."""
    receipts: list[Receipt] = field(default_factory=list)

    def due_receipts(self) -> Iterator[Receipt]:
        """Those that arrive by now, each once."""
        due = [one for one in self.receipts if one.at <= self.true]
        self.receipts = [one for one in self.receipts if one.at > self.true]
        yield from due


class Gateway:
    """One gateway: a sender and the thread that uses it, in one. `who` knows people by name."""

    def __init__(
        self,
        name: str,
        ether: Ether,
        who: Callable[[str], str],
        before: Callable[[OutgoingText, "Gateway"], object],
        *,
        receipts: bool,
    ) -> None:
        self.name = name
        self.fate = "deliver"
        self.receipts = receipts
        self._ether, self._who, self._before = ether, who, before
        self._hanging: list[tuple[int, Future[Outcome], Outcome]] = []

    def submit(
        self, task: Callable[[OutgoingText], Outcome], text: OutgoingText
    ) -> Future[Outcome]:
        """Do it at once, or hang."""
        outcome: Future[Outcome] = Future()
        found = task(text)
        if self.fate == "hang":
            self._hanging.append((self._ether.true + _HANGS_SECONDS, outcome, found))
        else:
            outcome.set_result(found)
        return outcome

    def end_of_patience(self) -> None:
        """What hangs for long enough is a failure."""
        due = [one for one in self._hanging if one[0] <= self._ether.true]
        self._hanging = [one for one in self._hanging if one not in due]
        for _, outcome, found in due:
            outcome.set_result(found)

    def forget(self) -> None:
        """The service was killed: nobody waits for what hangs."""
        self._hanging.clear()

    def send(self, text: OutgoingText) -> Outcome:
        """What becomes of one text."""
        self._before(text, self)
        person, fate = self._who(text.name), self.fate
        silent = fate in ("refuse", "never", "hang")
        self._ether.sent.append(
            Sent(
                key=text.key,
                number=text.number,
                person=person,
                gateway=self.name,
                fate=fate,
                body=repr(text.notice),
                at=self._ether.true,
                said_yes=not silent,
                owes_receipt=self.receipts,
            )
        )
        if fate in SHOWING:
            self._ether.shown.setdefault(person, set()).add(text.key)
        if self.receipts and fate in _RECEIPT_AFTER:
            self._ether.receipts += self._receipts_of(text.key, fate)
        if fate == "never":
            return NeverAccepted(why=f"channel {self.name}: refused for ever")
        if silent:
            return Failed(why=f"channel {self.name}: {fate}")
        if not self.receipts:
            return Accepted(receipt="200")
        return Accepted(
            receipt="200",
            known_as=receipt_name(self.name, text.key),
            receipt_within_seconds=RECEIPT_WITHIN_SECONDS,
        )

    def _receipts_of(self, key: str, fate: str) -> list[Receipt]:
        status = "undelivered" if fate == "undelivered" else "delivered"
        at = self._ether.true + _RECEIPT_AFTER[fate]
        return [Receipt(at, self.name, key, status)] * (2 if fate == "twice" else 1)
