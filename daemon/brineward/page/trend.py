"""A series over hours to a season: what is asked for, its points, a picture without a script."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup, escape

from brineward.page.screen import clock_time
from brineward.page.words import say
from brineward.plant.plan import SI_UNITS, DepotPlan
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant, local_from_instant
from brineward.readings.outputs import AlarmState
from brineward.records import Records
from brineward.records.courses import Stretch
from brineward.records.depot_now import STRENGTH
from brineward.reports.pictures import time_labels
from brineward.wording.operator_units import axis

SPANS: Final[Mapping[str, Instant]] = {
    "hours_6": 6 * HOUR,
    "day": DAY,
    "week": 7 * DAY,
    "month": 30 * DAY,
    "season": 182 * DAY,
}
_POINTS: Final = 340
"""Stretches of a picture: about one a pixel of a phone."""
_ROWS: Final = 24
_MOST_EVENTS: Final = 200
_MOST_SPELLS: Final = 400
_SPELLS: Final[Mapping[str, str]] = {
    "fill": "trend.episode_fill",
    "pump-run": "trend.episode_pump_run",
    "load": "trend.episode_load",
    "batch": "trend.episode_batch",
}
_SHORTEST: Final = MINUTE
_WIDE, _HIGH, _LEFT, _BOTTOM, _TOP = 360, 200, 40, 22, 8
_LATEST: Final = 1 << 43
"""An instant some two hundred years ahead: what is asked for beyond it is no time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What somebody wants to see."""

    name: str
    derived: bool
    span: str
    start: Instant
    end: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """An alarm on the time line."""

    at: Instant
    clock: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """What the plant did for a while, on the time line."""

    start: Instant
    end: Instant
    clock: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A series, in the operator's units."""

    asked: Asked
    title: str
    unit: str
    points: Sequence[tuple[int, float, float, float, float | None, float | None]]
    """Seconds since 1970; lowest, mean, highest; the ends of the interval, where there are any."""
    events: Sequence[Event]
    spells: Sequence[Spell]
    rows: Sequence[tuple[str, str, str]]
    caption: str
    earlier: Instant
    later: Instant


def series_at(plan: DepotPlan, records: Records) -> dict[str, str]:
    """What can be shown, strengths first: ids to what they are called."""
    derived = records.derived.latest(plan.id)
    names = {
        name: say("trend.strength_of", name=plan.name_of(name.removesuffix(STRENGTH)))
        for name in derived
        if name.endswith(STRENGTH)
    }
    sensors = {name: plan.name_of(name) for name in plan.sensors}
    return {name: said[:1].upper() + said[1:] for name, said in {**names, **sensors}.items()}


def asked(query: Mapping[str, str], names: Mapping[str, str], now: Instant) -> Asked | None:
    """From a query: `series`, `span`, `end`, or `start` in place of the span; what it leaves out or
    has wrong is the usual."""
    name = query.get("series", "")
    name = name if name in names else next(iter(names), "")
    if not name:
        return None
    span = query.get("span", "")
    span = span if span in SPANS else "day"
    end = _instant(query.get("end", "")) or now
    start = _instant(query.get("start", ""))
    if start is None or not _SHORTEST <= end - start <= SPANS["season"]:
        start = end - SPANS[span]
    return Asked(name=name, derived=name.endswith(STRENGTH), span=span, start=start, end=end)


def _instant(written: str) -> Instant | None:
    """Milliseconds since 1970; None where it is no time that a depot may have lived in."""
    plain = written.isascii() and written.isdigit() and len(written) < 15
    return int(written) if plain and DAY < int(written) < _LATEST else None


