"""The contract of a write: every answer that a server may give, and what becomes of the points."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.settings import ExportSettings, Secret
from brineward.export import influx
from brineward.export.answers import Lost, judge
from brineward.export.delivery import Delivery, Doubt
from brineward.export.influx import sender_of
from brineward.followers.cursor import NotNow
from export_servers import Told, told

LINES = [f"reading,depot=a,sensor=s value={n}.0 {n}" for n in range(100)]
SAYS_BAD = b'{"code":"invalid","message":"unable to parse: partial write: dropped=1"}'


class Asides:
    """Keeps what is set aside."""

    def __init__(self) -> None:
        self.kept: dict[str, str] = {}

    def put(self, points: Mapping[str, str]) -> None:
        """Keep it."""
        self.kept |= points


@pytest.fixture(params=[1, 2])
def api(request: pytest.FixtureRequest) -> int:
    """Both versions."""
    return int(request.param)


def delivery(url: str, api: int, asides: Asides, token: Secret | None = None) -> Delivery:
    """To a server that is told its answers."""
    export = ExportSettings(id="x", url=url, api=api, org="o", bucket="brine", token=token)  # type: ignore[arg-type]
    clock = MachineClock()
    return Delivery(sender_of(export, clock), asides.put, clock)


def put_off(server: Told, url: str, api: int) -> NotNow:
    """What a delivery says that must be made again; nothing was set aside."""
    asides = Asides()
    with pytest.raises(NotNow) as why:
        delivery(url, api, asides).deliver(LINES)
    assert asides.kept == {}
    return why.value


def test_a_whole_batch_is_one_write(api: int, tmp_path: Path) -> None:
    """Place, precision, bucket and token are where the server looks for them."""
    (tmp_path / "token").write_text("s3cret\n")
    with told() as (server, url):
        delivery(url, api, Asides(), Secret(file=tmp_path / "token")).deliver(LINES)
    assert server.written == LINES
    assert server.asked == 1
    path = server.paths[0]
    assert path.startswith("/write?" if api == 1 else "/api/v2/write?")
    assert "precision=ms" in path
    assert ("db=brine" if api == 1 else "bucket=brine") in path
    assert server.headers[0]["Authorization"] == "Token s3cret"


@pytest.mark.parametrize("status", [400, 422])
def test_bad_points_are_found_and_set_aside_with_the_servers_words(api: int, status: int) -> None:
    """Two bad points of a hundred: the others are written, those two are kept, each once."""
    bad = {LINES[3], LINES[77]}
    with told() as (server, url):
        server.answer = lambda lines: (status, {}, SAYS_BAD) if bad & set(lines) else (204, {}, b"")
        asides = Asides()
        delivery(url, api, asides).deliver(LINES)
    assert set(server.written) == set(LINES) - bad
    assert set(asides.kept) == bad
    assert set(asides.kept.values()) == {"unable to parse: partial write: dropped=1"}
    assert server.asked < 40


def test_too_large_is_split_and_loses_nothing(api: int) -> None:
    """413, also from a proxy in front: smaller writes, in the same order."""
    with told() as (server, url):
        server.answer = lambda lines: (
            (413, {}, b"<html>too large</html>") if len(lines) > 30 else (204, {}, b"")
        )
        asides = Asides()
        delivery(url, api, asides).deliver(LINES)
    assert server.written == LINES
    assert asides.kept == {}


@pytest.mark.parametrize("status", [200, 301, 401, 403, 404, 429, 500, 502, 503])
def test_every_other_answer_means_again_later(api: int, status: int) -> None:
    """No login page, no wrong token and no missing bucket costs a point."""
    with told() as (server, url):
        server.answer = lambda lines: (status, {}, b'{"code":"x","message":"Not so."}')
        why = put_off(server, url, api)
    assert f"HTTP {status}" in str(why)
    assert status == 200 or '"Not so."' in str(why)


def test_a_proxys_400_costs_no_point(api: int) -> None:
    """A page that is not the server's own form of refusal is no judgement of the points."""
    with told() as (server, url):
        server.answer = lambda lines: (400, {}, b"<html>plain HTTP sent to HTTPS port</html>")
        assert "HTTP 400" in str(put_off(server, url, api))
        assert server.asked == 1


