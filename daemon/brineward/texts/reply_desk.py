"""From a message that a gateway hands in to an act of a person, and what that person is told."""

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal
from urllib.parse import parse_qsl

from brineward.clock import Clock
from brineward.config.secrets import SecretMissing, read_secret
from brineward.config.settings import Person, ReplySettings
from brineward.readings.entries import Act
from brineward.readings.instants import HOUR, Instant
from brineward.texts.replies import NotUnderstood, Take, parse_reply, person_with
from brineward.texts.signatures import (
    BadKey,
    NotGenuine,
    SeenIds,
    check_bearer,
    check_signed,
    signing_key,
)
from brineward.wording.gsm import Part, fit_segment

ANSWERS_AN_HOUR = 3
"""So many "not understood" a person gets in an hour: two machines must not talk all night."""
_MOST_FIELDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyOutcome:
    """What a reply came to, for the service to tell."""

    kind: Literal["taken", "not taken", "not understood", "opted out", "carrier word", "stranger"]
    person: str | None
    """Who it was; None where nobody has this number."""
    answer: str
    """One segment to text back to that person; empty where nothing is to be sent."""
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpAnswer:
    """What the gateway is told."""

    status: int
    sentence: str


class ReplyDesk:
    """Judges messages one at a time, whatever thread they come from.

    `on_act` gets a take and returns None, or a sentence saying why nothing was taken; `on_outcome`
    gets what the reply came to, with the answer for the phone. Neither is called by two threads
    at once. Where one of them fails, the gateway is told to hand the message in again.
    """

    def __init__(
        self,
        settings: ReplySettings,
        people: Mapping[str, Person],
        shorts: Mapping[str, str],
        clock: Clock,
        *,
        on_act: Callable[[Act], str | None],
        on_outcome: Callable[[ReplyOutcome], None],
        on_trouble: Callable[[str], None],
    ) -> None:
        self._settings = settings
        self._people = people
        self._shorts = shorts  # a depot's letters to its id
        self._clock = clock
        self._on_act = on_act
        self._on_outcome = on_outcome
        self._on_trouble = on_trouble
        self._one_at_a_time = threading.Lock()
        self._seen = SeenIds()
        self._puzzled: dict[str, list[Instant]] = {}

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Judge one message; header names in small letters."""
        with self._one_at_a_time:
            now = self._clock.now()
            try:
                message = self._genuine(headers, body, now)
                fields = fields_of(headers.get("content-type", ""), body)
                sender = field_at(fields, self._settings.sender_key)
                text = field_at(fields, self._settings.text_key)
                if message is None and self._settings.id_key is not None:
                    message = field_at(fields, self._settings.id_key)
            except NotGenuine as why:
                return HttpAnswer(status=401, sentence=str(why))
            except Unreadable as why:
                return HttpAnswer(status=400, sentence=str(why))
            except (SecretMissing, BadKey) as why:
                self._on_trouble(f"replies can't be checked: {why}")
                return HttpAnswer(status=503, sentence="not ready; try again later")
            if message is not None and self._seen.has(message, now):
                return HttpAnswer(status=200, sentence="seen before")
            outcome = self._judge(sender, text, now)
            self._on_outcome(outcome)
            if message is not None:
                self._seen.add(message, now)
            return HttpAnswer(status=200, sentence=outcome.kind)

    def _genuine(self, headers: Mapping[str, str], body: bytes, now: Instant) -> str | None:
        secret = read_secret(self._settings.secret)
        if self._settings.kind == "signed":
            return check_signed(headers, body, signing_key(secret), now)
        check_bearer(headers, secret)
        return None

    def _judge(self, sender: str, text: str, now: Instant) -> ReplyOutcome:
        addresses = [(person.id, person.address) for person in self._people.values()]
        person = person_with(sender, addresses)
        if person is None:
            return ReplyOutcome(kind="stranger", person=None, answer="")
        match parse_reply(text, self._shorts):
            case Take() as take:
                return self._take(take, self._people[person], now)
            case NotUnderstood() as reply:
                return self._answer(reply, person, now)

    def _take(self, take: Take, person: Person, now: Instant) -> ReplyOutcome:
        refusal = self._on_act(
            Act(
                depot=self._shorts[take.short],
                time=now,
                received=now,
                act="take",
                fields={"number": take.number, "by": person.id},
            )
        )
        if refusal is None:
            parts = [Part(text=f"{take.code} taken by"), Part(text=f"{person.name}.", name=True)]
        else:
            parts = [Part(text=f"{take.code}:"), Part(text=refusal)]
        return ReplyOutcome(
            kind="taken" if refusal is None else "not taken",
            person=person.id,
            answer=fit_segment(parts),
            code=take.code,
        )

    def _answer(self, reply: NotUnderstood, person: str, now: Instant) -> ReplyOutcome:
        if reply.carrier_word:
            kind: Literal["opted out", "carrier word"] = (
                "opted out" if reply.opted_out else "carrier word"
            )
            return ReplyOutcome(kind=kind, person=person, answer="")
        recent = [at for at in self._puzzled.get(person, []) if now - HOUR < at <= now]
        told = len(recent) < ANSWERS_AN_HOUR
        self._puzzled[person] = [*recent, now] if told else recent
        answer = fit_segment([Part(text=reply.why)]) if told else ""
        return ReplyOutcome(kind="not understood", person=person, answer=answer)


class Unreadable(Exception):
    """The gateway hands in something else than the config says."""


def fields_of(content_type: str, body: bytes) -> dict[str, Any]:
    """The message's fields, from JSON or a form. Raises: Unreadable."""
    form = (
        content_type.split(";", maxsplit=1)[0].strip().lower()
        == "application/x-www-form-urlencoded"
    )
    try:
        if form:
            pairs = parse_qsl(
                body.decode("utf-8"), keep_blank_values=True, max_num_fields=_MOST_FIELDS
            )
            return dict(pairs)
        found = json.loads(body)
    except (ValueError, RecursionError):
        expected = "a form" if form else "a JSON object"
        raise Unreadable(f"the body is not {expected}") from None
    if not isinstance(found, dict):
        raise Unreadable("the body is not a JSON object")
    return found


def field_at(fields: Mapping[str, Any], key: str) -> str:
    """The field with this name, or at this dotted path. Raises: Unreadable."""
    found: Any = fields.get(key)
    if found is None and "." in key:
        found = fields
        for step in key.split("."):
            found = found.get(step) if isinstance(found, dict) else None
    if isinstance(found, int) and not isinstance(found, bool):
        found = str(found) if abs(found) < 10**30 else None
    if not isinstance(found, str):
        raise Unreadable(f"the field {key} is missing or no text")
    return found
