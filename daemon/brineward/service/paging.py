"""The page beside the service: its acts go through the journal's inbox, as the commands' do."""

import logging
from collections.abc import Callable

from brineward.clock import Clock
from brineward.config.settings import PageSettings, Settings
from brineward.decode.by_hand import RefusedRecord, record_from_words
from brineward.decode.hand_tests import RefusedTest, hand_test
from brineward.http_server.door import Door
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.page.app import page_app
from brineward.page.desk import Computed, Done, Fields, Understood
from brineward.page.words import say
from brineward.readings.by_hand import Struck
from brineward.readings.entries import Answer, Handling, HandlingKind, HandRecord, Take
from brineward.readings.instants import SECOND
from brineward.readings.modes import Mode
from brineward.readings.values import Refusal
from brineward.service.handling import handle
from brineward.service.mode_setting import set_mode
from brineward.service.recording import enter
from brineward.service.taking import take
from brineward.wording.by_hand import sentence_of

_LOG = logging.getLogger(__name__)


def page_door(
    settings: Settings,
    page: PageSettings,
    clock: Clock,
    port: int | None = None,
    *,
    anyone: bool = False,
    people_clock: Clock | None = None,
) -> Door:
    """The page of these depots, for the HTTP server; `port` in place of the config's.

    With `anyone` whoever calls may look, and nobody act; `people_clock` is what codes and sign-ins
    last by where `clock` is a faster one.

    Raises: NoKey.
    """
    desk = JournalDesk(settings, clock)
    app = page_app(settings, page, clock, desk, anyone=anyone, people_clock=people_clock)
    return Door(
        name="page",
        host=page.listen_host,
        port=page.listen_port if port is None else port,
        app=app,
        certificate_file=page.certificate_file,
        key_file=page.key_file,
    )


class JournalDesk:
    """A desk whose acts go into the journal's inbox. See `brineward.page.desk.Desk`."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._path, self._plans = settings.journal.path, settings.depots
        self._clock = clock

    def take(self, depot: str, number: int, person: str) -> Done:
        """Take an alarm."""
        plan, now = self._plans[depot], self._clock.now()
        act = Take(depot=depot, time=now, received=now, number=number, by=person)

        def posted() -> Done:
            taking = take(self._path, plan, act)
            if not taking.done:
                return Done(done=False, sentence=taking.sentence)
            said = say("act.taken", code=plan.code(number), sentence=taking.sentence)
            return Done(done=True, sentence=said)

        return _recorded(posted)

    def handle(
        self, depot: str, what: HandlingKind, number: int, person: str, seconds: float = 0.0
    ) -> Done:
        """Hand an alarm back, shelve it for so long, put it back or reset it."""
        now = self._clock.now()
        act = Handling(
            depot=depot,
            time=now,
            received=now,
            what=what,
            number=number,
            by=person,
            until=now + round(seconds * SECOND) if seconds else 0,
        )

        def posted() -> Done:
            handled = handle(self._path, self._plans[depot], act)
            return Done(done=handled.done, sentence=handled.sentence)

        return _recorded(posted)

    def computed(self, depot: str, fields: Fields) -> Computed:
        """What a test would show."""
        try:
            test = hand_test(fields, depot=depot, now=self._clock.now())
        except RefusedTest as why:
            return Computed(sentence=f"{str(why)[:1].upper()}{str(why)[1:]}.")
        return Computed(
            sentence=test.entered,
            mass_fraction=test.mass_fraction,
            standard_uncertainty=test.standard_uncertainty,
        )

    def enter_test(self, depot: str, fields: Fields, person: str) -> Done:
        """Enter a test by hand, where the person is on call."""
        plan = self._plans[depot]
        if person not in plan.duty.on_call:
            return Done(done=False, sentence=say("act.look_only", place=plan.name))
        try:
            test = hand_test({**fields, "by": person}, depot=depot, now=self._clock.now())
        except RefusedTest as why:
            return Done(done=False, sentence=f"{why}.")

        def posted() -> Done:
            with Journal.open(self._path) as journal:
                journal.inbox.post(test)
            return Done(done=True, sentence=say("test.entered", entered=test.entered))

        return _recorded(posted)

    def understood(self, depot: str, words: str) -> Understood:
        """What a record in one line says."""
        plan = self._plans[depot]
        try:
            record = record_from_words(words, plan)
        except RefusedRecord as why:
            return Understood(is_record=False, sentence=f"{why}.", fault=why.fault)
        said = sentence_of(record, plan.units)
        return Understood(is_record=True, sentence=f"{said[:1].upper()}{said[1:]}")

    def enter_record(
        self, depot: str, words: str, person: str, corrects: int = 0, why: str = ""
    ) -> Done:
        """Enter a record; with `corrects` in the place of an earlier one, without words to strike
        that."""
        plan, now = self._plans[depot], self._clock.now()
        try:
            record = record_from_words(words, plan) if words else Struck()
        except RefusedRecord as refused:
            return Done(done=False, sentence=f"{refused}.")
        entry = HandRecord(
            depot=depot,
            time=now,
            received=now,
            at=now,
            record=record,
            by=person,
            corrects=corrects,
            why=why,
        )

        def posted() -> Done:
            entered = enter(self._path, plan, entry)
            return Done(done=entered.done, sentence=entered.sentence)

        return _recorded(posted)

    def set_mode(self, depot: str, mode: Mode, person: str) -> Done:
        """Set what a depot is used for."""
        plan, now = self._plans[depot], self._clock.now()

        def posted() -> Done:
            setting = set_mode(self._path, plan, mode, by=person, now=now)
            return Done(done=setting.set, sentence=setting.sentence)

        return _recorded(posted)

    def text_code(self, person: str, sentence: str) -> bool:
        """Have a code for signing in texted, as the answer to somebody's own text is."""
        depots = [plan.id for plan in self._plans.values() if person in plan.duty.on_call]
        depot, now = (depots or list(self._plans))[0], self._clock.now()
        answer = Answer(depot=depot, time=now, received=now, person=person, body=sentence)
        try:
            with Journal.open(self._path) as journal:
                journal.inbox.post(answer)
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error("page: no code can be texted: %s", why)
            return False
        return True

    def note_refused(self, what: str, sentence: str) -> None:
        """Count a refused try of the page, as one of its first depot's refusals."""
        refusal = Refusal(next(iter(self._plans)), "page", self._clock.now(), what, sentence)
        try:
            with Journal.open(self._path) as journal:
                journal.inbox.post(refusal)
        except (DiskTrouble, JournalUnusable) as why:
            _LOG.error("page: a refused try can't be counted: %s", why)


def _recorded(posted: Callable[[], Done]) -> Done:
    try:
        return posted()
    except (DiskTrouble, JournalUnusable) as why:
        _LOG.error("page: an act can't be recorded: %s", why)
        return Done(done=False, sentence=say("act.not_recorded"))
