"""A reply listener that really listens, and what it has heard, for tests."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import requests
from standardwebhooks import Webhook

from brineward.clock import MachineClock
from brineward.config.secret_table import Secret
from brineward.config.settings import Person, ReplySettings
from brineward.http_server.server import HttpServer
from brineward.readings.entries import Handling, Take
from brineward.texts.record_reply import RecordReply
from brineward.texts.replies import ModeReply, StepReply
from brineward.texts.reply_judge import (
    ReplyJudge,
    ReplyOutcome,
)
from brineward.texts.reply_listener import reply_door

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
WORD = "salt and water"
PEOPLE = {
    "yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141"),
    "long": Person(id="long", name="Grünwäldchen " * 30, channel="phone", address="+1 555 0142"),
}
SHORTS = {"TH": "tern-hollow", "KR": "kettle-ridge"}
NOT_ACTIVE = "TH99 is not active."


class HeldClock(MachineClock):
    """The machine's clock, ahead by as much as the test says."""

    def __init__(self) -> None:
        self.ahead = 0

    def now(self) -> int:
        """Ahead of the machine's."""
        return super().now() + self.ahead


class SeenInMemory:
    """What was seen, in a set."""

    def __init__(self) -> None:
        self.keys: set[str] = set()

    def seen(self, key: str, now: int) -> bool:
        """Is it there?"""
        return key in self.keys

    def remember(self, key: str, now: int) -> None:
        """It is there from now on."""
        self.keys.add(key)


class Post:
    """A listener, and what came of what it heard."""

    def __init__(self, seen: SeenInMemory | None = None, **changes: object) -> None:
        usual: dict[str, object] = {
            "listen_port": 0,
            "secret": Secret(environment="BRINEWARD_TEST_REPLIES"),
        }
        settings = ReplySettings(**(usual | changes))
        self.clock = HeldClock()
        self.seen = seen or SeenInMemory()
        self.takes: list[Take] = []
        self.handlings: list[Handling] = []
        self.takable: list[str] = []
        self.records: list[tuple[RecordReply, str]] = []
        self.modes: list[tuple[ModeReply, str]] = []
        self.outcomes: list[ReplyOutcome] = []
        self.troubles: list[str] = []
        self.fail_next = False
        self.judge = judge = ReplyJudge(
            settings,
            PEOPLE,
            SHORTS,
            self.clock,
            seen=self.seen,
            takable=lambda person: self.takable,
            on_take=self._on_take,
            on_handling=self._on_handling,
            modes=self,
            on_record=self._on_record,
            on_outcome=self.outcomes.append,
            on_trouble=self.troubles.append,
        )
        self.listener = HttpServer([reply_door(settings, judge, self.troubles.append)])
        self.path = settings.path

    def set_mode(self, reply: ModeReply, person: str, now: int) -> tuple[bool, str]:
        """Keep what was asked for."""
        self.modes.append((reply, person))
        return True, f"{reply.short} is {reply.mode} now."

    def next_step(self, reply: StepReply, person: str, now: int) -> str:
        """Always the same."""
        return f"{reply.short}: step 1 of 5."

    def _on_take(self, act: Take) -> str:
        if self.fail_next:
            self.fail_next = False
            raise LookupError("hush")
        self.takes.append(act)
        return NOT_ACTIVE if act.number == 99 else ""

    def _on_record(self, reply: RecordReply, person: str, now: int) -> tuple[bool, str]:
        self.records.append((reply, person))
        return True, "Tern Hollow, number 4: recorded."

    def _on_handling(self, act: Handling) -> str:
        self.handlings.append(act)
        return "TH3 is shelved until 05:10; then it is judged afresh."

    @property
    def url(self) -> str:
        """Where messages are handed in."""
        return f"http://127.0.0.1:{self.listener.port}{self.path}"

    def hand_in(self, body: bytes, headers: dict[str, str] | None = None) -> requests.Response:
        """As a gateway does."""
        with requests.Session() as session:
            session.trust_env = False
            return session.post(self.url, data=body, headers=headers, timeout=10)

    def text(self, text: str, sender: str = "15550141", id_: str = "m1") -> requests.Response:
        """A signed message in JSON."""
        body = json.dumps({"from": sender, "text": text})
        moment = datetime.now(tz=UTC)
        return self.hand_in(
            body.encode(),
            {
                "Content-Type": "application/json",
                "webhook-id": id_,
                "webhook-timestamp": str(int(moment.timestamp())),
                "webhook-signature": Webhook(SECRET).sign(id_, moment, body),
            },
        )


@pytest.fixture
def posts() -> Iterator[list[Post]]:
    """Listeners to stop at the end."""
    started: list[Post] = []
    yield started
    for post in started:
        post.listener.stop()


@pytest.fixture
def post(posts: list[Post], monkeypatch: pytest.MonkeyPatch) -> Post:
    """A listener for signed messages."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    return started(posts)


def started(posts: list[Post], **changes: object) -> Post:
    """A listener at work."""
    post = Post(**changes)
    post.listener.start()
    posts.append(post)
    return post
