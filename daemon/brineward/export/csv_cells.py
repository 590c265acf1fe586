"""Cells of CSV as text. A season has fifteen million of each: what can be is made only once."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, Final

from brineward.readings.instants import MINUTE, Instant, rfc3339_from_instant

_MOST: Final = 60_000
"""So many texts are kept of a kind; as many as a minute has milliseconds."""


class Texts(dict[Any, str]):
    """The text of each key, made when it is first asked for; forgotten when there are many."""

    def __init__(self, make: Callable[[Any], str]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, key: Hashable) -> str:
        """Make it."""
        if len(self) >= _MOST:
            self.clear()
        text = self[key] = self._make(key)
        return text


def quoted(cell: object) -> str:
    """As RFC 4180 has it; empty for None."""
    text = "" if cell is None else str(cell)
    if any(character in text for character in '",\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text


def number(cell: float | None) -> str:
    """The shortest text that reads back as the same double: Python's own; empty for None."""
    return "" if cell is None else repr(cell)


def _to_the_minute(minute: int) -> str:
    return rfc3339_from_instant(minute * MINUTE)[:17]


def _in_the_minute(rest: int) -> str:
    return f"{rest // 1000:02}.{rest % 1000:03}Z"


class InstantTexts:
    """The text of an instant, UTC to the millisecond."""

    def __init__(self) -> None:
        self.minutes: Mapping[int, str] = Texts(_to_the_minute)
        """What it begins with, by the minute since 1970."""
        self.rests: Mapping[int, str] = Texts(_in_the_minute)
        """What it ends with, by the millisecond in its minute."""

    def __call__(self, instant: Instant | None) -> str:
        """Of this one; empty for None."""
        if instant is None:
            return ""
        return self.minutes[instant // MINUTE] + self.rests[instant % MINUTE]


class ReadingLines:
    """Readings as lines of CSV: time, depot, sensor, value, quality, reason.

    Made from the numbers of sensors and marks: rows of their words would take half as long again.
    """

    def __init__(self) -> None:
        self._instants = InstantTexts()
        self._numbers = Texts(number)
        self._words: dict[tuple[str, str], str] = {}

    def of(
        self,
        readings: Iterable[tuple[int, Instant, float | None, int, int]],
        series: Mapping[int, tuple[str, str]],
        marks: Mapping[int, tuple[str, str]],
    ) -> str:
        """The lines of (series, time, value, mark, place), each with its end.

        `series` has the depot and sensor of each, `marks` quality and reason.
        """
        minutes, rests, numbers = self._instants.minutes, self._instants.rests, self._numbers
        named = {one: f",{self._both(words)}," for one, words in series.items()}
        said = {one: f",{self._both(words)}\n" for one, words in marks.items()}
        # Of zeros there are two, which no table tells apart.
        return "".join(
            [
                f"{minutes[time // MINUTE]}{rests[time % MINUTE]}{named[one]}"
                f"{numbers[value] if value else number(value)}{said[mark]}"
                for one, time, value, mark, _ in readings
            ]
        )

    def _both(self, words: tuple[str, str]) -> str:
        found = self._words.get(words)
        if found is None:
            found = self._words[words] = ",".join(map(quoted, words))
        return found
