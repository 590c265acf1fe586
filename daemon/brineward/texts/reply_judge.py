"""From a message that a gateway hands in to an act of a person, and what that person is told."""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Literal, Protocol

from brineward.clock import Clock
from brineward.config.settings import Person, ReplySettings
from brineward.readings.entries import Handling, Take
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.texts.handed_in import REFUSED, HttpAnswer, genuine, refusal_of
from brineward.texts.record_reply import RecordReply
from brineward.texts.replies import (
    Asked,
    CarrierWord,
    Code,
    ModeReply,
    Question,
    StepReply,
    Unclear,
    parse_reply,
    person_with,
)
from brineward.texts.reply_fields import field_at, fields_of, words_at
from brineward.texts.signatures import SKEW_SECONDS
from brineward.wording.gsm import Part, fit_segment
from brineward.wording.operator_units import duration

ANSWERS_AN_HOUR = 3
"""How often in an hour a person is told that a text had no effect: two machines must not talk all
night."""
COPY_WINDOW = 5 * MINUTE
"""What has no id of its own and comes again word for word within this is a copy; after twice this
it is new again."""
_CODES_NAMED = 3
_COPIED = frozenset({"taken", "recorded"})
"""What the same words may do only once within the window: a load is not counted twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyOutcome:
    """What a reply came to, for the service to act on."""

    kind: Literal[
        "taken",
        "not taken",
        "handled",
        "not understood",
        "mode set",
        "mode not set",
        "next step",
        "recorded",
        "not recorded",
        "answered",
        "opted out",
        "opted in",
        "carrier word",
        "stranger",
        "out of time",
    ]
    person: str | None
    """Who it was; None where nobody has this number."""
    answer: str
    """One segment to text back to that person; empty where nothing is to be sent."""
    code: str = ""
    """The alarm that it is about, or the depot's letters."""

    @property
    def opted(self) -> Literal["", "out", "in"]:
        """Has the person opted out of texts, or in again?"""
        return "out" if self.kind == "opted out" else "in" if self.kind == "opted in" else ""


class ModeDesk(Protocol):
    """Who sets modes and knows the next step. Both return one segment for the phone."""

    def set_mode(self, reply: ModeReply, person: str, now: Instant) -> tuple[bool, str]:
        """Was it set, and what to answer."""
        ...

    def next_step(self, reply: StepReply, person: str, now: Instant) -> str:
        """What to answer."""
        ...


class SeenReplies(Protocol):
    """Which messages were dealt with, kept through a restart. Raises nothing: where the records
    fail, nothing was seen, since a take that comes twice harms nobody and one that is lost does."""

    def seen(self, key: str, now: Instant) -> bool:
        """Was it dealt with, as far as is remembered?"""
        ...

    def remember(self, key: str, now: Instant) -> None:
        """It has been dealt with."""
        ...


