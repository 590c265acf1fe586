"""A text gateway called over HTTP: one request a text, and what its answer means."""

import base64
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC
from email.utils import parsedate_to_datetime
from urllib.parse import quote, quote_plus

import requests
import urllib3

from brineward.clock import Clock
from brineward.config.channel_kinds import ReceiptSettings
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import HttpChannel
from brineward.readings.instants import SECOND, Instant
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.deadlines import Deadline, DeadlineAdapter
from brineward.texts.receipts import receipt_name
from brineward.texts.reply_fields import Unreadable, field_at, fields_of
from brineward.texts.senders import OutgoingText
from brineward.texts.templates import filled, mistakes_in
from brineward.wording.segment import segment

WORDS_KEPT = 200
"""How many characters of a gateway's answer are kept."""
_BYTES_READ = 4096
_TRIED_AGAIN = frozenset({408, 425, 429})
_SHORTEST_SCRUBBED = 4  # a secret of fewer characters would turn every other word to stars


class ChannelMistake(Exception):
    """The operator must correct a channel in the config before the start."""


class HttpSender:
    """Hands texts to one gateway."""

    def __init__(self, channel: HttpChannel, clock: Clock) -> None:
        mistakes = [
            f"channel {channel.id}, {where}: {mistake}"
            for where, template in _templates(channel)
            for mistake in mistakes_in(template, channel.secrets)
        ]
        if mistakes:
            raise ChannelMistake("; ".join(mistakes))
        self._channel = channel
        self._clock = clock
        self._limit_seconds = channel.connect_timeout_seconds + channel.answer_timeout_seconds

    def send(self, text: OutgoingText) -> Outcome:
        """One request, done within the connect and answer timeouts together."""
        channel = self._channel
        try:
            secrets = {name: read_secret(place) for name, place in channel.secrets.items()}
        except SecretMissing as error:
            return Failed(why=f"channel {channel.id}: {error}", channel_unusable=True)
        try:
            with Deadline(self._limit_seconds) as deadline, requests.Session() as session:
                try:
                    return self._ask(session, deadline, text, secrets)
                except (requests.RequestException, urllib3.exceptions.HTTPError, OSError) as error:
                    if deadline.expired:
                        return Failed(why=self._too_late())
                    return self._outcome_of_error(error)
        except UnicodeError:
            # The library's words would quote the header or the URL, secrets and all.
            return NeverAccepted(why=f"channel {channel.id}: its URL or a header can't be encoded")

    def _ask(
        self,
        session: requests.Session,
        deadline: Deadline,
        text: OutgoingText,
        secrets: Mapping[str, str],
    ) -> Outcome:
        channel = self._channel
        adapter = DeadlineAdapter(deadline)
        session.mount("http://", adapter)
        session.mount("https://", adapter)
        session.auth = _as_it_is
        values = {
            "address": text.address,
            "body": segment(text.notice),
            "id": text.key,
            "name": text.name,
        }
        fields = {name: filled(form, values, secrets) for name, form in channel.fields.items()}
        with session.request(
            channel.method,
            filled(channel.url, values, secrets, lambda value: quote(value, safe="")),
            headers=_headers(channel, text, values, secrets),
            params=fields if channel.body == "query" else None,
            json=fields if channel.body == "json" else None,
            data=fields if channel.body == "form" else None,
            timeout=(channel.connect_timeout_seconds, channel.answer_timeout_seconds),
            allow_redirects=False,
            stream=True,
        ) as answer:
            if deadline.expired:
                # Cut off within its headers, an answer looks complete to the library.
                return Failed(why=self._too_late())
            body = _words_of(answer)
            words = scrubbed(body, secrets.values())
            if 200 <= answer.status_code <= 299 and _says_failed(channel.failed_when, body):
                return Failed(why=f"channel {channel.id} took no text: {words}")
            outcome = outcome_of_answer(
                channel.id, answer.status_code, answer.headers, words, self._clock.now()
            )
            if isinstance(outcome, Accepted) and channel.receipts is not None:
                return self._awaiting(outcome, channel.receipts, text, body)
            return outcome

    def _awaiting(
        self, accepted: Accepted, receipts: ReceiptSettings, text: OutgoingText, body: str
    ) -> Outcome:
        """The gateway has taken it, and will say whether it delivered it."""
        known_as = text.key
        if receipts.gateway_id is not None:
            try:
                known_as = field_at(
                    fields_of("application/json", body.encode()), receipts.gateway_id
                )
            except Unreadable as why:
                return Failed(why=f"channel {self._channel.id}: its answer has no id: {why}")
        return replace(
            accepted,
            known_as=receipt_name(self._channel.id, known_as),
            receipt_within_seconds=receipts.within_seconds,
        )

    def _too_late(self) -> str:
        return f"channel {self._channel.id}: no whole answer within {self._limit_seconds:g} s"

    def _outcome_of_error(self, error: Exception) -> Outcome:
        channel = self._channel
        if isinstance(error, ValueError):  # a URL or header that no repeat will correct
            kind = type(error).__name__
            return NeverAccepted(why=f"channel {channel.id}: the request can't be made ({kind})")
        if isinstance(error, requests.ConnectTimeout):
            why = f"no connection within {channel.connect_timeout_seconds:g} s"
        elif isinstance(error, requests.Timeout):
            why = f"no answer within {channel.answer_timeout_seconds:g} s"
        elif isinstance(error, requests.exceptions.SSLError):
            why = f"TLS failed: {_innermost(error)}"
        else:
            why = f"no answer: {_innermost(error)}"
        return Failed(why=f"channel {channel.id}: {why}")


