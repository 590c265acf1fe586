"""What a gateway hands in over HTTP: is it genuine, and what the gateway is told if not."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import ReplySettings
from brineward.readings.instants import Instant
from brineward.texts.reply_fields import Unreadable
from brineward.texts.signatures import (
    BadKey,
    NotGenuine,
    check_bearer,
    check_signed,
    signing_key,
)

REFUSED: Final = (NotGenuine, Unreadable, SecretMissing, BadKey)
"""Why a message is not judged at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpAnswer:
    """What the gateway is told."""

    status: int
    sentence: str


def genuine(
    settings: ReplySettings, headers: Mapping[str, str], body: bytes, now: Instant
) -> str | None:
    """The message's id, where a signature covers one; header names in small letters.

    Raises: NotGenuine, SecretMissing, BadKey.
    """
    secret = read_secret(settings.secret)
    if settings.kind == "signed":
        return check_signed(headers, body, signing_key(secret), now)
    check_bearer(headers, secret)
    return None


def refusal_of(why: Exception, unable: str, on_trouble: Callable[[str], None]) -> HttpAnswer:
    """What the gateway is told of one of `REFUSED`.

    Where it is we who lack a secret, `on_trouble` hears what can't be done, as `unable` says it,
    and the gateway may come again.
    """
    if isinstance(why, NotGenuine):
        return HttpAnswer(status=401, sentence=str(why))
    if isinstance(why, Unreadable):
        return HttpAnswer(status=400, sentence=str(why))
    on_trouble(f"{unable}: {why}")
    return HttpAnswer(status=503, sentence="not ready; try again later")
