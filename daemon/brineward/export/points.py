"""Readings, derived values, alarm changes and episodes as points of InfluxDB's line protocol. Pure.

A point is identified by measurement, tags and time: the same thing again is the same point. Times
are milliseconds, values SI, as in the journal. `daemon/docs/influxdb.md` has the tables.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from brineward.readings.entries import AlarmGone, Entry
from brineward.readings.outputs import AlarmChanged, Derived, EpisodeChanged, Output
from brineward.readings.values import Quality, Reading, TimedBy

FIGURES: Final = (
    "amount_m3",
    "amount_uncertainty_m3",
    "mass_fraction",
    "low_95",
    "high_95",
    "temperature_c",
    "salt_kg",
    "water_m3",
)
"""Numbers of an episode that are fields of its point."""

_TAG: Final = str.maketrans(
    {",": r"\,", "=": r"\=", " ": r"\ ", "\n": r"\n", "\t": r"\t", "\r": r"\r"}
)
_TEXT: Final = str.maketrans({'"': r"\"", "\\": r"\\", "\n": " ", "\r": " "})
"""A line end would end the point for some servers, so it is sent as a space."""

GONE: Final = "gone"
"""The state of an alarm that the config no longer has."""


def lines_of_entry(entry: Entry, *, second: bool = False) -> Iterator[str]:
    """The points of an entry: one of a reading or of an alarm that the config gave up, else none.

    `second`: its sensor and time had another value already.
    """
    if isinstance(entry, Reading):
        yield line_of_reading(entry, second=second)
    elif isinstance(entry, AlarmGone):
        head = _head("alarm", entry.depot, ("alarm", entry.alarm), ("source", entry.source))
        yield (
            f"{head},state={GONE} number={entry.number}i,before={_text(entry.state)},"
            f"priority={_text(entry.priority)} {entry.time}"
        )


def lines_of_output(output: Output) -> Iterator[str]:
    """The point of what was concluded; of a text none."""
    match output:
        case Derived():
            yield _line_of_derived(output)
        case AlarmChanged():
            yield _line_of_alarm(output)
        case EpisodeChanged():
            yield line_of_episode(output)


def line_of_reading(reading: Reading, *, second: bool = False) -> str:
    """The point of a reading."""
    head = _reading_head(reading.depot, reading.sensor, second)
    if reading.value is not None and reading[5:] == _PLAIN:
        return f"{head} value={reading.value!r} {reading.time}"
    fields = [] if reading.value is None else [f"value={reading.value!r}"]
    fields.append(f"quality={_text(reading.quality)}")
    if reading.reason:
        fields.append(f"reason={_text(reading.reason)}")
    if reading.timed_by is not TimedBy.SENSOR:
        fields.append(f"timed_by={_text(reading.timed_by)}")
    if reading.retained:
        fields.append("retained=true")
    if reading.silent_after_seconds is not None:
        fields.append(f"silent_after_seconds={reading.silent_after_seconds!r}")
    return f"{head} {','.join(fields)} {reading.time}"


def line_of_episode(episode: EpisodeChanged) -> str:
    """The point of an episode as far as it is known, at the time that it began."""
    head = _head("episode", episode.depot, ("episode", episode.episode), ("source", episode.source))
    known = [(name, getattr(episode, name)) for name in FIGURES]
    fields = ["going_on=true" if episode.ended is None else "going_on=false"]
    fields += [f"{name}={value!r}" for name, value in known if value is not None]
    if episode.ended is not None:
        fields.append(f"ended={episode.ended}i")
        fields.append(f"seconds={(episode.ended - episode.began) / 1000!r}")
    if episode.how:
        fields.append(f"how={_text(episode.how)}")
    return f"{head} {','.join(fields)} {episode.began}"


def _line_of_derived(derived: Derived) -> str:
    fields = [f"value={derived.value!r}"]
    for name in ("standard_uncertainty", "low_95", "high_95"):
        value = getattr(derived, name)
        if value is not None:
            fields.append(f"{name}={value!r}")
    fields.append("calibrated=true" if derived.calibrated else "calibrated=false")
    head = _head("derived", derived.depot, ("name", derived.name))
    return f"{head} {','.join(fields)} {derived.time}"


def _line_of_alarm(change: AlarmChanged) -> str:
    head = _head(
        "alarm",
        change.depot,
        ("alarm", change.alarm),
        ("source", change.source),
        ("state", change.state.value),
    )
    fields = [
        f"number={change.number}i",
        f"before={_text(change.before)}",
        f"priority={_text(change.priority)}",
    ]
    fields += [
        f"{name}={value!r}"
        for name, value in (("value", change.value), ("limit", change.limit))
        if value is not None
    ]
    fields += [
        f"{name}={_text(value)}"
        for name, value in (
            ("unit", change.unit),
            ("sentence", change.sentence),
            ("by", change.by),
            ("why", change.why),
        )
        if value
    ]
    if change.until is not None:
        fields.append(f"until={change.until}i")
    return f"{head} {','.join(fields)} {change.time}"


@lru_cache(maxsize=10_000)
def _reading_head(depot: str, sensor: str, second: bool) -> str:
    return _head("second_reading" if second else "reading", depot, ("sensor", sensor))


@lru_cache(maxsize=10_000)
def _head(measurement: str, depot: str, *tags: tuple[str, str]) -> str:
    """Measurement and tags; a tag without a value can't be sent and is left out."""
    all_tags = (("depot", depot), *tags)
    return measurement + "".join(f",{name}={_tag(value)}" for name, value in all_tags if value)


def _tag(value: str) -> str:
    # A backslash at the end would escape what follows, and the grammar has no way to write it.
    return value.translate(_TAG).rstrip("\\")


def _text(value: str) -> str:
    return f'"{value.translate(_TEXT)}"'


_PLAIN: Final = (Quality.GOOD, "", TimedBy.SENSOR, False, None)
