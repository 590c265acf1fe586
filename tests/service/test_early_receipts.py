"""A gateway whose receipt is here before we have recorded that it took the text."""

from pathlib import Path

import pytest
import requests

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.http_server.server import HttpServer
from brineward.journal.journal import Journal
from brineward.readings.entries import Delivery, Tick
from brineward.readings.outputs import Step
from brineward.service.replying import Replies
from brineward.texts.early_receipts import KEPT_SECONDS, EarlyReceipts
from brineward.texts.follower import TextsFollower
from driven_clock import DrivenClock
from gateways import Answer, Asked, Gateway, free_port, wait_until
from outboxes import high_text
from services import write_config

WORD = "salt and water"


class Hasty(Gateway):
    """It says what became of a text, and only then that it has taken it."""

    receipts_to = ""
    status = "delivered"

    def take(self, asked: Asked) -> Answer:
        """The receipt first."""
        with requests.Session() as session:
            session.trust_env = False
            session.post(
                self.receipts_to,
                json={"id": asked.json()["reference"], "status": self.status},
                headers={"Authorization": f"Bearer {WORD}"},
                timeout=5,
            ).raise_for_status()
        return super().take(asked)


@pytest.mark.parametrize(("status", "outcome"), [("delivered", "accepted"), ("failed", "dead")])
def test_a_receipt_that_comes_first_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, status: str, outcome: str
) -> None:
    """Delivered, the text is settled; failed, its only way is given up; neither waits for a receipt
    that was here already."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    with Hasty() as gateway:
        file, port = write_config(tmp_path, 1883, gateway=gateway.url), free_port()
        gateway.receipts_to, gateway.status = f"http://127.0.0.1:{port}/receipts", status
        file.write_text(
            f"{file.read_text()}\n[channels.phone.receipts]\n"
            f'[replies]\nkind = "bearer"\nport = {port}\n'
            'secret = { env = "BRINEWARD_TEST_REPLIES" }\n'
        )
        settings, clock = load_settings(file), MachineClock()
        replies = Replies(settings, clock)
        server = HttpServer(replies.doors())
        with Journal.open(settings.journal.path) as journal:
            now = clock.now()
            text = high_text("t1", "TH1", number=1, time=now)
            journal.commit([Step(Tick(time=now), (text,))])
            follower = TextsFollower(
                lambda: Journal.open(settings.journal.path).outbox,
                settings.channels,
                settings.people,
                clock,
                print,
                key_of=journal.outbox.key_of(),
                on_missed=replies.receipts.missed,
                on_awaited=replies.receipt_awaited,
            )
            server.start()
            follower.start()
            try:
                wait_until(lambda: bool(outcomes(journal)))
            finally:
                follower.stop()
                server.stop()
            assert outcomes(journal) == [outcome]
            assert len(gateway.asked) == 1


def outcomes(journal: Journal) -> list[str]:
    """What became of texts, as the service hears of it."""
    posted = [entry for _, entry in journal.inbox.waiting()]
    return [entry.outcome for entry in posted if isinstance(entry, Delivery)]


def test_receipts_of_texts_of_others_are_kept_neither_long_nor_in_any_number() -> None:
    """A gateway may serve another program too."""
    clock = DrivenClock()
    early = EarlyReceipts(clock)
    for number in range(1000):
        early.keep(f"phone:{number}", delivered=True, words="")
    assert early.take("phone:0") is None
    assert early.take("phone:999") is not None
    assert early.take("phone:999") is None
    clock.seconds += KEPT_SECONDS + 1
    assert early.take("phone:998") is None
