"""How the alarms have performed, in the measures of ISA-18.2 / IEC 62682. Pure.

The standard's measures are for an operator who sits before a screen; a person who is woken by texts
can bear fewer, and both are shown.
"""

from collections import Counter, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority

SLOT: Final = 10 * MINUTE
FLOOD_BEGINS: Final = 10
"""More texts to one person than this in ten minutes are a flood (ISA-18.2-2016, clause 16)."""
STALE: Final = DAY
"""An alarm that is active for longer is stale (ISA-18.2-2016, clause 16)."""
CHATTERS: Final = 3
"""Raised so often within a minute (ISA-18.2-2016, clause 16)."""
FLEETING: Final = 10 * SECOND
"""Its condition clears this soon (common practice, no source: the standard says "a short time")."""
SHIFT: Final = 12 * HOUR

ACCEPTABLE: Final = 1
MANAGEABLE: Final = 2
"""Texts to one person in ten minutes, on average: about six an hour are acceptable, twelve the most
that is manageable (ISA-18.2-2016, table 7)."""

_ACTIVE: Final = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
_HELD_BACK: Final = (AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One person's texts of raised alarms."""

    person: str
    texts: int
    in_ten_minutes: float
    """On average."""
    most_in_ten_minutes: int
    slots_above: int
    """Ten-minute stretches with more than ten texts."""
    slots: int
    """Ten-minute stretches in all."""
    floods: int
    most_in_a_shift: int
    """Incidents in twelve hours: occurrences that this person was texted about."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Of one depot, from `start` to before `end`."""

    start: Instant
    end: Instant
    raised: int
    """Occurrences, each once."""
    by_priority: Mapping[Priority, int]
    most_frequent: Sequence[tuple[str, int]]
    """Alarm and source, the ten raised most often."""
    standing: int
    """Active at the end."""
    stale: Sequence[str]
    """Of these, those that have been for more than a day."""
    chattering: Mapping[str, int]
    """How often an alarm was raised three times within a minute."""
    fleeting: Mapping[str, int]
    """How many occurrences of an alarm cleared again within seconds."""
    told: Sequence[Told]

    @property
    def days(self) -> float:
        """How long that is."""
        return (self.end - self.start) / DAY

    @property
    def raised_a_day(self) -> float:
        """On average."""
        return self.raised / self.days if self.days > 0 else 0.0

    @property
    def share_of_most_frequent(self) -> float:
        """Of all that was raised; 0 where nothing was."""
        most = sum(count for _, count in self.most_frequent)
        return most / self.raised if self.raised else 0.0


Texted = tuple[str, Instant, int]
"""A text of a raised alarm: the person, when it fell due, the occurrence."""


def alarm_figures(
    changes: Iterable[AlarmChanged], texts: Iterable[Texted], start: Instant, end: Instant
) -> Figures:
    """The figures of one depot from `start` to before `end`.

    `changes` in order, also of a time before the start: what was active then still counts as
    active. Texts outside the stretch are left out.
    """
    course = _Course(start)
    for change in changes:
        if change.time >= end:
            break
        course.hear(change)
    raised, active = course.raised, course.active
    chattering = {key: chattered(at) for key, at in course.times.items()}
    within = [text for text in texts if start <= text[1] < end]
    return Figures(
        start=start,
        end=end,
        raised=raised.total(),
        by_priority={priority: course.priorities[priority] for priority in Priority},
        most_frequent=sorted(raised.items(), key=lambda one: (-one[1], one[0]))[:10],
        standing=len(active),
        stale=sorted(one.key for one in active if end - course.came[one] > STALE),
        chattering={key: count for key, count in sorted(chattering.items()) if count},
        fleeting=dict(sorted(Counter(one.key for one in course.fleeting).items())),
        told=[_told(person, within, start, end) for person in sorted({p for p, _, _ in within})],
    )


class _Occurrence(NamedTuple):
    """One occurrence of an alarm."""

    key: str
    """Alarm and source."""
    number: int


class _Course:
    """What the changes so far come to; what was before the start is known, and not counted.

    Whoever shelves an alarm, puts it out of service or ends that neither ends the occurrence nor
    begins another, and no more does a cause that holds it back and lets it go.
    """

    def __init__(self, start: Instant) -> None:
        self._start = start
        self.raised: Counter[str] = Counter()
        """Occurrences by alarm and source."""
        self.priorities: Counter[Priority] = Counter()
        self.fleeting: set[_Occurrence] = set()
        self.times: dict[str, list[Instant]] = {}
        """When the condition came, by alarm and source: within an occurrence too that nobody has
        taken."""
        self.came: dict[_Occurrence, Instant] = {}
        """When its condition last came."""
        self.active: set[_Occurrence] = set()

    def hear(self, change: AlarmChanged) -> None:
        """The next change."""
        one = _Occurrence(f"{change.alarm} {change.source}", change.number)
        counts = change.time >= self._start
        if change.state in _ACTIVE:
            if one not in self.active and (one not in self.came or change.before not in _HELD_BACK):
                self._comes(one, change, counts=counts)
            self.active.add(one)
            return
        was_active = one in self.active
        self.active.discard(one)
        brief = was_active and change.time - self.came[one] < FLEETING
        if brief and counts and change.state not in _HELD_BACK:
            self.fleeting.add(one)

    def _comes(self, one: _Occurrence, change: AlarmChanged, *, counts: bool) -> None:
        if counts and one not in self.came:
            self.raised[one.key] += 1
            self.priorities[change.priority] += 1
        if counts:
            self.times.setdefault(one.key, []).append(change.time)
        self.came[one] = change.time


def chattered(times: Sequence[Instant]) -> int:
    """How many stretches there are of an alarm raised three times within a minute."""
    count, last = 0, -1
    for place in range(CHATTERS - 1, len(times)):
        first = place - CHATTERS + 1
        if times[place] - times[first] <= MINUTE and first > last:
            count, last = count + 1, place
    return count


def _told(person: str, texts: Sequence[Texted], start: Instant, end: Instant) -> Told:
    own = sorted((at, number) for who, at, number in texts if who == person)
    times = [at for at, _ in own]
    per_slot = Counter((at - start) // SLOT for at in times)
    most, floods = _crowded(times)
    first_of: dict[int, Instant] = {}
    for at, number in own:
        first_of.setdefault(number, at)
    return Told(
        person=person,
        texts=len(own),
        in_ten_minutes=len(own) * SLOT / (end - start) if end > start else 0.0,
        most_in_ten_minutes=most,
        slots_above=sum(count > FLOOD_BEGINS for count in per_slot.values()),
        slots=max(1, -(-(end - start) // SLOT)),
        floods=floods,
        most_in_a_shift=most_within(sorted(first_of.values()), SHIFT),
    )


def most_within(times: Iterable[Instant], span: Instant) -> int:
    """The most of these times, in order, that lie within any stretch of this length."""
    window: deque[Instant] = deque()
    most = 0
    for at in times:
        window.append(at)
        while at - window[0] >= span:
            window.popleft()
        most = max(most, len(window))
    return most


def _crowded(times: Sequence[Instant]) -> tuple[int, int]:
    """The most in any ten minutes, and how many floods: from above ten to under five in these."""
    window: deque[Instant] = deque()
    most = floods = 0
    flooded = False
    for at in times:
        while window and at - window[0] >= SLOT:
            window.popleft()
        if len(window) < FLOOD_BEGINS // 2:
            flooded = False
        window.append(at)
        most = max(most, len(window))
        if len(window) > FLOOD_BEGINS and not flooded:
            flooded = True
            floods += 1
    return most, floods
