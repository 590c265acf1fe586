"""Replies from phones: what the listener made of them becomes acts in the journal's inbox."""

import logging
from collections.abc import Callable, Sequence
from typing import Final

from brineward.clock import Clock
from brineward.config.channel_kinds import ModemChannel
from brineward.config.settings import HttpChannel, ReplySettings, Settings
from brineward.decode.by_hand import RefusedRecord, record_from_words
from brineward.followers.errors import place_of
from brineward.http_server.door import Door
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.link.topic_ear import TopicEar
from brineward.readings.by_hand import Struck
from brineward.readings.entries import Answer, Handling, HandRecord, ServiceTrouble, Take
from brineward.readings.instants import Instant, rfc3339_from_instant
from brineward.service.handling import handle
from brineward.service.mode_setting import set_mode, step_text
from brineward.service.questions import Questions
from brineward.service.recording import enter
from brineward.service.taking import takable_codes, take
from brineward.texts.early_receipts import EarlyReceipts
from brineward.texts.handed_in import HttpAnswer
from brineward.texts.published_text import received_text
from brineward.texts.receipt_watch import ReceiptWatch
from brineward.texts.receipts import ReceiptDesk
from brineward.texts.record_reply import RecordReply
from brineward.texts.refused_calls import RefusedCalls
from brineward.texts.replies import ModeReply, StepReply
from brineward.texts.reply_fields import Unreadable
from brineward.texts.reply_judge import ReplyJudge, ReplyOutcome
from brineward.texts.reply_listener import reply_door
from brineward.texts.signatures import SKEW_SECONDS

_LOG = logging.getLogger(__name__)

_BY_MODEM_SECONDS: Final = 1800.0
"""A text that a service centre got longer ago than this is not acted on. Not as strict as for a
gateway, whose clock can be set: a centre's may be wrong (common practice, no source)."""
_TRIES: Final = 3
_TRY_AGAIN_SECONDS: Final = 5.0
"""A text that makes us fail is tried so often, so far apart: what makes it fail may pass, as memory
that runs out does. Then it is passed over, or it would be handed in for ever."""
_MOST_FAILING: Final = 100


