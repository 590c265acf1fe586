"""People who text to the example depot while a pump runs against a closed valve: what comes back.

The real judge of replies, engine and journal, driven by hand; nothing here says what a text says.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple, Self

from brineward.decode.recorded import Recording
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.entries import Entry, Tick
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant
from brineward.readings.outputs import AlarmChanged, Step, TextDue
from brineward.readings.values import Reading
from brineward.service.replying import Replies
from brineward.wording.segment import segment
from driven_clock import DrivenClock
from reports.made import RECORDED, settings_with

YARD, DISPATCH, CHIEF, STRANGER = "+15550141", "+15550140", "+15550142", "+15550199"
MORE = """
[reply_topic]
topic = "brine/texts/received"

[people.chief]
name = "Road chief"
channel = "phone"
address = "+15550142"
"""


class Said(NamedTuple):
    """A text that somebody got."""

    person: str
    """What they are called."""
    text: str


class Talk:
    """The depot of `config/tern-hollow.toml`, four minutes after the alarm of the recorded run."""

    def __init__(self, folder: Path, run: str = "closed-valve") -> None:
        self.settings = settings_with(folder / "talk.journal", folder, MORE)
        self.plan = self.settings.depots["tern-hollow"]
        self.clock = DrivenClock()
        self.replies = Replies(self.settings, self.clock)
        self._engine = Engine(self.settings.depots)
        self._journal = Journal.open(self.settings.journal.path)
        self._last: dict[str, Reading] = {}
        self._texted = 0
        self.at_first = self._played(Recording(RECORDED / f"{run}.csv", self.settings.sources))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._journal.close()

    @property
    def now(self) -> Instant:
        """The time that all go by."""
        return self.clock.now()

    def _played(self, recording: Recording) -> list[Said]:
        """Every text up to four minutes after the first alarm was raised."""
        said: list[Said] = []
        until: Instant | None = None
        for entry in recording:
            if isinstance(entry, Reading):
                self._last[entry.sensor] = entry
                self.clock.seconds = entry.time / SECOND
            if until is not None and self.now > until:
                break
            steps = self._step(entry)
            if until is None and any(isinstance(one, AlarmChanged) for one in steps.outputs):
                until = self.now + 240 * SECOND
            said += self._texts(steps)
        return said

    def _step(self, entry: Entry, number: int | None = None) -> Step:
        step = Step(entry, tuple(self._engine.step(entry)))
        self._journal.commit([step], inbox_done=() if number is None else (number,))
        return step

    def _texts(self, step: Step) -> list[Said]:
        people = self.settings.people
        due = [one for one in step.outputs if isinstance(one, TextDue)]
        return [Said(people[one.person].name, segment(one.notice)) for one in due]

    def text(self, number: str, text: str, *, late: int = 0) -> list[Said]:
        """Somebody texts so many milliseconds ago; every text that follows, the answer first."""
        self.clock.seconds += 1
        self._texted += 1
        received = rfc3339_from_instant(self.now - late)
        payload = f'{{"from": "{number}", "text": "{text}", "id": "m{self._texted}", "received": "'
        assert self.replies.hand_in_published(f'{payload}{received}"}}'.encode())
        return self._worked()

    def _worked(self) -> list[Said]:
        """The service comes to what waits."""
        said: list[Said] = []
        while waiting := self._journal.inbox.waiting():
            for number, entry in waiting:
                said += self._texts(self._step(entry, number))
        return said

    def post(self, entry: Entry) -> list[Said]:
        """The service hears of something else."""
        return self._texts(self._step(entry))

    def go_on(self, seconds: int, **changed: float) -> list[Said]:
        """Time passes, and every sensor says what it said last, or what has changed."""
        said: list[Said] = []
        for name, value in changed.items():
            sensor = name.replace("_", "-")
            self._last[sensor] = self._last[sensor]._replace(value=value)
        for _ in range(seconds // 10):
            self.clock.seconds += 10
            for reading in self._reported():
                said += self._texts(self._step(reading))
            said += self._texts(self._step(Tick(time=self.now)))
        return said

    def _reported(self) -> Iterator[Reading]:
        for place, last in enumerate(sorted(self._last.values(), key=lambda one: one.sensor)):
            value = last.value
            if value is not None and not self.plan.sensors[last.sensor].measures.is_switch:
                value += 1e-4 * ((self.now // 10_000 + place) % 3)  # no sensor is quite still
            yield replace_time(last, self.now, value)


def replace_time(reading: Reading, now: Instant, value: float | None) -> Reading:
    """The same sensor's next reading."""
    return reading._replace(time=now, received=now, value=value)
