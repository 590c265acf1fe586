"""Replies from a gateway over real HTTP, to an act of a person."""

import json

import pytest
import requests

from brineward.readings.instants import DAY, MINUTE
from brineward.texts.reply_judge import (
    ANSWERS_AN_HOUR,
    COPY_WINDOW,
    ReplyOutcome,
)
from brineward.texts.reply_listener import LARGEST_BODY
from brineward.wording.gsm import septets
from texts.reply_post import (
    NOT_ACTIVE,
    SECRET,
    WORD,
    Post,
    SeenInMemory,
    post,
    posts,
    started,
)

__all__ = ["post", "posts"]


def test_a_signed_reply_becomes_a_take_and_an_answer(post: Post) -> None:
    """The act says which alarm and who; the phone is told so."""
    answer = post.text("th 12 ok")
    assert (answer.status_code, answer.text) == (200, "taken\n")
    act = post.takes[0]
    assert (act.depot, act.number, act.by) == ("tern-hollow", 12, "yard")
    assert act.time == act.received
    assert post.outcomes == [
        ReplyOutcome(
            kind="taken",
            person="yard",
            answer="You have TH12. Nobody else will be called about it.",
            code="TH12",
        )
    ]


def test_what_cannot_be_taken_is_said_to_the_phone(post: Post) -> None:
    """Nobody believes to have an alarm that is not theirs."""
    post.text("TH99")
    assert post.outcomes[0].kind == "not taken"
    assert post.outcomes[0].answer == NOT_ACTIVE


def test_a_copy_of_a_message_takes_nothing_twice(post: Post) -> None:
    """A gateway that hands in again is answered well, and nothing happens again."""
    post.text("TH12", id_="m7")
    again = post.text("TH12", id_="m7")
    assert (again.status_code, again.text) == (200, "seen before\n")
    assert len(post.takes) == len(post.outcomes) == 1


def test_what_else_is_asked_for_is_handed_on_and_answered(post: Post) -> None:
    """Shelving by a text: who, which and until when; without a length nothing is done."""
    assert post.text("th12 shelve 2h", id_="m1").text == "handled\n"
    (act,) = post.handlings
    assert (act.what, act.number, act.by) == ("shelve", 12, "yard")
    assert act.until - act.time == 2 * 3_600_000
    assert post.text("TH12 shelve", id_="m2").text == "not understood\n"
    assert post.text("TH12 not me", id_="m3").text == "handled\n"
    assert [one.what for one in post.handlings] == ["shelve", "hand back"]
    assert [one.answer for one in post.outcomes[:2]] == [
        "TH3 is shelved until 05:10; then it is judged afresh.",
        "For how long? Reply TH12 hold 2h, or another time.",
    ]


def test_a_message_that_failed_on_our_side_can_be_handed_in_again(post: Post) -> None:
    """The gateway is told so, we report the error without its words, and the copy counts."""
    post.fail_next = True
    failed = post.text("TH12", id_="m8")
    assert (failed.status_code, failed.text) == (500, "not dealt with; hand it in again\n")
    assert post.text("TH12", id_="m8").text == "taken\n"
    assert len(post.takes) == 1
    assert "LookupError at " in post.troubles[0]
    assert "hush" not in post.troubles[0]


def test_a_forged_message_is_refused(post: Post) -> None:
    """Without a fitting signature nothing is read."""
    answer = post.hand_in(b'{"from": "15550141", "text": "TH12"}', {"webhook-id": "m1"})
    assert answer.status_code == 401
    assert post.takes == []
    assert post.outcomes == []


def test_a_stranger_takes_nothing_and_gets_no_answer(post: Post) -> None:
    """Texts go to people of the config only, whoever writes."""
    assert post.text("TH12", sender="+1 555 0199").text == "stranger\n"
    assert post.takes == []
    assert post.outcomes == [ReplyOutcome(kind="stranger", person=None, answer="")]


def test_who_opts_out_and_in_again_is_noted(post: Post) -> None:
    """STOP says that texts no longer arrive, so it is not answered; START says that they do."""
    for number, word in enumerate(("STOP", "help", "start")):
        post.text(word, id_=f"m{number}")
    assert [(each.kind, each.opted, each.person) for each in post.outcomes] == [
        ("opted out", "out", "yard"),
        ("carrier word", "", "yard"),
        ("opted in", "in", "yard"),
    ]
    assert [each.answer for each in post.outcomes] == ["", "", "You get alarm texts again."]
    assert post.takes == []