class Replies:
    """Judges what people text back, by whichever way it comes."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self.receipts = ReceiptWatch(clock, self._post)
        self._early = EarlyReceipts(clock)
        self._judge: ReplyJudge | None = None
        self._ear: TopicEar | None = None
        self._asked: list[Callable[[], str]] = []
        self._failing: dict[str, tuple[int, float]] = {}
        """How often a message has made us fail, and when it is tried again, on the clock that never
        steps."""
        by_modem = any(isinstance(one, ModemChannel) for one in settings.channels.values())
        by_topic = settings.reply_topic is not None
        if settings.replies is not None or by_modem or by_topic:
            self._judge = ReplyJudge(
                settings.replies,
                settings.people,
                {plan.short: plan.id for plan in settings.depots.values()},
                clock,
                seen=_SeenInJournal(settings),
                takable=self._takable,
                on_take=self._take,
                on_handling=self._handle,
                modes=_ModeDesk(settings),
                on_record=self._record,
                questions=Questions(settings).answer,
                on_outcome=self._act_on,
                on_trouble=_say,
            )

    def doors(self) -> list[Door]:
        """Where a gateway hands replies and receipts in; none where the config has no [replies]."""
        replies = self._settings.replies
        if replies is None or self._judge is None:
            return []
        receipts = self._receipt_desks(replies)
        refused = {
            path: RefusedCalls(path, self._clock, _say) for path in (replies.path, *receipts)
        }

        def on_answer(path: str, answer: HttpAnswer) -> None:
            refused[path].answered(answer)

        def unheard() -> str:
            why = refused[replies.path].why()
            return f"replies over HTTP are not heard: {why}" if why else ""

        self.also_ask(unheard)
        return [reply_door(replies, self._judge, _say, receipts, on_answer=on_answer)]

    def hand_in(self, sender: str, text: str, message: str, sent: Instant | None) -> bool:
        """Somebody texted to a modem; is it dealt with? Called in the modem's own thread.

        `sent` is when the service centre got it. A centre whose clock is ahead says nothing of how
        old a text is: that, and None, count as now.
        """
        at = None if sent is None else min(sent, self._clock.now())
        return self._hand_in(sender, text, message, at, within_seconds=_BY_MODEM_SECONDS)

    def topic_ear(self, session_mark: str) -> TopicEar | None:
        """Who listens on the topic of received texts; None where the config has none."""
        settings = self._settings
        if settings.reply_topic is None:
            return None
        self._ear = TopicEar(
            settings.link,
            settings.reply_topic.topic,
            client_id=f"{settings.link.instance}-texts-{session_mark}",
            on_message=self.hand_in_published,
            on_trouble=_say,
        )
        return self._ear

    def also_ask(self, unheard: Callable[[], str]) -> None:
        """Another who listens, and says why nothing is heard, as `unheard` does; empty if it is."""
        self._asked.append(unheard)

    def unheard(self) -> str:
        """Why replies are not heard now, and by which way, as a sentence without its stop; empty
        where they are, or where none can come. From any thread."""
        ears = [self._ear.unheard] if self._ear is not None else []
        return "; ".join(why for unheard in (*ears, *self._asked) if (why := unheard()))

    def hand_in_published(self, payload: bytes) -> bool:
        """A gateway published a received text; is it dealt with?"""
        try:
            received = received_text(payload)
        except Unreadable as why:
            _say(f"a text on the reply topic is refused: {why}")
            return True  # it won't get better
        sent = received.received
        return self._hand_in(received.sender, received.text, f"topic\0{received.id}", sent)

    def _hand_in(
        self,
        sender: str,
        text: str,
        message: str,
        sent: Instant | None,
        *,
        within_seconds: float = SKEW_SECONDS,
    ) -> bool:
        if self._judge is None:
            return True
        tries, again_at = self._failing.get(message, (0, 0.0))
        if tries and self._clock.monotonic_seconds() < again_at:
            return False
        try:
            outcome = self._judge.hand_in(
                sender, text, message, sent, within_seconds=within_seconds
            )
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return False
        # Whatever it is: one text must neither end the listening nor hold up those after it.
        except Exception as why:  # noqa: BLE001 - see above
            return self._is_passed_over(message, tries + 1, why)
        self._failing.pop(message, None)
        if outcome is not None and outcome.kind == "out of time" and sent is not None:
            _say(
                f"a text of {outcome.person} was received at {rfc3339_from_instant(sent)}, more"
                f" than {within_seconds / 60:.0f} minutes from now, so it is not acted on; is the"
                " clock of its gateway or service centre right?"
            )
        return True

    def _is_passed_over(self, message: str, tries: int, why: Exception) -> bool:
        """A text made us fail for the so many-th time; are there no more tries?"""
        self._failing.pop(message, None)
        if tries >= _TRIES:
            _say(f"a text is passed over after {tries} tries: {place_of(why)}")
            return True
        _say(f"a text could not be dealt with, trying again: {place_of(why)}")
        if len(self._failing) >= _MOST_FAILING:
            del self._failing[next(iter(self._failing))]
        self._failing[message] = (tries, self._clock.monotonic_seconds() + _TRY_AGAIN_SECONDS)
        return False

    def _receipt_desks(self, replies: ReplySettings) -> dict[str, ReceiptDesk]:
        return {
            channel.receipts.path: ReceiptDesk(
                channel.id,
                channel.receipts,
                replies,
                self._clock,
                on_receipt=self._note_receipt,
                on_trouble=_say,
            )
            for channel in self._settings.channels.values()
            if isinstance(channel, HttpChannel) and channel.receipts is not None
        }

    def receipt_awaited(self, known_as: str) -> None:
        """A text was just recorded as taken: its receipt may have been here before. From any
        thread."""
        early = self._early.take(known_as)
        if early is None:
            return
        try:
            self._record_receipt(known_as, early.delivered, early.words)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))

    def _note_receipt(self, known_as: str, delivered: bool, words: str) -> bool:
        """Raises: DiskTrouble, JournalUnusable; then the gateway hands it in again."""
        if self._record_receipt(known_as, delivered, words):
            return True
        self._early.keep(known_as, delivered=delivered, words=words)
        # It may have become known in between, and then nobody asks for it any more.
        return self._record_receipt(known_as, delivered, words)

    def _record_receipt(self, known_as: str, delivered: bool, words: str) -> bool:
        with Journal.open(self._settings.journal.path) as journal:
            known = journal.outbox.record_receipt(
                known_as, self._clock.now(), delivered=delivered, words=words
            )
        if known:
            self.receipts.came(known_as.partition(":")[0])
        return known

    def _post(self, entry: ServiceTrouble) -> None:
        with Journal.open(self._settings.journal.path) as journal:
            journal.inbox.post(entry)

    def _takable(self, person: str) -> Sequence[str]:
        try:
            return takable_codes(self._settings.journal.path, self._settings.depots, person)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return ()

    def _take(self, act: Take) -> str:
        plan = self._settings.depots[act.depot]
        try:
            taking = take(self._settings.journal.path, plan, act)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            code = f"{plan.short}{act.number}"
            return f"{code} is not taken: it can't be recorded. Try again, or call the next person."
        return "" if taking.done else taking.sentence

    def _handle(self, act: Handling) -> str:
        plan = self._settings.depots[act.depot]
        try:
            return handle(self._settings.journal.path, plan, act).sentence
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return f"{plan.code(act.number)}: not done, it can't be recorded. Try again."

    def _record(self, reply: RecordReply, person: str, now: Instant) -> tuple[bool, str]:
        """Enter what a person texted; is it entered, and what to answer."""
        depot = next(one for one in self._settings.depots.values() if one.short == reply.short)
        plan = depot.as_read_by(person)
        try:
            record = record_from_words(reply.words, plan) if reply.words else Struck()
            entry = HandRecord(
                depot=plan.id, time=now, received=now, at=now, record=record, by=person,
                corrects=reply.corrects, why=reply.why[:200],
            )  # fmt: skip
            result = enter(self._settings.journal.path, plan, entry)
        except RefusedRecord as why:
            return False, f"Not recorded: {why}."
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return False, f"{plan.name}: it can't be recorded now. Try again."
        return result.done, result.sentence

    def _act_on(self, outcome: ReplyOutcome) -> None:
        """Have the answer texted, and every depot told whether the person wants texts."""
        _LOG.info("reply of %s: %s", outcome.person or "a stranger", outcome.kind)
        if outcome.person is None or not (outcome.answer or outcome.opted):
            return
        now = self._clock.now()
        depots = self._depots_of(outcome, outcome.person)
        with Journal.open(self._settings.journal.path) as journal:
            for place, depot in enumerate(depots if outcome.opted else depots[:1]):
                journal.inbox.post(
                    Answer(
                        depot=depot,
                        time=now,
                        received=now,
                        person=outcome.person,
                        body="" if place else outcome.answer,  # answered once
                        opted=outcome.opted,
                    )
                )

    def _depots_of(self, outcome: ReplyOutcome, person: str) -> list[str]:
        """The depots that it is about: the code's, or all where the person is on call."""
        depots = self._settings.depots.values()
        named = [
            p.id for p in depots if outcome.code and outcome.code.rstrip("0123456789") == p.short
        ]
        theirs = [plan.id for plan in depots if person in plan.duty.on_call]
        return named or theirs or [plan.id for plan in depots][:1]


