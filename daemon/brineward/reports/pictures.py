"""Pictures of a report as SVG: a value over time, drawn for paper. Pure.

Lines differ by their dashes and their labels, never by colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta, tzinfo
from html import escape
from typing import Final

from brineward.readings.instants import DAY, HOUR, SECOND, Instant, local_from_instant

_WIDTH: Final = 720
_HEIGHT: Final = 170
_LEFT: Final = 56
_RIGHT: Final = 10
_TOP: Final = 10
_BOTTOM: Final = 24
_OPEN: Final = (
    f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
    'aria-label="{}" xmlns="http://www.w3.org/2000/svg">'
)
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

    def svg(self) -> str:
        """The picture; empty where there is nothing to show."""
        seen = [value for line in self.lines for _, low, _, high in line.points
                for value in (low, high)]  # fmt: skip
        seen += [value for _, _, low, high in self.dots for value in (low, high)]
        if not seen or self.end <= self.start:
            return ""
        low, high, ticks = _scale(seen, [mark for _, mark in self.marks])
        canvas = _Canvas(self.start, self.end, low, high)
        parts = [
            _OPEN.format(escape(self.title)),
            *self._axes(canvas, ticks),
            *(part for line in self.lines for part in canvas.course(line)),
            *(canvas.mark(name, at) for name, at in self.marks if low <= at <= high),
            *(canvas.dot(*dot) for dot in self.dots),
            "</svg>",
        ]
        return "".join(parts)

    def _axes(self, canvas: "_Canvas", ticks: Sequence[float]) -> list[str]:
        parts = []
        for tick in ticks:
            y = canvas.y(tick)
            parts.append(f'<path class="grid" d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}"/>')
            parts.append(f'<text class="scale" x="{_LEFT - 5}" y="{y + 3.5:.1f}">{tick:g}</text>')
        parts.append(f'<text class="unit" x="2" y="{_TOP + 3.5}">{escape(self.unit)}</text>')
        for at, text in time_labels(self.start, self.end, self.zone):
            x = canvas.x(at)
            parts.append(
                f'<path class="grid" d="M{x:.1f} {_TOP}V{_HEIGHT - _BOTTOM}"/>'
                f'<text class="hour" x="{x:.1f}" y="{_HEIGHT - 8}">{text}</text>'
            )
        return parts


class _Canvas:
    """Where an instant and a value lie on the paper."""

    def __init__(self, start: Instant, end: Instant, low: float, high: float) -> None:
        self._start, self._end, self._low, self._high = start, end, low, high

    def x(self, at: Instant) -> float:
        share = (at - self._start) / (self._end - self._start)
        return _LEFT + min(1.0, max(0.0, share)) * (_WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        return _HEIGHT - _BOTTOM - min(1.0, max(0.0, share)) * (_HEIGHT - _TOP - _BOTTOM)

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
            parts.append(f'<polygon class="spread" points="{upper} {lower}"/>')
            parts.append(f'<polyline class="course" points="{middle}"{dashes}/>')
        return parts

    def mark(self, name: str, at: float) -> str:
        y = self.y(at)
        return (
            f'<path class="mark" d="M{_LEFT} {y:.1f}H{_WIDTH - _RIGHT}"/>'
            f'<text class="name" x="{_WIDTH - _RIGHT}" y="{y - 3:.1f}">{escape(name)}</text>'
        )

    def dot(self, at: Instant, value: float, low: float, high: float) -> str:
        x = self.x(at)
        return (
            f'<path class="test" d="M{x:.1f} {self.y(low):.1f}V{self.y(high):.1f}"/>'
            f'<circle class="test" cx="{x:.1f}" cy="{self.y(value):.1f}" r="3.5"/>'
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