@pytest.mark.parametrize("status", [429, 503])
def test_the_wait_that_a_server_asks_for_is_kept(api: int, status: int) -> None:
    """Retry-After in seconds reaches the follower, up to its bound."""
    with told() as (server, url):
        server.answer = lambda lines: (status, {"Retry-After": "120"}, b"")
        assert put_off(server, url, api).wait_seconds == 120.0
        server.answer = lambda lines: (status, {"Retry-After": "99999999999"}, b"")
        assert put_off(server, url, api).wait_seconds == 3600.0


def test_a_date_is_a_wait_too() -> None:
    """RFC 9110 allows a date; one that is past, or rubbish, asks for nothing."""
    for asked, wait in (
        ("Thu, 01 Jan 1970 00:02:00 GMT", 20.0),
        ("Thu, 01 Jan 1970 00:00:00 GMT", 0.0),
        ("soon", 0.0),
    ):
        with pytest.raises(NotNow) as why:
            judge(503, {"Retry-After": asked}, b"", 100.0)
        assert why.value.wait_seconds == wait


@pytest.mark.parametrize("fault", ["cut", "hang"])
def test_a_cut_or_hanging_connection_means_again_later(
    api: int, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody knows what was written: all of it is sent again."""
    monkeypatch.setattr(influx, "ANSWER_SECONDS", 0.3)
    with told() as (server, url):
        server.answer = lambda lines: fault
        assert "did not answer" in str(put_off(server, url, api))


def test_nobody_listens(api: int) -> None:
    """A server that is down is a sentence, and no traceback."""
    with told() as (_, url):
        pass
    with pytest.raises(NotNow, match="did not answer"):
        delivery(url, api, Asides()).deliver(LINES)


def test_a_delivery_goes_on_where_it_stopped(api: int) -> None:
    """Halves that were written before a failure are not sent again with the same batch."""
    with told() as (server, url):
        told_once = iter([(400, {}, SAYS_BAD), (204, {}, b""), (429, {}, b""), (204, {}, b"")])
        server.answer = lambda lines: next(told_once)
        one = delivery(url, api, Asides())
        with pytest.raises(NotNow):
            one.deliver(LINES)
        one.deliver(list(LINES))
    assert server.written == LINES


@pytest.mark.parametrize("fault", [(503, {}, b""), "cut"])
def test_a_server_that_may_be_gone_gets_the_whole_batch_again(
    api: int, fault: tuple[int, dict[str, str], bytes] | str
) -> None:
    """What it took of the batch before it failed may be lost with it."""
    with told() as (server, url):
        told_once = iter([(400, {}, SAYS_BAD), (204, {}, b""), fault, (204, {}, b"")])
        server.answer = lambda lines: next(told_once)
        one = delivery(url, api, Asides())
        with pytest.raises(Lost):
            one.deliver(LINES)
        server.written.clear()
        one.deliver(list(LINES))
    assert server.written == LINES


def test_another_connection_is_a_doubt_unless_it_was_announced(api: int) -> None:
    """A server that ends a connection without a word may be another one now."""
    with told() as (server, url):
        one = delivery(url, api, Asides())
        assert one.deliver(LINES[:1]) is Doubt.NONE
        assert one.deliver(LINES[1:2]) is Doubt.NONE
        server.die()
        assert one.deliver(LINES[2:3]) is Doubt.BEFORE
        assert one.deliver(LINES[3:4]) is Doubt.NONE
        server.closes = "said"
        assert one.deliver(LINES[4:5]) is Doubt.NONE
        assert one.deliver(LINES[5:6]) is Doubt.NONE
        server.closes = ""
        assert one.deliver(LINES[6:7]) is Doubt.NONE
        server.die()
        assert one.deliver(LINES[7:8]) is Doubt.BEFORE


def test_only_a_refused_connection_says_for_sure_that_nobody_is_there(api: int) -> None:
    """A cut may be the network's; nobody listening is the server's end."""
    with told() as (server, url):
        server.answer = lambda lines: "cut"
        with pytest.raises(Lost) as cut:
            delivery(url, api, Asides()).deliver(LINES)
    with pytest.raises(Lost) as refused:
        delivery(url, api, Asides()).deliver(LINES)
    assert (cut.value.surely, refused.value.surely) == (False, True)


def test_a_missing_token_is_a_sentence(api: int, tmp_path: Path) -> None:
    """The file is not there yet: it is said, and looked for again at the next try."""
    with told() as (server, url):
        one = delivery(url, api, Asides(), Secret(file=tmp_path / "token"))
        with pytest.raises(NotNow, match="can't be read"):
            one.deliver(LINES)
        (tmp_path / "token").write_text("abc")
        one.deliver(LINES)
    assert server.written == LINES