class _ModeDesk:
    """Modes and steps by way of the journal."""

    def __init__(self, settings: Settings) -> None:
        self._path = settings.journal.path
        self._plans = {plan.short: plan for plan in settings.depots.values()}

    def set_mode(self, reply: ModeReply, person: str, now: Instant) -> tuple[bool, str]:
        """Post it where the person is on call there."""
        plan = self._plans[reply.short]
        try:
            setting = set_mode(
                self._path, plan, reply.mode, by=person, now=now, single_batch=reply.single_batch
            )
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return False, f"{plan.name}: the mode can't be recorded, so it is as it was. Try again."
        return setting.set, setting.sentence

    def next_step(self, reply: StepReply, person: str, now: Instant) -> str:
        """By the newest readings, for who is on call there."""
        plan = self._plans[reply.short]
        if person not in plan.duty.on_call:
            return f"You are not on call at {plan.name}."
        try:
            with Journal.open(self._path, read_only=True) as journal:
                return step_text(journal, plan, now).text
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return f"{plan.name}: the records can't be read just now. Try again."


class _SeenInJournal:
    """Which replies were dealt with, in the journal, so that a restart forgets none."""

    def __init__(self, settings: Settings) -> None:
        self._path = settings.journal.path

    def seen(self, key: str, now: Instant) -> bool:
        """Was it dealt with? Where the journal fails, it was not."""
        try:
            with Journal.open(self._path) as journal:
                return journal.replies_seen.seen(key, now)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return False

    def remember(self, key: str, now: Instant) -> None:
        """It has been dealt with."""
        try:
            with Journal.open(self._path) as journal:
                journal.replies_seen.remember(key, now)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))


def _say(sentence: str) -> None:
    _LOG.error("replies: %s", sentence)
