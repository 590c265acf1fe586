"""What `replay --change` prints: a run's alarms as they were, and as they would have been."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any, Final, Literal

from brineward.config.settings import Settings
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, Priority, TextDue
from brineward.wording.operator_units import duration

How = Literal["same", "gained", "lost", "earlier", "later"]

_UNDER_WAY: Final = 1 << 62
"""The end of what had not cleared by the end of the run."""


BAND: Final = "strength"
"""The config's table of the band that the brine must keep to, changed as an alarm's is."""


class NoChange(ValueError):
    """What was given with --change changes nothing that is known; the text says why."""


def changed_keys(texts: Iterable[str], settings: Settings) -> dict[tuple[str, ...], object]:
    """The config's keys and their new values, of `ALARM.KEY=VALUE` at every depot.

    `strength.low`, `.target` and `.high` are the band that the brine must keep to.

    Raises: NoChange where a text is written otherwise. Whether alarm, key and value are any is
    judged when the config is read with them.
    """
    found: dict[tuple[str, ...], object] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        alarm, dot, key = name.strip().partition(".")
        if not (equals and dot and alarm and key and value.strip()):
            raise NoChange(
                f"--change {text!r}: expected ALARM.KEY=VALUE, such as "
                "'shelter-freezing.limit=2 degC', 'brine-strong.enabled=false' or "
                f"'{BAND}.low=21 %'"
            )
        said: object = {"true": True, "false": False}.get(value.strip(), value.strip())
        table = (BAND,) if alarm == BAND else ("alarms", alarm)
        for depot in settings.depots:
            found["depots", depot, *table, key] = said
    return found


@dataclass(slots=True)
class Occurrence:
    """One time that an alarm was raised."""

    alarm: tuple[str, str, str]
    """Depot, alarm, source."""
    raised: Instant
    cleared: Instant
    priority: Priority
    sentence: str


@dataclass(slots=True)
class Heard:
    """What was said in one run."""

    occurrences: list[Occurrence] = field(default_factory=list)
    texts: int = 0
    _open: dict[tuple[str, str, str], Occurrence] = field(default_factory=dict)

    def hear(self, outputs: Iterable[Output]) -> None:
        """Take what came of an entry."""
        for output in outputs:
            if isinstance(output, TextDue):
                self.texts += 1
            elif isinstance(output, AlarmChanged):
                self._change(output)

    def _change(self, change: AlarmChanged) -> None:
        alarm = (change.depot, change.alarm, change.source)
        was = self._open.get(alarm)
        if change.state is AlarmState.UNACKNOWLEDGED and was is None:
            began = Occurrence(
                alarm=alarm,
                raised=change.time,
                cleared=_UNDER_WAY,
                priority=change.priority,
                sentence=change.sentence,
            )
            self._open[alarm] = began
            self.occurrences.append(began)
        elif was is not None and change.state in _CLEARED:
            was.cleared = change.time
            del self._open[alarm]


_CLEARED: Final = (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One occurrence, before and after the change; at least one is there."""

    shown: Occurrence
    """The occurrence as it is after the change, or else as it was."""
    before: Occurrence | None = None
    after: Occurrence | None = None

    @property
    def how(self) -> How:
        """What the change made of it."""
        if self.before is None:
            return "gained"
        if self.after is None:
            return "lost"
        if self.after.raised == self.before.raised:
            return "same"
        return "earlier" if self.after.raised < self.before.raised else "later"

    @property
    def by_seconds(self) -> float:
        """By how much later it was raised; below 0 earlier; 0 where it is in one run only."""
        if self.before is None or self.after is None:
            return 0.0
        return (self.after.raised - self.before.raised) / SECOND


def differences(before: Heard, after: Heard) -> list[Difference]:
    """Every occurrence of either run, by its time; those that overlap in time are the same one."""
    waiting: dict[tuple[str, str, str], list[Occurrence]] = {}
    for one in after.occurrences:
        waiting.setdefault(one.alarm, []).append(one)
    found = []
    for was in before.occurrences:
        others = waiting.get(was.alarm, [])
        same = next((o for o in others if _overlap(was, o)), None)
        if same is not None:
            others.remove(same)
        found.append(Difference(shown=same or was, before=was, after=same))
    rest = [one for others in waiting.values() for one in others]
    found += [Difference(shown=one, after=one) for one in rest]
    return sorted(found, key=lambda one: (one.shown.raised, one.shown.alarm))


def _overlap(one: Occurrence, other: Occurrence) -> bool:
    return one.raised <= other.cleared and other.raised <= one.cleared


# -- for a person

_OTHERWISE: Final[tuple[How, ...]] = ("gained", "lost", "earlier", "later")
_HEADS: Final = ("before", "after", *_OTHERWISE)


def lines(before: Heard, after: Heard) -> Iterator[str]:
    """Alarm by alarm how many were gained, lost, raised earlier and later; then each of these."""
    found = differences(before, after)
    by_alarm: dict[str, list[Difference]] = {}
    for one in found:
        by_alarm.setdefault(one.shown.alarm[1], []).append(one)
    yield f"{'alarm':<24}" + "".join(f"{head:>8}" for head in _HEADS)
    for alarm, ones in sorted(by_alarm.items()):
        yield _row(alarm, ones)
    yield f"{'texts due':<24}{before.texts:>8}{after.texts:>8}"
    yield from _moved(found)
    other = [one for one in found if one.how != "same"]
    yield "" if other else "Nothing is added, lost, earlier or later."
    yield from (_difference(one) for one in other)


def _row(alarm: str, ones: Sequence[Difference]) -> str:
    def count(how: How) -> int:
        return sum(one.how == how for one in ones)

    before, after = len(ones) - count("gained"), len(ones) - count("lost")
    counts = (before, after, *(count(how) for how in _OTHERWISE))
    return f"{alarm:<24}" + "".join(f"{one:>8}" for one in counts)


def _moved(found: Sequence[Difference]) -> Iterator[str]:
    for how in ("earlier", "later"):
        by = sorted(abs(one.by_seconds) for one in found if one.how == how)
        if by:
            middle, most = duration(median(by)), duration(by[-1])
            yield f"raised {how}: by {middle} in the median, {most} at most"


def _difference(one: Difference) -> str:
    shown = one.shown
    by = f" by {duration(abs(one.by_seconds))}" if one.by_seconds else ""
    stamp = rfc3339_from_instant(shown.raised)
    return f"{stamp}  {shown.alarm[0]}  {shown.alarm[1]}: {one.how}{by}  ({shown.sentence})"


# -- for a program


def as_json(one: Difference) -> Mapping[str, Any]:
    """One occurrence as `replay --change --json` prints it."""
    depot, alarm, source = one.shown.alarm
    return {
        "depot": depot,
        "alarm": alarm,
        "source": source,
        "priority": one.shown.priority,
        "how": one.how,
        "raised_before": _stamp(one.before),
        "raised_after": _stamp(one.after),
        "by_seconds": one.by_seconds,
        "sentence": one.shown.sentence,
    }


def _stamp(one: Occurrence | None) -> str | None:
    return None if one is None else rfc3339_from_instant(one.raised)