def test_a_stranger_opts_nobody_out(post: Post) -> None:
    """Whoever texts STOP stops texts to their own number only."""
    post.text("STOP", sender="+1 555 0199")
    assert [(each.kind, each.person) for each in post.outcomes] == [("stranger", None)]


def test_yes_alone_is_told_how_to_take_what_is_active(post: Post) -> None:
    """To the carrier it means texts again; half asleep it means the alarm, and takes nothing."""
    post.takable = ["TH2"]
    post.text("yes", id_="a")
    post.takable = []
    post.text("yes", id_="b")
    assert [each.kind for each in post.outcomes] == ["opted in", "opted in"]
    assert [each.answer for each in post.outcomes] == [
        "Not understood, so nothing was taken. Reply TH2 to take it.",
        "",
    ]


@pytest.mark.parametrize(
    ("text", "takable", "answer"),
    [
        ("what?", [], "Not understood, so nothing was taken."),
        ("what?", ["TH2"], "Not understood, so nothing was taken. Reply TH2 to take it."),
        ("what?", ["TH2", "KR7"], "Not understood, so nothing was taken. Reply TH2 or KR7."),
        (
            "what?",
            ["TH2", "TH3", "TH4", "TH5"],
            "Not understood, so nothing was taken. Reply TH2, TH3 or TH4.",
        ),
        (
            "TH3 is not mine",
            ["TH2", "TH3"],
            "Not understood, so nothing was taken. Reply TH3 to take it.",
        ),
        (
            "TH9 is not mine",
            ["TH2"],
            "Not understood, so nothing was taken. Reply TH2 to take it.",
        ),
        (
            "TH2 and TH3",
            ["TH2", "TH3"],
            "Nothing was taken: one alarm in each text, please. Reply TH2 or TH3.",
        ),
    ],
)
def test_the_hint_names_an_alarm_that_can_be_taken_now(
    text: str, takable: list[str], answer: str, post: Post
) -> None:
    """Never a made-up code; the one that the person named, where that is active."""
    post.takable = takable
    post.text(text)
    assert [(each.kind, each.answer) for each in post.outcomes] == [("not understood", answer)]
    assert post.takes == []


def test_two_machines_do_not_talk_all_night(post: Post) -> None:
    """An automatic reply is told "not understood" a few times, then left alone; takes count."""
    for number in range(ANSWERS_AN_HOUR + 2):
        post.text("I am out of office", id_=f"m{number}")
    answered = [bool(each.answer) for each in post.outcomes]
    assert answered == [True] * ANSWERS_AN_HOUR + [False, False]
    assert post.text("TH12", id_="x").text == "taken\n"
    assert post.outcomes[-1].answer


def test_every_answer_is_one_segment(post: Post) -> None:
    """Even with the longest letters and numbers of many alarms."""
    post.takable = [f"WXYZ{10**8 + number}" for number in range(50)]
    post.text("what?")
    assert septets(post.outcomes[0].answer) <= 160


