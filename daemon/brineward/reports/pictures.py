"""Pictures of a report as SVG: a value over time, drawn for paper. Pure.

Lines differ by their dashes and their labels, never by colour alone. How each part looks stands in
its own attributes: what makes a PDF of a page doesn't give the page's style to its pictures.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta, tzinfo
from html import escape
from typing import Final

from brineward.readings.instants import DAY, HOUR, SECOND, Instant, local_from_instant

_WIDTH: Final = 720
_LEFT: Final = 56
_RIGHT: Final = 74
"""Room for the names of heights that matter."""
_TOP: Final = 10
_BOTTOM: Final = 24
_APART: Final = 10.0
"""Names of heights lie no closer to one another."""
_OPEN: Final = (
    f'<svg viewBox="0 0 {_WIDTH} {{}}" role="img" '
    'aria-label="{}" xmlns="http://www.w3.org/2000/svg">'
)
_LETTERS: Final = 'font-family="DejaVu Sans, Verdana, sans-serif" font-size="9" fill="#333"'
_GRID: Final = 'fill="none" stroke="#ccc"'
_MARK: Final = 'fill="none" stroke="#1b1b1b" stroke-dasharray="1 3"'
_SPREAD: Final = 'fill="#b9cbd6" stroke="none"'
_COURSE: Final = 'fill="none" stroke="#16394f" stroke-width="1.3"'
_TEST: Final = 'fill="#fff" stroke="#8a3b12" stroke-width="1.6"'
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A course in the operator's units: at each instant its low, its middle and its high."""

    name: str
    points: Sequence[tuple[Instant, float, float, float]]
    gap: Instant
    """A longer stretch without a point is drawn as a gap."""
    dashes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """Courses on one scale, with levels that matter and points that people entered."""

    title: str
    unit: str
    start: Instant
    end: Instant
    zone: tzinfo
    lines: Sequence[Line]
    marks: Sequence[tuple[str, float]] = ()
    """Heights that matter, each with its name."""
    dots: Sequence[tuple[Instant, float, float, float]] = field(default=())
    """Tests by hand: when, value, low and high."""
    height: int = 170
    """Of the paper's 720 in width."""

    def svg(self) -> str:
        """The picture; empty where there is nothing to show."""
        seen = [value for line in self.lines for _, low, _, high in line.points
                for value in (low, high)]  # fmt: skip
        seen += [value for _, _, low, high in self.dots for value in (low, high)]
        if not seen or self.end <= self.start:
            return ""
        low, high, ticks = _scale(seen, [mark for _, mark in self.marks])
        canvas = _Canvas(self.start, self.end, low, high, self.height)
        parts = [
            _OPEN.format(self.height, escape(self.title)),
            *self._axes(canvas, ticks),
            *(part for line in self.lines for part in canvas.course(line)),
            *canvas.marks([(name, at) for name, at in self.marks if low <= at <= high]),
            *(canvas.dot(*dot) for dot in self.dots),
            "</svg>",
        ]
        return "".join(parts)

    def _axes(self, canvas: "_Canvas", ticks: Sequence[float]) -> list[str]:
        parts = []
        for tick in ticks:
            y = canvas.y(tick)
            parts.append(f'<path {_GRID} d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}"/>')
            parts.append(_written(_LEFT - 5, y + 3.5, f"{tick:,.9g}", "end"))
        parts.append(_written(2, _TOP + 3.5, self.unit, "start"))
        for at, text in time_labels(self.start, self.end, self.zone):
            x = canvas.x(at)
            parts.append(f'<path {_GRID} d="M{x:.1f} {_TOP}V{self.height - _BOTTOM}"/>')
            parts.append(_written(x, self.height - 8, text, "middle"))
        return parts


def _written(x: float, y: float, text: str, anchor: str) -> str:
    """A few words at a place, which is their start, middle or end."""
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f"<text {_LETTERS} {place}>{escape(text)}</text>"


