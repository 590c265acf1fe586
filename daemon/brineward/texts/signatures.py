"""Who may hand in replies: signed as Standard Webhooks has it, or with a shared word."""

import base64
import binascii
import hmac
from collections.abc import Mapping
from hashlib import sha256

from brineward.readings.instants import SECOND, Instant

SKEW_SECONDS = 300
_PREFIX = "whsec_"
_MOST_SIGNATURES = 16


class NotGenuine(Exception):
    """The caller must sign as agreed; nothing of the message is used."""


class BadKey(Exception):
    """The operator must put a proper signing secret where the config says."""


def signing_key(secret: str) -> bytes:
    """The key in a signing secret: Base64, with or without `whsec_` before it.

    Raises: BadKey, which does not quote it. Source: Standard Webhooks 1.0, "Signature scheme".
    """
    coded = secret.removeprefix(_PREFIX).strip()
    try:
        key = base64.b64decode(coded + "=" * (-len(coded) % 4), validate=True)
    except (binascii.Error, ValueError):
        key = b""
    if not key:
        raise BadKey("the signing secret is not Base64, with or without whsec_ before it")
    return key


def check_signed(headers: Mapping[str, str], body: bytes, key: bytes, now: Instant) -> str:
    """The message's id, where one of its signatures fits and its time is within five minutes.

    Header names are looked up in small letters. Raises: NotGenuine.
    Source: Standard Webhooks 1.0: HMAC-SHA256 over id.timestamp.body, Base64 after "v1,".
    """
    message, stamp = headers.get("webhook-id", ""), headers.get("webhook-timestamp", "")
    offered = headers.get("webhook-signature", "")
    if not (message and stamp and offered):
        raise NotGenuine("webhook-id, webhook-timestamp and webhook-signature are all needed")
    signed = f"{message}.{stamp}.".encode("utf-8", "replace") + body
    right = base64.b64encode(hmac.new(key, signed, sha256).digest())
    given = offered.split(" ", _MOST_SIGNATURES)[:_MOST_SIGNATURES]
    fits = [
        hmac.compare_digest(right, each.removeprefix("v1,").encode("utf-8", "replace"))
        for each in given
        if each.startswith("v1,")
    ]
    if not any(fits):
        raise NotGenuine("no signature fits")
    if not (stamp.isascii() and stamp.isdigit() and len(stamp) <= 12):
        raise NotGenuine("webhook-timestamp is not in whole seconds since 1970")
    if abs(int(stamp) - now / SECOND) > SKEW_SECONDS:
        raise NotGenuine("webhook-timestamp is more than five minutes off")
    return message


def check_bearer(headers: Mapping[str, str], secret: str) -> None:
    """See whether the shared word is there. Raises: NotGenuine."""
    kind, _, word = headers.get("authorization", "").partition(" ")
    same = hmac.compare_digest(
        word.strip().encode("utf-8", "replace"), secret.encode("utf-8", "replace")
    )
    if kind.lower() != "bearer" or not same:
        raise NotGenuine("the Authorization header must be Bearer and the shared secret")
