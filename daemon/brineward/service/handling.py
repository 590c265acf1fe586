"""What people do with an alarm besides taking it, from outside the engine: are they allowed to, and
can it be done?
"""

from dataclasses import replace
from pathlib import Path

from brineward.alarms.registry import ConfiguredAlarm, alarms_at, site_of
from brineward.book.shelving import longest_shelving
from brineward.journal.journal import Journal
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Handling
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.records import Records
from brineward.service.taking import ActResult, last_taken

_OPEN = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)
_TAKEN = (AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)
_NOBODY_HAS = {
    AlarmState.NORMAL: "is not active",
    AlarmState.RETURNED_UNACKNOWLEDGED: "has cleared",
    AlarmState.SUPPRESSED: "is held back",
}
_LATCHED = (AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)


def handle(journal_path: Path, plan: DepotPlan, act: Handling) -> ActResult:
    """Post the act where it can be done, or say why not.

    Raises: DiskTrouble, JournalUnusable.
    """
    with Journal.open(journal_path) as journal:
        judged = _Judged(Records(journal.handle), plan, act)
        handled = judged.not_known() or judged.answer()
        if handled.done:
            journal.inbox.post(judged.act)
        return handled


class _Judged:
    """An act beside what the records say of its alarm."""

    def __init__(self, records: Records, plan: DepotPlan, act: Handling) -> None:
        self._records = records
        self._plan = plan
        self.act = act
        self._change = _change(records, plan, act)
        self._configured = _configured(plan, act, self._change)
        self._name = plan.code(act.number) if act.number else f"{act.alarm} ({act.source})"

    @property
    def _state(self) -> AlarmState:
        return AlarmState.NORMAL if self._change is None else self._change.state

    def not_known(self) -> ActResult | None:
        """Nobody on call, or no alarm."""
        if self.act.by not in self._plan.duty.on_call:
            return _no(f"You are not on call at {self._plan.name}.")
        if self.act.number and self._change is None:
            return _no(f"{self._name} is not active.")
        if self._configured is None:
            return _no(f"{self._name} is not an alarm that is watched at {self._plan.name}.")
        return None

    def answer(self) -> ActResult:
        """What is done, or why it is not."""
        answers = {
            "hand back": self._hand_back,
            "shelve": self._shelve,
            "unshelve": self._unshelve,
            "reset": self._reset,
            "out of service": self._remove,
            "back in service": self._put_back,
        }
        return answers[self.act.what]()

    def _unshelve(self) -> ActResult:
        if self._state is not AlarmState.SHELVED:
            return _no(f"{self._name} is not shelved.")
        return _yes(f"{self._name} is no longer shelved. If it is still active, people are texted.")

    def _reset(self) -> ActResult:
        if self._state in _LATCHED:
            return _yes(f"{self._name} is reset.")
        if self._state in (*_OPEN, *_TAKEN):
            return _no(f"{self._name} is still active: it can't be reset until it has cleared.")
        return _no(f"{self._name} needs no reset.")

    def _hand_back(self) -> ActResult:
        alone = self._plan.duty.on_call == (self.act.by,)
        if self._state in _OPEN:
            then = "If you were called last, the next person is called."
            if alone:
                then = "Nobody else is on call: phone somebody."
            return _yes(f"You do not have {self._name}. {then}")
        if self._state not in _TAKEN:
            how = _NOBODY_HAS.get(self._state, f"is {self._state}")
            return _no(f"{self._name} {how}: nobody has it.")
        taken = last_taken(self._records, self._plan, self.act.number)
        name = self._plan.duty.names.get(self.act.by, self.act.by)
        if taken is not None and taken.by not in (name, self.act.by):
            return _no(f"{taken.by} has {self._name}, not you.")
        then = "nobody else is on call, phone somebody" if alone else "the next person is called"
        return _yes(f"You do not have {self._name} any more: {then}.")

    def _shelve(self) -> ActResult:
        if self._configured is None or self._state is AlarmState.OUT_OF_SERVICE:
            return _no(f"{self._name} is out of service.")
        change, configured = self._change, self._configured
        priority = configured.priority if change is None else change.priority
        most = longest_shelving(configured.record, configured.settings, priority)
        if not most:
            return _no(f"{self._name} can't be shelved: the config forbids it.")
        until = min(self.act.until, self.act.time + most)
        if until <= self.act.time:
            return _no(f"How long should {self._name} be shelved?")
        longest = ", the longest allowed" if until < self.act.until else ""
        self.act = replace(self.act, until=until)
        at = self._plan.units.clock_time(until, self.act.time)
        until_when = f"{self._name} is shelved until {at}{longest}"
        return _yes(f"{until_when}. If it is still active then, people are texted.")

    def _put_back(self) -> ActResult:
        if self._state is not AlarmState.OUT_OF_SERVICE:
            return _no(f"{self._name} is not out of service.")
        return _yes(f"{self._name} is back in service. If it is still active, people are texted.")

    def _remove(self) -> ActResult:
        if self._state is AlarmState.OUT_OF_SERVICE:
            return _no(f"{self._name} is out of service already.")
        if not self.act.why.strip():
            return _no("Say why it is put out of service.")
        return _yes(f"{self._name} is out of service until somebody puts it back.")


def _no(sentence: str) -> ActResult:
    return ActResult(done=False, sentence=sentence)


def _yes(sentence: str) -> ActResult:
    return ActResult(done=True, sentence=sentence)


def _change(records: Records, plan: DepotPlan, act: Handling) -> AlarmChanged | None:
    """The last change of the alarm that is meant, where it is not normal."""
    for active in records.alarms.active(plan.id):
        change = active.change
        named = (change.alarm, change.source) == (act.alarm, act.source)
        if change.number == act.number if act.number else named:
            return change
    return None


def _configured(
    plan: DepotPlan, act: Handling, change: AlarmChanged | None
) -> ConfiguredAlarm | None:
    meant = (act.alarm, act.source) if change is None else (change.alarm, change.source)
    watched = alarms_at(site_of(plan))
    return next((w for w in watched if (w.record.id, w.condition.source) == meant), None)