class ReplyJudge:
    """Judges messages one at a time, whatever thread they come from.

    `shorts` are the depots' letters to their ids. `on_take` gets a take and returns "" or a
    sentence saying why nothing was taken; `on_handling` gets what else is asked for and returns
    what came of it; `modes` sets modes; `on_record` enters a record and returns whether it did, and
    what to answer; `questions` gives the segment that answers what a person asks; `on_outcome` gets
    what the reply came to, with the answer
    for the phone; `takable` gives the codes that a person could take now, the most pressing first.
    None is called by two threads at once. Where `on_take` or `on_outcome` fails, so does the call,
    and the gateway hands the message in again.
    """

    def __init__(
        self,
        settings: ReplySettings | None,
        people: Mapping[str, Person],
        shorts: Mapping[str, str],
        clock: Clock,
        *,
        seen: SeenReplies,
        takable: Callable[[str], Sequence[str]],
        on_take: Callable[[Take], str],
        on_handling: Callable[[Handling], str],
        modes: ModeDesk,
        on_record: Callable[[RecordReply, str, Instant], tuple[bool, str]],
        questions: Callable[[Question, str, Instant], str] | None = None,
        on_outcome: Callable[[ReplyOutcome], None],
        on_trouble: Callable[[str], None],
    ) -> None:
        self._settings = settings
        self._addresses = [
            (person.id, person.number or person.address) for person in people.values()
        ]
        self._shorts = shorts
        self._clock = clock
        self._seen = seen
        self._takable = takable
        self._on_take = on_take
        self._on_handling = on_handling
        self._modes = modes
        self._on_record = on_record
        self._questions = questions
        self._on_outcome = on_outcome
        self._on_trouble = on_trouble
        self._one_at_a_time = threading.Lock()
        self._puzzled: dict[str, list[Instant]] = {}

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Judge one message; header names in small letters."""
        with self._one_at_a_time:
            now = self._clock.now()
            if self._settings is None:
                return HttpAnswer(status=404, sentence="nothing here")
            try:
                message = genuine(self._settings, headers, body, now)
                fields = fields_of(headers.get("content-type", ""), body)
                sender = field_at(fields, self._settings.sender_key)
                text = words_at(fields, self._settings.text_key)
                if message is None and self._settings.id_key is not None:
                    message = field_at(fields, self._settings.id_key)
            except REFUSED as why:
                return refusal_of(why, "nobody can reply by text", self._on_trouble)
            keys = _keys_of(message, sender, body, now)
            if any(self._seen.seen(key, now) for key in keys):
                return HttpAnswer(status=200, sentence="seen before")
            outcome = self._judge(sender, text, now)
            self._on_outcome(outcome)
            # The same words may mean something new after "TH3 is not active": only an id of the
            # gateway's own, or a take, makes the next one a copy.
            if message is not None or outcome.kind in _COPIED:
                self._seen.remember(keys[0], now)
            return HttpAnswer(status=200, sentence=outcome.kind)

    def hand_in(
        self,
        sender: str,
        text: str,
        message: str,
        sent: Instant | None = None,
        *,
        within_seconds: float = SKEW_SECONDS,
    ) -> ReplyOutcome | None:
        """Judge a message that came another way, as by a modem; `message` is an id of it.

        `sent`: when it was, where the way says so. As with a signed call, one from further than
        `within_seconds` from now is not acted on: a "status" of last night wants no answer, and a
        take may not be meant any more: its sender is told so. Without it an id may be that of other
        messages of the same words, so that it makes a copy only for a while, as words alone do.
        None where it was dealt with before.
        Raises: what `on_take` and `on_outcome` raise; then it is to be handed in again.
        """
        with self._one_at_a_time:
            now = self._clock.now()
            lasting = message if sent is not None else None
            keys = _keys_of(lasting, sender, message.encode("utf-8", "replace"), now)
            if any(self._seen.seen(key, now) for key in keys):
                return None
            if sent is None or abs(now - sent) <= within_seconds * SECOND:
                outcome = self._judge(sender, text, now)
            else:
                outcome = self._judge_out_of_time(sender, text, now, sent)
            self._on_outcome(outcome)
            self._seen.remember(keys[0], now)
            return outcome

    def _judge(self, sender: str, text: str, now: Instant) -> ReplyOutcome:
        person = person_with(sender, self._addresses)
        if person is None:
            return ReplyOutcome(kind="stranger", person=None, answer="")
        match parse_reply(text, self._shorts):
            case Code() as code:
                return self._take(code, person, now)
            case Asked() as asked:
                return self._handle(asked, person, now)
            case ModeReply() | StepReply() | RecordReply() | Question() as reply:
                return self._of_depot(reply, person, now)
            case CarrierWord() as carrier:
                return self._note_carrier_word(carrier, person, now)
            case Unclear() as unclear:
                answer = self._hint(unclear, person, now)
                return ReplyOutcome(kind="not understood", person=person, answer=answer)

    def _judge_out_of_time(
        self, sender: str, text: str, now: Instant, sent: Instant
    ) -> ReplyOutcome:
        """What the carrier was told holds until it is told otherwise; nothing else does."""
        person = person_with(sender, self._addresses)
        if person is None:
            return ReplyOutcome(kind="stranger", person=None, answer="")
        found = parse_reply(text, self._shorts)
        if isinstance(found, CarrierWord) and found.opted:
            kind: Literal["opted out", "opted in"] = (
                "opted out" if found.opted == "out" else "opted in"
            )
            return ReplyOutcome(kind=kind, person=person, answer="")
        answer = "" if self._told_often(person, now) else _late_sentence(now - sent)
        return ReplyOutcome(kind="out of time", person=person, answer=answer)

    def _take(self, code: Code, person: str, now: Instant) -> ReplyOutcome:
        refusal = self._on_take(
            Take(
                depot=self._shorts[code.short],
                time=now,
                received=now,
                number=code.number,
                by=person,
            )
        )
        sentence = refusal or f"You have {code}. Nobody else will be called about it."
        return ReplyOutcome(
            kind="not taken" if refusal else "taken",
            person=person,
            answer=fit_segment([Part(text=sentence)]),
            code=str(code),
        )

    def _of_depot(
        self, reply: ModeReply | StepReply | RecordReply | Question, person: str, now: Instant
    ) -> ReplyOutcome:
        """A record, a question, or what is asked of a depot's mode."""
        if isinstance(reply, RecordReply):
            return self._record(reply, person, now)
        if isinstance(reply, Question):
            return self._answer(reply, person, now)
        if isinstance(reply, StepReply):
            answer = self._modes.next_step(reply, person, now)
            return ReplyOutcome(kind="next step", person=person, answer=answer, code=reply.short)
        done, answer = self._modes.set_mode(reply, person, now)
        return ReplyOutcome(
            kind="mode set" if done else "mode not set",
            person=person,
            answer=answer,
            code=reply.short,
        )

    def _record(self, record: RecordReply, person: str, now: Instant) -> ReplyOutcome:
        done, answer = self._on_record(record, person, now)
        return ReplyOutcome(
            kind="recorded" if done else "not recorded",
            person=person,
            answer=fit_segment([Part(text=answer)]),
            code=record.short,
        )

    def _answer(self, question: Question, person: str, now: Instant) -> ReplyOutcome:
        """What is asked changes nothing, also where nobody here knows the answer."""
        answer = "" if self._questions is None else self._questions(question, person, now)
        if not answer:
            return ReplyOutcome(
                kind="not understood", person=person, answer=self._hint(Unclear(), person, now)
            )
        code = f"{question.short}{question.number or ''}"
        return ReplyOutcome(kind="answered", person=person, answer=answer, code=code)

    def _handle(self, asked: Asked, person: str, now: Instant) -> ReplyOutcome:
        code = asked.code
        if asked.what == "shelve" and asked.seconds is None:
            answer = f"For how long? Reply {code} hold 2h, or another time."
            return ReplyOutcome(kind="not understood", person=person, answer=answer)
        until = now + round(asked.seconds * SECOND) if asked.seconds is not None else 0
        handling = Handling(
            depot=self._shorts[code.short],
            time=now,
            received=now,
            what=asked.what,
            number=code.number,
            by=person,
            until=until,
        )
        answer = fit_segment([Part(text=self._on_handling(handling))])
        return ReplyOutcome(kind="handled", person=person, answer=answer, code=str(code))

    def _note_carrier_word(self, carrier: CarrierWord, person: str, now: Instant) -> ReplyOutcome:
        match carrier.opted:
            case "out":
                return ReplyOutcome(kind="opted out", person=person, answer="")
            case "in":
                answer = "You get alarm texts again."
                if carrier.word == "YES":  # at night it may well mean the alarm
                    answer = self._hint(Unclear(), person, now) if self._takable(person) else ""
                return ReplyOutcome(kind="opted in", person=person, answer=answer)
            case _:
                return ReplyOutcome(kind="carrier word", person=person, answer="")

    def _hint(self, unclear: Unclear, person: str, now: Instant) -> str:
        """What to text to somebody who took nothing; empty where they were told often enough."""
        if self._told_often(person, now):
            return ""
        takable = list(self._takable(person))
        named = [str(code) for code in unclear.named if str(code) in takable]
        return fit_segment([Part(text=_hint_sentence(unclear, named or takable))])

    def _told_often(self, person: str, now: Instant) -> bool:
        """Were they told often enough within the hour that something came to nothing? If not, this
        counts as once."""
        recent = [at for at in self._puzzled.get(person, []) if now - HOUR < at <= now]
        often = len(recent) >= ANSWERS_AN_HOUR
        self._puzzled[person] = recent if often else [*recent, now]
        return often


