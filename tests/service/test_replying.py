"""From a gateway's call to what the journal's inbox holds, with the real listener and journal."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
import requests

from active import commit, raised, takes
from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.http_server.server import HttpServer
from brineward.journal.journal import Journal
from brineward.readings.entries import Answer
from brineward.readings.outputs import AlarmState
from brineward.service.replying import Replies
from gateways import free_port
from services import write_config

WORD = "salt and water"
YARD, DISPATCH, STRANGER = "+15550141", "+15550140", "+15550199"
SECOND_DEPOT = """
[depots.kettle-ridge]
name = "Kettle Ridge"
short = "KR"
time_zone = "America/Chicago"
on_call = ["yard"]

[depots.kettle-ridge.vessels.main]
kind = "main"
shape = "upright cylinder"
diameter = "2.40 m"
brim = "2.40 m"
"""


class House:
    """A listener, its journal, and a gateway that calls it."""

    def __init__(self, settings: Settings, journal: Journal) -> None:
        self.settings = settings
        self.journal = journal
        self.server = self._started()

    def restart(self) -> None:
        """Stop listening, and listen with nothing in memory."""
        self.server.stop()
        self.server = self._started()

    def _started(self) -> HttpServer:
        self.replies = Replies(self.settings, MachineClock())
        server = HttpServer(self.replies.doors())
        server.start()
        return server

    def call(self, *, word: str = WORD, field: str = "text", method: str = "POST") -> int:
        """A call that may be wrong in some way; its status."""
        assert self.settings.replies is not None
        with requests.Session() as session:
            session.trust_env = False
            answer = session.request(
                method,
                f"http://127.0.0.1:{self.settings.replies.listen_port}/replies",
                data=json.dumps({"from": YARD, field: "TH1", "id": "m"}),
                headers={"Authorization": f"Bearer {word}"},
                timeout=10,
            )
        return answer.status_code

    def text(self, text: str, sender: str = YARD, id_: str = "m1") -> str:
        """What the gateway is told."""
        assert self.settings.replies is not None
        with requests.Session() as session:
            session.trust_env = False
            answer = session.post(
                f"http://127.0.0.1:{self.settings.replies.listen_port}/replies",
                data=json.dumps({"from": sender, "text": text, "id": id_}),
                headers={"Authorization": f"Bearer {WORD}"},
                timeout=10,
            )
        assert answer.status_code == 200
        return answer.text.strip()

    def answers(self) -> list[tuple[str, str, str, str]]:
        """The answers that wait for the service: depot, person, words, opted."""
        waiting = [entry for _, entry in self.journal.inbox.waiting()]
        return [
            (entry.depot, entry.person, entry.body, entry.opted)
            for entry in waiting
            if isinstance(entry, Answer)
        ]


@contextmanager
def built(folder: Path, second_depot: str = SECOND_DEPOT) -> Iterator[House]:
    """Two depots; the yard lead is on call at both."""
    file = write_config(folder, 1883)
    replies = (
        f'[replies]\nkind = "bearer"\nport = {free_port()}\nid = "id"\n'
        'secret = { env = "BRINEWARD_TEST_REPLIES" }\n'
    )
    file.write_text(f"{file.read_text()}\n{replies}\n{second_depot}")
    settings = load_settings(file)
    with Journal.open(settings.journal.path) as journal:
        house = House(settings, journal)
        yield house
        house.server.stop()


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    """The depots TH and KR."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    with built(tmp_path) as house:
        yield house


def test_an_answer_is_of_the_depot_that_has_the_whole_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not of one whose letters the other's begin with."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    with built(tmp_path, SECOND_DEPOT.replace('"KR"', '"THN"')) as house:
        now = MachineClock().now()
        number_one = replace(raised(1, now, AlarmState.ACKNOWLEDGED), depot="kettle-ridge")
        commit(house.journal, number_one)
        house.text("THN1", sender=YARD)
        assert [depot for depot, *_ in house.answers()] == ["kettle-ridge"]


def test_a_reply_takes_and_is_answered(house: House) -> None:
    """The take and the words for the phone are handed to the service."""
    commit(house.journal, raised(2, MachineClock().now()))
    assert house.text("th2 on it 20 min", sender="5550141") == "taken"
    assert takes(house.journal) == [(2, "yard")]
    assert house.answers() == [
        ("tern-hollow", "yard", "You have TH2. Nobody else will be called about it.", "")
    ]