class _Canvas:
    """Where an instant and a value lie on the paper."""

    def __init__(self, start: Instant, end: Instant, low: float, high: float, height: int) -> None:
        self._start, self._end, self._low, self._high = start, end, low, high
        self._height = height

    def x(self, at: Instant) -> float:
        share = (at - self._start) / (self._end - self._start)
        return _LEFT + min(1.0, max(0.0, share)) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        drawn = self._height - _TOP - _BOTTOM
        return self._height - _BOTTOM - min(1.0, max(0.0, share)) * drawn

    def course(self, line: Line) -> list[str]:
        """Its spread as an area, its middle as a line, each piece between two gaps by itself."""
        parts = []
        for piece in _pieces(line):
            upper = " ".join(f"{self.x(at):.1f},{self.y(high):.1f}" for at, _, _, high in piece)
            lower = " ".join(
                f"{self.x(at):.1f},{self.y(low):.1f}" for at, low, _, _ in reversed(piece)
            )
            middle = " ".join(f"{self.x(at):.1f},{self.y(mid):.1f}" for at, _, mid, _ in piece)
            dashes = f' stroke-dasharray="{line.dashes}"' if line.dashes else ""
            parts.append(f'<polygon {_SPREAD} points="{upper} {lower}"/>')
            parts.append(f'<polyline {_COURSE} points="{middle}"{dashes}/>')
        return parts

    def marks(self, marks: Sequence[tuple[str, float]]) -> list[str]:
        """Heights that matter, each with its name beside the picture."""
        parts = []
        written = math.inf
        for name, at in sorted(marks, key=lambda one: one[1]):
            y = self.y(at)
            written = min(y + 3.0, written - _APART)
            parts.append(f'<path {_MARK} d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}"/>')
            parts.append(_written(_WIDTH - 2, written, name, "end"))
        return parts

    def dot(self, at: Instant, value: float, low: float, high: float) -> str:
        x = self.x(at)
        return (
            f'<path {_TEST} d="M{x:.1f} {self.y(low):.1f}V{self.y(high):.1f}"/>'
            f'<circle {_TEST} cx="{x:.1f}" cy="{self.y(value):.1f}" r="3.5"/>'
        )


def _pieces(line: Line) -> list[list[tuple[Instant, float, float, float]]]:
    pieces: list[list[tuple[Instant, float, float, float]]] = []
    last = None
    for point in line.points:
        if last is None or point[0] - last > line.gap:
            pieces.append([])
        pieces[-1].append(point)
        last = point[0]
    return pieces


def _scale(seen: Sequence[float], marks: Sequence[float]) -> tuple[float, float, list[float]]:
    """Ends of the scale on round numbers, and the round numbers between; marks near by are in."""
    low, high = min(seen), max(seen)
    reach = max(high - low, abs(high) * 0.02, 0.1)
    for mark in marks:
        if low - reach <= mark <= high + reach:
            low, high = min(low, mark), max(high, mark)
    reach = max(high - low, abs(high) * 0.02, 0.1)
    rough = reach / 4
    size = 10.0 ** _exponent(rough)
    step = next(step for step in _STEPS if step * size >= rough) * size
    first, last = int(low // step), int(-(-high // step))
    if first == last:
        last += 1
    return first * step, last * step, [round(k * step, 9) for k in range(first, last + 1)]


def _exponent(value: float) -> int:
    exponent = 0
    while value >= 10:
        value, exponent = value / 10, exponent + 1
    while value < 1:
        value, exponent = value * 10, exponent - 1
    return exponent


def time_labels(start: Instant, end: Instant, zone: tzinfo) -> list[tuple[Instant, str]]:
    """At most eight times of the local clock on round hours or days, each with its name."""
    hours = (end - start) / HOUR
    step = next((one for one in (1, 2, 3, 6, 12) if hours / one <= 8), None)
    days = max(1, -(-int(hours) // (24 * 8)))
    found = []
    moment = local_from_instant(start, zone).replace(minute=0, second=0, microsecond=0)
    moment = moment.replace(tzinfo=None)
    limit = int(hours) + 26
    for _ in range(limit):
        at = round(moment.replace(tzinfo=zone).timestamp() * SECOND)
        if at > end:
            break
        if start <= at < end - (end - start) // 50 and step is not None and moment.hour % step == 0:
            found.append((at, f"{moment:%a} 0:00" if moment.hour == 0 else f"{moment.hour}:00"))
        midnight = moment.hour == 0 and (moment.date().toordinal() % days == 0)
        if start <= at < end - (end - start) // 50 and step is None and midnight:
            far = end - start > 40 * DAY
            found.append((at, f"{moment.day} {moment:%b}" if far else f"{moment:%a} {moment.day}"))
        moment += timedelta(hours=1)
    return found
