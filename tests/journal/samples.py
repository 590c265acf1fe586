"""Made-up steps for the journal's tests."""

from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    Derived,
    EpisodeChanged,
    Priority,
    Step,
    TextDue,
)
from brineward.readings.values import Reading

T0 = 1_767_225_600_000  # 2026-01-01T00:00:00Z


def reading(
    time: int = 0, value: float | None = 1.5, sensor: str = "main-level", **more
) -> Reading:
    """A reading at so many milliseconds after T0."""
    depot = more.pop("depot", "tern-hollow")
    received = more.pop("received", T0 + time + 40)
    return Reading(depot, sensor, T0 + time, value, received, **more)


def alarm(time: int = 0, state: AlarmState = AlarmState.UNACKNOWLEDGED, **more) -> AlarmChanged:
    """An alarm change at so many milliseconds after T0."""
    parts = {
        "depot": "tern-hollow",
        "alarm": "brine-weak",
        "source": "main",
        "number": 12,
        "before": AlarmState.NORMAL,
        "priority": Priority.HIGH,
        "value": 0.21,
        "limit": 0.22,
        "unit": "",
        "sentence": "Main tank brine is weak.",
    }
    return AlarmChanged(time=T0 + time, state=state, **parts | more)


def text(count: int = 1, time: int = 0, **more) -> TextDue:
    """A text due at so many milliseconds after T0."""
    parts = {
        "depot": "tern-hollow",
        "number": 12,
        "person": "yard",
        "kind": "raised",
        "priority": Priority.HIGH,
        "body": "TH12 Tern Hollow main tank brine 21.0 %, limit 22. Take: TH12",
    }
    parts |= more
    name = f"{parts['depot']}-{parts['number']}-{parts['kind']}-{count}-{parts['person']}"
    return TextDue(id=name, time=T0 + time, **parts)


def derived(time: int = 0, value: float = 0.23, **more) -> Derived:
    """A derived strength at so many milliseconds after T0."""
    parts = {"depot": "tern-hollow", "name": "strength", "standard_uncertainty": 0.002}
    return Derived(time=T0 + time, value=value, **parts | more)


def episode(time: int = 0, ended: int | None = None) -> EpisodeChanged:
    """A fill that began at T0 and ended, or not yet."""
    return EpisodeChanged(
        time=T0 + time, depot="tern-hollow", episode="fill", source="main", began=T0, ended=ended
    )


def plain(*entries) -> list[Step]:
    """Steps of entries from which nothing was concluded."""
    return [Step(entry, ()) for entry in entries]
