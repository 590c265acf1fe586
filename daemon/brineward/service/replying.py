"""Replies from phones: the listener's judgements become acts in the journal's inbox."""

import logging

from brineward.clock import Clock
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.readings.entries import Act
from brineward.service.taking import take
from brineward.texts.reply_desk import ReplyDesk, ReplyOutcome
from brineward.texts.reply_listener import ReplyListener

_LOG = logging.getLogger(__name__)


class Replies:
    """Listens for replies where the config says so; otherwise does nothing."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self._listener: ReplyListener | None = None
        if settings.replies is not None:
            desk = ReplyDesk(
                settings.replies,
                settings.people,
                {plan.short: plan.id for plan in settings.depots.values()},
                clock,
                on_act=self._taken,
                on_outcome=self._answer,
                on_trouble=_say,
            )
            self._listener = ReplyListener(settings.replies, desk, _say)

    def start(self) -> None:
        """Begin to listen. Raises: CannotListen."""
        if self._listener is not None:
            self._listener.start()

    def stop(self) -> None:
        """Stop listening."""
        if self._listener is not None:
            self._listener.stop()

    def _taken(self, act: Act) -> str | None:
        try:
            taking = take(self._settings.journal.path, act)
        except (DiskTrouble, JournalUnusable) as why:
            _say(str(why))
            return "could not be written down; try again, or call the next person"
        return None if taking.taken else taking.sentence

    def _answer(self, outcome: ReplyOutcome) -> None:
        """Have the answer texted, and a person who opted out counted as out of reach."""
        _LOG.info("reply of %s: %s", outcome.person or "a stranger", outcome.kind)
        if outcome.person is None or not (outcome.answer or outcome.kind == "opted out"):
            return
        now = self._clock.now()
        fields = {"person": outcome.person, "body": outcome.answer, "kind": outcome.kind}
        act = Act(
            depot=self._depot_of(outcome), time=now, received=now, act="answer", fields=fields
        )
        with Journal.open(self._settings.journal.path) as journal:
            journal.post(act)

    def _depot_of(self, outcome: ReplyOutcome) -> str:
        depots = self._settings.depots.values()
        named = [plan.id for plan in depots if outcome.code.startswith(plan.short)]
        theirs = [plan.id for plan in depots if outcome.person in plan.duty.on_call]
        return (named or theirs or [plan.id for plan in depots])[0]


def _say(sentence: str) -> None:
    _LOG.error("replies: %s", sentence)
