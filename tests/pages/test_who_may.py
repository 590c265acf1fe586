"""Who gets in: by a code of one's own phone, once, from one browser; nobody else, by no way."""

import contextlib
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import requests

from brineward.config.settings import PageSettings
from brineward.page.doorway import LARGEST_BODY
from brineward.page.sessions import CODES_AN_HOUR, TRIES
from brineward.readings.entries import Handling, HandTest, ModeSet, Take
from brineward.readings.instants import DAY, MINUTE
from brineward.readings.values import Refusal
from brokers import until
from pages.page_bench import PageBench, page_bench
from pages.page_visits import YARD, token_in


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    """A page with one alarm."""
    with page_bench(tmp_path) as made:
        yield made


def refusals(bench: PageBench) -> list[str]:
    """What refused tries the status will tell of."""
    return [one.reason for one in bench.inbox() if isinstance(one, Refusal)]


def test_without_a_session_nothing_answers(
    bench: PageBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """But the page for signing in and its assets, whatever path there is; and not one word of the
    depot."""
    monkeypatch.setattr("brineward.page.doorway.CALLS_AT_ONCE", 1e9)
    closed = [one for one in bench.paths if not one.startswith(("/sign-in", "/assets/"))]
    assert len(closed) > 20
    for path in [*closed, "/nowhere"]:
        page = requests.get(bench.base + path, timeout=10)
        assert page.status_code == 401, path
        assert "Tern Hollow" not in page.text
        page = requests.get(bench.base + path, headers={"accept": "text/html"}, timeout=10)
        assert page.url == f"{bench.base}/sign-in", path
        assert "Tern Hollow" not in page.text
        posted = requests.post(bench.base + path, data={"a": "b"}, timeout=10)
        assert posted.status_code == 401, path


def test_a_code_counts_once_in_its_browser_for_ten_minutes(bench: PageBench) -> None:
    """The right code from another browser, again, late, or after five wrong ones fails."""
    mine, other = requests.Session(), requests.Session()
    page = bench.ask_code(mine, YARD)
    until(lambda: len(bench.codes()) == 1, 10, "a code")
    code = bench.codes()[0]
    elsewhere = bench.ask_code(other, "+1 555 0199")
    assert bench.enter(other, elsewhere.text, code).status_code == 403
    again = requests.Session()
    again.cookies.update(mine.cookies)
    assert bench.enter(mine, page.text, code).url == f"{bench.base}/"
    assert bench.enter(again, page.text, code).status_code == 403, "the same browser, once more"

    late = requests.Session()
    page = bench.ask_code(late, YARD)
    until(lambda: len(bench.codes()) == 2, 10, "a code")
    bench.clock.ahead = 11 * MINUTE
    assert bench.enter(late, page.text, bench.codes()[1]).status_code == 403
    bench.clock.ahead = 0

    tried = requests.Session()
    page = bench.ask_code(tried, YARD)
    until(lambda: len(bench.codes()) == 3, 10, "a code")
    wrong = "000000" if bench.codes()[2] != "000000" else "111111"
    for _ in range(TRIES):
        assert bench.enter(tried, page.text, wrong).status_code == 403
    assert bench.enter(tried, page.text, bench.codes()[2]).status_code == 403
    assert "page-code-wrong" in refusals(bench)


def test_a_strange_number_gets_no_code_and_learns_nothing(bench: PageBench) -> None:
    """The answer is the same; the try is told; and nobody's phone rings all night."""
    known, strange = requests.Session(), requests.Session()
    answers = [bench.ask_code(known, YARD), bench.ask_code(strange, "+1 555 0199")]
    assert answers[0].status_code == answers[1].status_code == 200
    plain = [page.text.replace(token_in(page.text), "") for page in answers]
    assert plain[0] == plain[1]
    until(lambda: "page-number-unknown" in refusals(bench), 10, "the refusal")
    for _ in range(CODES_AN_HOUR + 2):
        bench.ask_code(requests.Session(), YARD)
    until(lambda: "page-too-many-codes" in refusals(bench), 10, "the bound")
    assert len(bench.codes()) == CODES_AN_HOUR


def test_sessions_are_not_forged_and_come_to_an_end(bench: PageBench) -> None:
    """A changed, expired or signed-out cookie is none; a good one is http-only and same-site."""
    session = bench.signed_in()
    cookie = next(one for one in session.cookies if one.name == "brineward")
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "strict"
    value = str(cookie.value)
    for forged in (value[:-2] + "aa", value.replace(".", "", 1), "", "a.b", "x" * 3000):
        answer = requests.get(bench.depot, cookies={"brineward": forged}, timeout=10)
        assert answer.status_code == 401, forged
    bench.clock.ahead = 31 * DAY
    assert session.get(bench.depot, timeout=10).status_code == 401
    bench.clock.ahead = 0
    page = session.get(bench.depot, timeout=10)
    session.post(f"{bench.base}/sign-out", data={"token": token_in(page.text)}, timeout=10)
    answer = requests.get(bench.depot, cookies={"brineward": value}, timeout=10)
    assert answer.status_code == 401
    key = bench.settings.journal.path.with_name("tern-hollow.journal.page-key")
    assert key.stat().st_mode & 0o777 == 0o600


def test_a_take_is_done_once_by_its_own_form(bench: PageBench) -> None:
    """Sent twice it is one act with who; another site's, another session's and no token do none."""
    yard, dispatch = bench.signed_in("yard"), bench.signed_in("dispatch")
    take = f"{bench.depot}/alarm/12/take"
    token = token_in(yard.get(take, timeout=10).text.split("<form", 1)[1])
    form = {"token": token}
    assert dispatch.post(take, data=form, timeout=10).status_code == 409
    assert yard.post(take, data={"token": token + "x"}, timeout=10).status_code == 409
    assert yard.post(take, timeout=10, data={}).status_code in (409, 415)
    for headers in (
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        assert yard.post(take, data=form, headers=headers, timeout=10).status_code == 403
    assert not [one for one in bench.inbox() if isinstance(one, Take)]
    first = yard.post(take, data=form, timeout=10)
    again = yard.post(take, data=form, timeout=10)
    assert again.url == first.url
    assert "You have TH12" in first.text
    assert "You have TH12" in again.text, "what came of it the first time"
    takes = [one for one in bench.inbox() if isinstance(one, Take)]
    assert [(one.number, one.by) for one in takes] == [(12, "yard")]
    other = {"token": token_in(dispatch.get(take, timeout=10).text.split("<form", 1)[1])}
    assert "Yard lead has TH12" in dispatch.post(take, data=other, timeout=10).text
    assert "page-cross-site" in refusals(bench)


def test_every_act_reaches_the_inbox_with_who(bench: PageBench) -> None:
    """Shelve for so long, a test as it was computed, a mode: each as the commands post it."""
    yard = bench.signed_in()

    def sent(path: str, **form: str) -> str:
        token = token_in(yard.get(f"{bench.depot}/mode", timeout=10).text)
        url = f"{bench.depot}{path}"
        return yard.post(url, data={"token": token, **form}, timeout=10).text

    assert "shelved until" in sent("/alarm/12/shelve", hours="1")
    typed = {"kind": "specific_gravity", "value": "1,178", "temperature": "64", "unit": "F"}
    assert "% salt" in sent("/test", **typed)
    assert not [one for one in bench.inbox() if isinstance(one, HandTest)], "not confirmed yet"
    assert "Entered: 1.178" in sent("/test", sure="yes", cleaned="yes", **typed)
    assert "laid up" in sent("/mode", mode="laid up")
    # A double click: both at once, one act.
    form = {**typed, "sure": "yes", "value": "1.170"}
    form["token"] = token_in(yard.get(f"{bench.depot}/mode", timeout=10).text)
    jar = yard.cookies.get_dict()
    with ThreadPoolExecutor(4) as clicks:
        url = f"{bench.depot}/test"
        clicked = [
            clicks.submit(requests.post, url, data=form, cookies=jar, timeout=10) for _ in range(4)
        ]
    assert {one.result().status_code for one in clicked} == {200}
    entered = [one.entered for one in bench.inbox() if isinstance(one, HandTest)]
    assert entered == ["1.178 at 17.8 degC", "1.17 at 17.8 degC"]
    handled, test, mode = (
        next(one for one in bench.inbox() if isinstance(one, kind))
        for kind in (Handling, HandTest, ModeSet)
    )
    assert (handled.what, handled.number, handled.by) == ("shelve", 12, "yard")
    assert handled.until - handled.time == 60 * MINUTE
    # NaCl brine of 1.178 at 15.6 degC is 23.7 % by the published tables of its density.
    assert test.mass_fraction == pytest.approx(0.237, abs=0.004)
    assert (test.vessel, test.by, mode.by, mode.mode) == ("main", "yard", "yard", "laid up")


def test_who_may_only_look_can_do_nothing(tmp_path: Path) -> None:
    """Whom `look` names sees no button, and a form that is sent all the same is refused."""
    page = PageSettings(look=("dispatch",))
    with page_bench(tmp_path, page, on_call=("yard",)) as bench:
        session = bench.signed_in("dispatch")
        shown = session.get(bench.depot, timeout=10)
        assert "TH12" in shown.text
        assert "Take TH12" not in shown.text
        form = {"token": token_in(shown.text), "mode": "laid up"}
        for path in ("/alarm/12/take", "/alarm/12/shelve", "/mode", "/test"):
            assert session.post(bench.depot + path, data=form, timeout=10).status_code == 403, path
        assert not [one for one in bench.inbox() if isinstance(one, Take | ModeSet | HandTest)]


def test_a_proxys_header_counts_only_from_the_proxy(tmp_path: Path) -> None:
    """From its address it names who is there; from anywhere else it is a header like others."""
    header = {"Remote-User": "yard"}
    proxied = PageSettings(proxy="127.0.0.1", proxy_header="Remote-User")
    with page_bench(tmp_path, proxied) as bench:
        assert "TH12" in requests.get(bench.depot, headers=header, timeout=10).text
        strange = requests.get(bench.depot, headers={"Remote-User": "mallory"}, timeout=10)
        assert strange.status_code == 403
        assert requests.get(bench.depot, timeout=10).status_code == 403
        secure = {**header, "x-forwarded-proto": "https"}
        answer = requests.get(bench.depot, headers=secure, timeout=10)
        assert "strict-transport-security" in answer.headers
    (tmp_path / "b").mkdir()
    elsewhere = PageSettings(proxy="192.0.2.7", proxy_header="Remote-User")
    with page_bench(tmp_path / "b", elsewhere) as bench:
        assert requests.get(bench.depot, headers=header, timeout=10).status_code == 401


def test_every_answer_forbids_what_no_page_needs(bench: PageBench) -> None:
    """A strict policy without inline code, on every answer, and no inline code on any page."""
    session = bench.signed_in()
    for path in [*bench.paths, "/nowhere"]:
        if path.endswith("/live") or "/reports/" in path:
            continue  # without end; with a policy of its own
        answer = session.get(bench.base + path, timeout=10)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        if "html" in answer.headers["content-type"]:
            assert " style=" not in answer.text
            assert " onclick" not in answer.text
            assert "<script>" not in answer.text


def test_too_long_and_too_many_are_refused(
    bench: PageBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A body beyond the bound, one without a length, and a flood; soon after it goes on."""
    monkeypatch.setattr("brineward.page.doorway.CALLS_AT_ONCE", 8.0)
    monkeypatch.setattr("brineward.page.doorway.CALLS_A_SECOND", 1.0)
    url = f"{bench.base}/sign-in"
    assert requests.post(url, data="x" * (LARGEST_BODY + 1), timeout=10).status_code == 413
    assert requests.post(url, data=iter([b"x"]), timeout=10).status_code == 411
    session = requests.Session()
    assert any(session.get(url, timeout=10).status_code == 429 for _ in range(20))
    until(lambda: session.get(url, timeout=10).status_code == 200, 10, "the pace again")


def test_a_slow_caller_holds_up_nobody(bench: PageBench) -> None:
    """A hundred callers that say half a request: others are served, and the slow are hung up on."""
    port = int(bench.base.rsplit(":", 1)[1])
    slow = []
    for _ in range(100):
        one = socket.create_connection(("127.0.0.1", port), timeout=15)
        one.sendall(b"GET /sign-in HTTP/1.1\r\nHost: x\r\nX-Half: ")
        slow.append(one)
    slow.append(socket.create_connection(("127.0.0.1", port), timeout=15))  # says nothing at all
    began = time.monotonic()
    assert requests.get(f"{bench.base}/sign-in", timeout=10).status_code == 200
    assert time.monotonic() - began < 8.0, "it waited for the slow ones"
    slow[-1].settimeout(14)
    with contextlib.suppress(ConnectionError):
        assert slow[-1].recv(100) == b""
    for one in slow:
        one.close()
