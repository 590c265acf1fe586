"""Signatures on messages that gateways hand in, against the specification's own library."""

import base64
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from standardwebhooks import Webhook  # the reference library of Standard Webhooks

from brineward.readings.instants import MINUTE, SECOND
from brineward.texts.signatures import (
    BadKey,
    NotGenuine,
    check_bearer,
    check_signed,
    signing_key,
)

NOW = 1_767_225_600_000
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # the example of the reference library's tests
BODY = b'{"from": "+1 555 0141", "text": "TH12"}'


def signed(body: bytes = BODY, at: int = NOW, secret: str = SECRET) -> dict[str, str]:
    """Headers as the reference library signs."""
    moment = datetime.fromtimestamp(at / SECOND, tz=UTC)
    return {
        "webhook-id": "m1",
        "webhook-timestamp": str(at // SECOND),
        "webhook-signature": Webhook(secret).sign("m1", moment, body.decode()),
    }


@given(st.text(max_size=50), st.binary(min_size=1, max_size=64), st.integers(-300, 300))
def test_what_the_reference_library_signs_is_genuine(text: str, key: bytes, skew: int) -> None:
    """Any body, any key, within five minutes either way (library: standardwebhooks on PyPI)."""
    secret = "whsec_" + base64.b64encode(key).decode()
    headers = signed(text.encode(), NOW + skew * SECOND, secret)
    assert check_signed(headers, text.encode(), signing_key(secret), NOW) == "m1"


def test_the_reference_librarys_known_signature() -> None:
    """The value printed in that library's own tests, so that both could not be wrong alike."""
    headers = {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    }
    body = b'{"test": 2432232314}'
    found = check_signed(headers, body, signing_key(SECRET), 1_614_265_330 * SECOND)
    assert found == "msg_p5jXN8AQM9LWM0D4loKWxJek"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"webhook-id": "m2"}, "no signature fits"),
        ({"webhook-timestamp": str(NOW // SECOND + 1)}, "no signature fits"),
        ({"webhook-signature": "v1,"}, "no signature fits"),
        ({"webhook-signature": "v1,é" + "A" * 43}, "no signature fits"),
        ({"webhook-signature": "v2,AAAA v1a,AAAA"}, "no signature fits"),
        ({"webhook-signature": ""}, "are all needed"),
        ({"webhook-id": ""}, "are all needed"),
        ({"webhook-timestamp": ""}, "are all needed"),
    ],
)
def test_a_changed_message_is_not_genuine(change: dict[str, str], words: str) -> None:
    """Nothing of what is signed can be changed or left out."""
    with pytest.raises(NotGenuine, match=words):
        check_signed(signed() | change, BODY, signing_key(SECRET), NOW)


def test_a_changed_body_or_another_key_is_not_genuine() -> None:
    """The body counts byte by byte, and only with the right key."""
    with pytest.raises(NotGenuine, match="no signature fits"):
        check_signed(signed(), BODY + b" ", signing_key(SECRET), NOW)
    with pytest.raises(NotGenuine, match="no signature fits"):
        check_signed(signed(), BODY, b"another", NOW)


@pytest.mark.parametrize("skew", [-5 * MINUTE - SECOND, 5 * MINUTE + SECOND])
def test_an_old_or_future_message_is_not_genuine(skew: int) -> None:
    """Five minutes of skew and not a second more."""
    with pytest.raises(NotGenuine, match="five minutes"):
        check_signed(signed(at=NOW + skew), BODY, signing_key(SECRET), NOW)


def test_one_of_several_signatures_is_enough() -> None:
    """While a key is changed a gateway signs with both; a long list is not read to its end."""
    headers = signed()
    right = headers["webhook-signature"]
    headers["webhook-signature"] = f"v1,AAAA {right} v2,zz"
    assert check_signed(headers, BODY, signing_key(SECRET), NOW) == "m1"
    headers["webhook-signature"] = "v1,AAAA " * 16 + right
    with pytest.raises(NotGenuine):
        check_signed(headers, BODY, signing_key(SECRET), NOW)


@pytest.mark.parametrize("secret", ["whsec_", "whsec_hush!", "", "höhö"])
def test_a_secret_that_is_no_key_is_said_without_quoting_it(secret: str) -> None:
    """An empty or mistyped key never passes for one."""
    with pytest.raises(BadKey) as caught:
        signing_key(secret)
    assert "hush" not in str(caught.value)


def test_the_shared_word() -> None:
    """Only the whole word in a Bearer header passes."""
    check_bearer({"authorization": "Bearer salt and water"}, "salt and water")
    check_bearer({"authorization": "bearer  salt and water"}, "salt and water")
    for header in ("", "Bearer", "Bearer salt", "Basic salt and water", "Bearer salt and waterr"):
        with pytest.raises(NotGenuine) as caught:
            check_bearer({"authorization": header}, "salt and water")
        assert "salt" not in str(caught.value)
