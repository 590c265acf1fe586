"""Made-up steps for the journal's tests."""

from brineward.journal import Journal
from brineward.readings.entries import HandTest, Take
from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    Derived,
    EpisodeChanged,
    Notice,
    Priority,
    Step,
    TextDue,
)
from brineward.readings.values import Reading
from brineward.records import Records

T0 = 1_767_225_600_000  # 2026-01-01T00:00:00Z


def asked(journal: Journal) -> Records:
    """What people can read of a journal."""
    return Records(journal.handle)


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
    }
    parts |= more
    notice = Notice(
        kind=parts["kind"],
        code="TH12",
        place="Tern Hollow",
        headline="main tank's brine weak",
        how_bad="21.0 % (22.0-25.0; limit 22.0)",
        when="Since 00:00",
        response="Don't load.",
        take="Take TH12",
    )
    name = f"{parts['depot']}-{parts['number']}-{parts['kind']}-{count}-{parts['person']}"
    return TextDue(id=name, time=T0 + time, **{"notice": notice} | parts)


def derived(time: int = 0, value: float = 0.23, **more) -> Derived:
    """A derived strength at so many milliseconds after T0."""
    parts = {
        "depot": "tern-hollow",
        "name": "strength",
        "standard_uncertainty": 0.002,
        "low_95": value - 0.003,
        "high_95": value + 0.005,
    }
    return Derived(time=T0 + time, value=value, **parts | more)


def episode(time: int = 0, ended: int | None = None, **more) -> EpisodeChanged:
    """A fill that began at T0 and ended, or not yet."""
    parts = {"depot": "tern-hollow", "episode": "fill", "source": "main", "began": T0}
    return EpisodeChanged(time=T0 + time, ended=ended, **parts | more)


def take(time: int = 0, number: int = 12, by: str = "yard") -> Take:
    """A take of an occurrence."""
    at = T0 + time
    return Take(depot="tern-hollow", time=at, received=at, number=number, by=by)


def hand_test(time: int = 0) -> HandTest:
    """A test by hand."""
    return HandTest(
        depot="tern-hollow",
        time=T0 + time,
        received=T0 + time + 3,
        vessel="main",
        at=T0 + time,
        mass_fraction=0.228,
        standard_uncertainty=0.001,
        by="yard",
        entered="1.176 at 15.6 degC",
    )


def plain(*entries) -> list[Step]:
    """Steps of entries from which nothing was concluded."""
    return [Step(entry, ()) for entry in entries]
