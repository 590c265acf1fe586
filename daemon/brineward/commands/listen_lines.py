"""What `brineward listen` prints: a line for each reading or refusal, and a summary at the end."""

from collections import Counter
from collections.abc import Callable, Iterator
from typing import Final

from brineward.config.settings import Settings
from brineward.decode import Decoder
from brineward.decode.refusals import quoted
from brineward.link.messages import Message
from brineward.plant.plan import SI_UNITS, DepotPlan, Measure
from brineward.readings.instants import SECOND, Instant, local_from_instant
from brineward.readings.values import Reading, Refusal, TimedBy
from brineward.wording.operator_units import duration, measured

_SWITCHED: Final = {
    Measure.RUNNING: ("stopped", "running"),
    Measure.OPEN: ("shut", "open"),
    Measure.POWER: ("no power", "power"),
}


class Heard:
    """Takes messages, prints what is read in them, and counts; nothing is kept."""

    def __init__(self, settings: Settings, show: Callable[[str], None]) -> None:
        self._settings = settings
        self._show = show
        self._decoder = Decoder(settings.sources)
        self._topics = set(self._decoder.topics)
        self._read: Counter[tuple[str, str]] = Counter()
        self._refused = self._strangers = 0
        self._width = max((len(f"{s.depot}/{s.sensor}") for s in settings.sources), default=0)
        self.messages = 0
        """How many came."""

    def take(self, message: Message) -> None:
        """Show one message, a line for each reading or refusal in it."""
        self.messages += 1
        kept = ", RETAINED: stored by the broker, not a sign of life" * message.retained
        if message.topic not in self._topics:
            self._strangers += 1
            what = f"no sensor of the config has this topic ({quoted(message.payload)} came)"
            self._line(None, message.received, _printable(message.topic), what + kept)
            return
        found = self._decoder.decode(
            message.topic, message.payload, message.received, message.retained
        )
        for one in found:
            plan = self._settings.depots[one.depot]
            name = f"{one.depot}/{one.sensor}".ljust(self._width)
            if isinstance(one, Refusal):
                self._refused += 1
                self._line(plan, message.received, name, f"REFUSED: {one.sentence}{kept}")
            else:
                self._read[one.depot, one.sensor] += 1
                self._line(plan, message.received, name, self._said(plan, one) + kept)

    def summary(self) -> Iterator[str]:
        """What came in all, and which sensors nothing was read from."""
        read = sum(self._read.values())
        yield (
            f"{self.messages} messages: {read} readings, {self._refused} refused,"
            f" {self._strangers} on topics of no sensor."
        )
        silent = [
            f"{source.depot}/{source.sensor}"
            for source in self._settings.sources
            if (source.depot, source.sensor) not in self._read
        ]
        if silent:
            yield f"Nothing read from {', '.join(silent)}."

    def _said(self, plan: DepotPlan, reading: Reading) -> str:
        sensor = plan.sensors[reading.sensor]
        said = _value(plan, sensor.measures, reading.value)
        said += f", {reading.quality}" + (f" ({reading.reason})" if reading.reason else "")
        if reading.value is not None and not sensor.low <= reading.value <= sensor.high:
            said += ", outside the range that is believed"
        if reading.timed_by is TimedBy.ARRIVAL:
            return f"{said}, timed by its arrival"
        behind = (reading.received - reading.time) / SECOND
        away = f"{duration(behind)} ago" if behind >= 0 else f"{duration(-behind)} AHEAD"
        return f"{said}, measured {_clock(plan, reading.time, reading.received)} ({away})"

    def _line(self, plan: DepotPlan | None, at: Instant, name: str, what: str) -> None:
        plan = plan or next(iter(self._settings.depots.values()))
        self._show(f"{_clock(plan, at, at)}  {name}  {what}")


def _value(plan: DepotPlan, measures: Measure, value: float | None) -> str:
    if value is None:
        return "no value"
    if measures.is_switch:
        return _SWITCHED[measures][value >= 0.5]
    return measured(value, SI_UNITS[measures], plan.us_units)


def _clock(plan: DepotPlan, instant: Instant, now: Instant) -> str:
    """The depot's wall clock to the second, with the day where it is another than now's."""
    then, today = local_from_instant(instant, plan.zone), local_from_instant(now, plan.zone)
    return f"{then:%H:%M:%S}" if then.date() == today.date() else f"{then:%Y-%m-%d %H:%M:%S}"


def _printable(text: str) -> str:
    """What came from outside must not move a terminal's cursor."""
    return "".join(sign if sign.isprintable() else "?" for sign in text[:200])