def test_what_was_seen_before_a_restart_is_seen_after_it(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A gateway that hands in again after our restart is answered well, and nothing happens."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    seen = SeenInMemory()
    assert started(posts, seen=seen).text("TH12", id_="m9").text == "taken\n"
    later = started(posts, seen=seen)
    assert later.text("TH12", id_="m9").text == "seen before\n"
    assert later.takes == []


def test_what_is_remembered_of_a_message_is_small(post: Post) -> None:
    """A gateway's id may be as long as it likes; what is kept of it is not, nor is the text."""
    post.text("TH12", id_="m" * 5000)
    assert [len(key) < 100 for key in post.seen.keys] == [True]


def test_a_take_without_an_id_is_not_taken_again_for_minutes(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy of a bearer's message does nothing; after ten minutes it is a new one."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer")
    headers = {"Authorization": f"Bearer {WORD}"}
    body = b'{"from": "15550141", "text": "TH12"}'
    assert post.hand_in(body, headers).text == "taken\n"
    for ahead in (0, COPY_WINDOW - 1000):
        post.clock.ahead = ahead
        assert post.hand_in(body, headers).text == "seen before\n"
    assert post.hand_in(body.replace(b"12", b"13"), headers).text == "taken\n"
    post.clock.ahead = 2 * COPY_WINDOW
    assert post.hand_in(body, headers).text == "taken\n"
    assert len(post.takes) == 3


def test_words_that_took_nothing_count_when_they_come_again(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """TH99 before it is active and TH99 a minute later are two texts of a person, not a copy."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer")
    body = b'{"from": "15550141", "text": "TH99"}'
    for _ in range(2):
        assert post.hand_in(body, {"Authorization": f"Bearer {WORD}"}).text == "not taken\n"
    assert len(post.takes) == 2


@pytest.mark.parametrize("text", ["TH12", "TH load 1200 truck 7", "status"])
def test_the_same_words_by_a_modem_without_a_stamp_are_new_after_a_while(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    """Its id is then the same each time: a copy within minutes counts once, tomorrow's text counts
    again. With a stamp the id is its own, and known for as long as it is remembered."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer")

    def counts(after: int, *, stamped: bool = False) -> bool:
        post.clock.ahead = after
        sent = post.clock.now() if stamped else None
        return post.judge.hand_in("+15550141", text, f"m {stamped}", sent) is not None

    times = (0, 4 * MINUTE, DAY, DAY + 4 * MINUTE, DAY + 15 * MINUTE)
    assert [counts(after) for after in times] == [True, False, True, False, True]
    assert [counts(after, stamped=True) for after in times] == [True, *[False] * 4]


def test_a_gateway_with_a_shared_word_form_fields_and_names_of_its_own(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Field names come from the config, a form will do, and its own id is kept against copies."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(
        posts, kind="bearer", sender_key="From", text_key="Body", id_key="Sid", path="/in"
    )
    headers = {
        "Authorization": f"Bearer {WORD}",
        "Content-Type": "application/x-www-form-urlencoded; charset=utf-8",
    }
    body = b"From=%2B15550141&Body=take+kr3&Sid=s1"
    assert post.hand_in(body, headers).text == "taken\n"
    assert post.hand_in(body, headers).text == "seen before\n"
    assert post.hand_in(body, headers | {"Authorization": "Bearer wrong"}).status_code == 401
    assert [act.depot for act in post.takes] == ["kettle-ridge"]


def test_nested_json_fields(posts: list[Post], monkeypatch: pytest.MonkeyPatch) -> None:
    """Dots step into nested objects, and a sender may be a number."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer", sender_key="message.from", text_key="message.text")
    headers = {"Authorization": f"Bearer {WORD}"}
    body = json.dumps({"message": {"from": 15550141, "text": "TH12"}}).encode()
    assert post.hand_in(body, headers).text == "taken\n"


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"1", b"\xff", b"[" * 10_000, b'{"from": "1"}', b'{"text": "TH12"}',
        b'{"from": null, "text": "TH12"}', b'{"from": true, "text": "TH12"}',
        b'{"from": {"a": 1}, "text": "TH12"}', b'{"from": 1e400, "text": "TH12"}',
        b'{"from": ' + b"9" * 3000 + b', "text": "TH12"}',
    ],
)  # fmt: skip
def test_a_body_that_makes_no_sense_is_refused(
    body: bytes, posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The gateway is told that it is wrong; the listener goes on."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer")
    assert post.hand_in(body, {"Authorization": f"Bearer {WORD}"}).status_code == 400
    assert post.takes == []
    assert post.troubles == []


def test_a_form_of_ten_thousand_fields_is_refused(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A form is bounded in fields as well as in bytes."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    post = started(posts, kind="bearer")
    headers = {
        "Authorization": f"Bearer {WORD}",
        "Content-Type": "application/x-www-form-urlencoded",
    }
    assert post.hand_in(b"from=1&text=2" + b"&a" * 5000, headers).status_code == 400


def test_a_missing_secret_refuses_everybody_and_is_reported(
    post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a secret nobody is let in; the gateway is told to come again."""
    monkeypatch.delenv("BRINEWARD_TEST_REPLIES")
    assert post.text("TH12").status_code == 503
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", "whsec_not Base64!")
    assert post.text("TH12").status_code == 503
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    assert post.text("TH12").status_code == 200
    assert "BRINEWARD_TEST_REPLIES is not set" in post.troubles[0]
    assert "not Base64" in post.troubles[1]


def test_wrong_places_sizes_and_methods(post: Post) -> None:
    """Each is refused for what it is, before anything is read."""
    with requests.Session() as session:
        session.trust_env = False
        elsewhere = session.post(post.url + "x", data=b"", timeout=10)
        read = session.get(post.url, timeout=10)
        large = session.post(post.url, data=b" " * (LARGEST_BODY + 1), timeout=10)
        unsized = session.post(post.url, data=iter([b"a"]), timeout=10)
    assert [each.status_code for each in (elsewhere, read, large, unsized)] == [404, 405, 413, 411]
    assert "Python" not in read.headers.get("Server", "")