def outcome_of_answer(
    channel: str, status: int, headers: Mapping[str, str], words: str, now: Instant
) -> Outcome:
    """What a gateway's answer means for the text.

    2xx: accepted, not delivered. 408, 425, 429 and 5xx: again. Everything else is final, redirects
    included, which are never followed (status codes: RFC 9110 section 15, RFC 6585, RFC 8470).
    """
    if 200 <= status <= 299:
        return Accepted(receipt=words)
    said = f"channel {channel} answered {status}{f': {words}' if words else ''}"
    if status in _TRIED_AGAIN or not 300 <= status <= 499:
        return Failed(why=said, asked_seconds=retry_after_seconds(headers, now))
    if status <= 399:
        return NeverAccepted(why=f"{said} (it points elsewhere; put the right URL in the config)")
    return NeverAccepted(why=said)


def _says_failed(pattern: str, words: str) -> bool:
    """Does an answer say in its words what its status does not?"""
    return bool(pattern) and re.search(pattern, words) is not None


def retry_after_seconds(headers: Mapping[str, str], now: Instant) -> float | None:
    """How long a Retry-After header asks to wait; None where it says nothing that makes sense.

    Source: RFC 9110 section 10.2.3: whole seconds or an HTTP date.
    """
    asked = headers.get("Retry-After", "").strip()
    if asked.isascii() and asked.isdigit():
        return float(asked[:12])
    try:
        moment = parsedate_to_datetime(asked)
    except ValueError:
        return None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return max(0.0, moment.timestamp() - now / SECOND)


def scrubbed(words: str, secrets: Iterable[str]) -> str:
    """The words on one line, trimmed, with stars for every secret in any usual spelling."""
    for secret in secrets:
        for spelling in sorted(_spellings(secret), key=len, reverse=True):
            words = words.replace(spelling, "***")
    visible = "".join(sign if sign.isprintable() else " " for sign in words)
    return " ".join(visible.split())[:WORDS_KEPT]


def _spellings(secret: str) -> set[str]:
    coded = base64.b64encode(secret.encode()).decode()
    found = {secret, quote(secret, safe=""), quote_plus(secret), coded, coded.rstrip("=")}
    return {spelling for spelling in found if len(spelling) >= _SHORTEST_SCRUBBED}


def _templates(channel: HttpChannel) -> list[tuple[str, str]]:
    return [
        ("url", channel.url),
        *((f"fields.{name}", template) for name, template in channel.fields.items()),
        *((f"headers.{name}", template) for name, template in channel.headers.items()),
    ]


def _headers(
    channel: HttpChannel, text: OutgoingText, values: Mapping[str, str], secrets: Mapping[str, str]
) -> dict[str, str]:
    # A line end in a name must not become a header of its own.
    own = {
        name: " ".join(filled(template, values, secrets).split())
        for name, template in channel.headers.items()
    }
    # An undecoded answer can't unfold into gigabytes.
    return {"Accept-Encoding": "identity"} | own | {"Idempotency-Key": text.key}


def _words_of(answer: requests.Response) -> str:
    """The beginning of the answer's body; what goes wrong there no longer matters."""
    try:
        start = answer.raw.read(_BYTES_READ, decode_content=False)
    except (urllib3.exceptions.HTTPError, OSError, ValueError):
        return ""
    return str(start, "utf-8", "replace")


def _as_it_is(request: requests.PreparedRequest) -> requests.PreparedRequest:
    """No login but what the channel's headers say: not that of a stray netrc file."""
    return request


def _innermost(error: BaseException) -> str:
    """The plain reason at the bottom of wrapped errors, without the URL that was called."""
    seen: BaseException | None = error
    reason = type(error).__name__
    for _ in range(8):
        if seen is None:
            break
        if isinstance(seen, OSError) and seen.strerror and not _is_wrapper(seen):
            reason = seen.strerror
        elif not _is_wrapper(seen):
            reason = type(seen).__name__
        seen = _inside(seen)
    return re.sub(r"\s+", " ", reason)[:WORDS_KEPT]


def _is_wrapper(error: BaseException) -> bool:
    return isinstance(error, requests.RequestException | urllib3.exceptions.HTTPError)


def _inside(error: BaseException) -> BaseException | None:
    nested = [part for part in error.args if isinstance(part, BaseException)]
    reason = getattr(error, "reason", None)
    if isinstance(reason, BaseException):
        nested.insert(0, reason)
    return nested[0] if nested else error.__cause__