def trend(plan: DepotPlan, records: Records, wanted: Asked) -> Trend:
    """Its points. Raises: DiskTrouble, JournalDamaged."""
    length = wanted.end - wanted.start
    width = max(1, -(-length // (_POINTS * SECOND)))
    span = (wanted.start, wanted.end)
    found = records.course(
        plan.id, wanted.name, *span, width_seconds=float(width), derived=wanted.derived
    )
    sensor = plan.sensors.get(wanted.name)
    si = "1" if sensor is None else SI_UNITS.get(sensor.measures, "")
    shift, size, unit = axis(si, plan.us_units) if si else (0.0, 1.0, "")
    points = [_point(one, shift, size) for one in found]
    lows, highs = [one[1] for one in points], [one[3] for one in points]
    title = series_at(plan, records)[wanted.name]
    caption = say("trend.none")
    if points:
        caption = say(
            "trend.picture",
            name=title,
            start=_day_and_clock(plan, wanted.start),
            end=_day_and_clock(plan, wanted.end),
            low=_said(min(lows), unit),
            high=_said(max(highs), unit),
        )
    return Trend(
        asked=wanted,
        title=title,
        unit=unit,
        points=points,
        events=_events(plan, records, wanted),
        spells=_spells(plan, records, wanted),
        rows=_rows(plan, wanted, points, unit),
        caption=caption,
        earlier=wanted.end - length // 2,
        later=wanted.end + length // 2,
    )


def _day_and_clock(plan: DepotPlan, at: Instant) -> str:
    return f"{local_from_instant(at, plan.zone):%b %d %H:%M}"


def _point(
    one: Stretch, shift: float, size: float
) -> tuple[int, float, float, float, float | None, float | None]:
    def own(value: float) -> float:
        return round((value - shift) / size, 4)

    low, high = (None, None) if one.band is None else (own(one.band[0]), own(one.band[1]))
    bucket = one.bucket
    return bucket.time // SECOND, own(bucket.low), own(bucket.mean), own(bucket.high), low, high


def _said(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}".strip()


def _events(plan: DepotPlan, records: Records, wanted: Asked) -> list[Event]:
    changes = records.alarms.history(plan.id, wanted.start, wanted.end, limit=_MOST_EVENTS)
    return [
        Event(
            at=one.time,
            clock=clock_time(plan, one.time, wanted.end),
            what=f"{plan.code(one.number)} {one.sentence}",
        )
        for one in changes
        if one.state is AlarmState.UNACKNOWLEDGED and one.number
    ]


def _spells(plan: DepotPlan, records: Records, wanted: Asked) -> list[Spell]:
    """Fills, loads, batches and runs of a pump; the last so many."""
    found = records.episodes.between(plan.id, wanted.start, wanted.end, limit=_MOST_SPELLS)
    return [
        Spell(
            start=max(one.began, wanted.start),
            end=min(one.ended or wanted.end, wanted.end),
            clock=clock_time(plan, one.began, wanted.end),
            what=say(_SPELLS[one.episode], name=plan.name_of(one.source)),
        )
        for one in found
        if one.episode in _SPELLS
    ]


def _rows(
    plan: DepotPlan,
    wanted: Asked,
    points: Sequence[tuple[int, float, float, float, float | None, float | None]],
    unit: str,
) -> list[tuple[str, str, str]]:
    """The same in at most so many rows; no extreme is lost."""
    step = -(-len(points) // _ROWS) or 1
    rows = []
    for first in range(0, len(points), step):
        some = points[first : first + step]
        low, high = min(one[1] for one in some), max(one[3] for one in some)
        at = clock_time(plan, some[0][0] * SECOND, wanted.end)
        rows.append((at, _said(low, unit), _said(high, unit)))
    return rows


def svg(plan: DepotPlan, shown: Trend) -> Markup:
    """The picture, drawn by the server; its words are in the caption and the table."""
    if not shown.points:
        return Markup("")
    ends = [one for point in shown.points for one in (point[1], point[3], point[4], point[5])]
    seen = [one for one in ends if one is not None]
    low, high = min(seen), max(seen)
    reach = max(high - low, abs(high) * 0.02, 0.1)
    low, high = low - reach * 0.08, high + reach * 0.08
    start, end = shown.asked.start, shown.asked.end

    def x(at: float) -> float:
        return _LEFT + (at - start) / (end - start) * (_WIDE - _LEFT - 4)

    def y(value: float) -> float:
        return _HIGH - _BOTTOM - (value - low) / (high - low) * (_HIGH - _BOTTOM - _TOP)

    parts = [_grid(y, low, high)]
    for at, label in time_labels(start, end, plan.zone)[:5]:
        parts.append(f'<text class="t-time" x="{x(at):.0f}" y="{_HIGH - 6}">{escape(label)}</text>')
    for piece in _pieces(shown):
        times = [x(one[0] * SECOND) for one in piece]
        banded = all(one[4] is not None for one in piece)
        for name, lower, upper in (("t-band", 4, 5), ("t-spread", 1, 3)):
            if name == "t-band" and not banded:
                continue
            forth = [f"{t:.1f},{y(p[upper] or 0.0):.1f}" for t, p in zip(times, piece, strict=True)]
            back = [f"{t:.1f},{y(p[lower] or 0.0):.1f}" for t, p in zip(times, piece, strict=True)]
            outline = " ".join([*forth, *reversed(back)])
            parts.append(f'<polygon class="{name}" points="{outline}"/>')
        line = " ".join(f"{t:.1f},{y(p[2]):.1f}" for t, p in zip(times, piece, strict=True))
        parts.append(f'<polyline class="t-line" points="{line}"/>')
    parts += [
        f'<rect class="t-episode" x="{x(one.start):.1f}" y="{_HIGH - _BOTTOM - 4}" '
        f'width="{max(1.0, x(one.end) - x(one.start)):.1f}" height="4"/>'
        for one in shown.spells
    ]
    parts += [
        f'<path class="t-event" d="M{x(one.at):.1f} {_TOP}V{_HIGH - _BOTTOM}"/>'
        for one in shown.events
    ]
    box = f'viewBox="0 0 {_WIDE} {_HIGH}"'
    label = escape(shown.caption)
    # Each part is made of numbers and of names of ours, and what is from outside is escaped.
    return Markup(  # noqa: S704 - our own SVG, its words escaped
        f'<svg class="trend" {box} role="img" aria-label="{label}">{"".join(parts)}</svg>'
    )


def _grid(y: Callable[[float], float], low: float, high: float) -> str:
    marks = [low + (high - low) * share for share in (0.08, 0.36, 0.64, 0.92)]
    return "".join(
        f'<path class="t-grid" d="M{_LEFT} {y(one):.1f}H{_WIDE - 4}"/>'
        f'<text class="t-scale" x="{_LEFT - 4}" y="{y(one) + 4:.1f}">{one:.1f}</text>'
        for one in marks
    )


def _pieces(
    shown: Trend,
) -> list[list[tuple[int, float, float, float, float | None, float | None]]]:
    """Cut where nothing was heard for a while: a line over a gap would claim to know."""
    width = max(1, (shown.asked.end - shown.asked.start) // (_POINTS * SECOND))
    pieces: list[list[tuple[int, float, float, float, float | None, float | None]]] = []
    last = None
    for one in shown.points:
        if last is None or one[0] - last > max(4 * width, 180):
            pieces.append([])
        pieces[-1].append(one)
        last = one[0]
    return pieces