def test_half_a_character_spoils_no_text(house: House) -> None:
    """A gateway cut a picture in two: what was said before it is recorded all the same."""
    assert house.text("TH load 1200 truck 7\ud83d", id_="m1") == "recorded"
    house.text("TH load 900 truck 8", id_="m2")
    assert house.text("TH strike 1 wrong truck \ud83d", id_="m3") == "recorded"


def test_who_comes_second_reads_who_has_it(house: House) -> None:
    """By reply as at the command line."""
    now = MachineClock().now()
    commit(house.journal, raised(2, now, AlarmState.ACKNOWLEDGED, by="Yard lead"))
    assert house.text("TH2", sender=DISPATCH) == "not taken"
    [(_, person, words, _)] = house.answers()
    assert person == "dispatch"
    assert words.startswith("Yard lead has TH2 since ")


def test_only_who_is_on_call_there_takes_by_reply(house: House) -> None:
    """The dispatch desk is known, but not on call at Kettle Ridge."""
    at_kettle_ridge = replace(raised(1, MachineClock().now()), depot="kettle-ridge")
    commit(house.journal, at_kettle_ridge)
    house.text("KR1", sender=DISPATCH)
    assert house.answers() == [
        (
            "kettle-ridge",
            "dispatch",
            "You are not on call at Kettle Ridge. Yard lead can take KR1.",
            "",
        )
    ]
    assert takes(house.journal) == []


def test_the_hint_comes_from_the_journal(house: House) -> None:
    """It names what is active now, and nothing where nothing is."""
    house.text("what?", id_="a")
    commit(house.journal, raised(7, MachineClock().now()))
    house.text("what?", id_="b")
    assert [words for _, _, words, _ in house.answers()] == [
        "Not understood, so nothing was taken.",
        "Not understood, so nothing was taken. Reply TH7 to take it.",
    ]


def test_opting_out_and_in_is_said_to_every_depot_of_that_person(house: House) -> None:
    """Each depot keeps its own list of whom it reaches; the person is answered once."""
    house.text("STOP", id_="a")
    house.text("START", id_="b")
    assert house.answers() == [
        ("tern-hollow", "yard", "", "out"),
        ("kettle-ridge", "yard", "", "out"),
        ("tern-hollow", "yard", "You get alarm texts again.", "in"),
        ("kettle-ridge", "yard", "", "in"),
    ]


def test_a_stranger_changes_nothing(house: House) -> None:
    """No act, no answer, whatever the text says."""
    commit(house.journal, raised(2, MachineClock().now()))
    for number, text in enumerate(("TH2", "STOP", "what?")):
        assert house.text(text, sender=STRANGER, id_=f"m{number}") == "stranger"
    assert house.journal.inbox.waiting() == []


def test_a_message_handed_in_again_after_a_restart_does_nothing(house: House) -> None:
    """What was seen is in the journal."""
    house.text("what?", id_="m4")
    house.restart()
    assert house.text("what?", id_="m4") == "seen before"
    assert len(house.answers()) == 1


@pytest.mark.parametrize(
    ("wrong", "status", "why"),
    [
        ({"word": "hush"}, 401, "the Authorization header must be Bearer and the shared secret"),
        ({"field": "body"}, 400, "the field text is missing or no text"),
    ],
)
def test_a_gateway_whose_calls_are_refused_is_heard_of(
    house: House,
    caplog: pytest.LogCaptureFixture,
    wrong: dict[str, str],
    status: int,
    why: str,
) -> None:
    """Three in a row are no accident; one good call, and all is well. The log has the reason, once
    an hour, and nothing of what the caller wrote."""
    for _ in range(2):
        assert house.call(**wrong) == status
    assert house.call() == 200
    for _ in range(2):
        assert house.call(**wrong) == status
        assert house.replies.unheard() == ""
    house.call(**wrong)
    assert house.replies.unheard() == f"replies over HTTP are not heard: {why}"
    said = [one for one in caplog.messages if "refused" in one]
    assert said == [f"replies: a call to /replies refused, the last with {status}: {why}"]
    assert "hush" not in caplog.text
    assert house.call() == 200
    assert house.replies.unheard() == ""


def test_who_looks_round_does_not_make_a_gateway_seem_refused(house: House) -> None:
    """No gateway hands anything in with a GET."""
    assert [house.call(method="GET") for _ in range(5)] == [405] * 5
    assert house.replies.unheard() == ""