def _late_sentence(late: int) -> str:
    """That a text came at another time than its own, by so many milliseconds."""
    if late > 0:
        said = f"Your text took {duration(late / SECOND)} to get here, so nothing was done."
        return f"{said} If you still mean it, text it again."
    said = f"Your text came with a time that is {duration(-late / SECOND)} ahead"
    return f"{said}, so nothing was done. Phone the others; have the gateway's clock set."


def _hint_sentence(unclear: Unclear, codes: Sequence[str]) -> str:
    if len(unclear.named) > 1:
        begin = "Nothing was taken: one alarm in each text, please."
    else:
        begin = "Not understood, so nothing was taken."
    if not codes:
        return begin
    if len(codes) == 1 or len(unclear.named) == 1:
        return f"{begin} Reply {codes[0]} to take it."
    several = list(codes[:_CODES_NAMED])
    return f"{begin} Reply {', '.join(several[:-1])} or {several[-1]}."


def _keys_of(message: str | None, sender: str, body: bytes, now: Instant) -> list[str]:
    """What a message is known by, of bounded length: the key to remember first."""
    if message is not None:
        return [f"id:{_digest(message.encode('utf-8', 'replace'))}"]
    # Without an id: by its words, for a while. Two windows, or one could end between two copies.
    copy = _digest(sender.encode("utf-8", "replace") + b"\0" + body)
    window = now // COPY_WINDOW
    return [f"copy:{window}:{copy}", f"copy:{window - 1}:{copy}"]


def _digest(written: bytes) -> str:
    return sha256(written).hexdigest()
