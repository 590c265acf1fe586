"""Mistakes in a config file: what each one says, and the one error that carries them all."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

KeyPath = tuple[str | int, ...]

_LONGEST_SHOWN = 60
_MOST_LISTED = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One thing wrong with a config file, for the person who wrote it."""

    file: Path
    key: KeyPath
    """The key's path from the top of the file; empty for the file as a whole."""
    wrong: str
    expected: str = ""
    line: int | None = None

    def __str__(self) -> str:
        """File, line and key, what is wrong, what was expected."""
        place = written_file(self.file)
        if self.line is not None:
            place += f", line {self.line}"
        if self.key:
            place += f": {written_key(self.key)}"
        return f"{place}: {self.wrong}" + (f"; expected {self.expected}" if self.expected else "")


class ConfigMistakes(Exception):
    """A config file that can't be used; whoever wrote it must act before anything starts."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(self.mistakes)

    def __str__(self) -> str:
        """Every mistake, one a line."""
        return "\n".join(str(mistake) for mistake in self.mistakes)


def written_file(file: Path) -> str:
    """The file's name as a terminal can always show it."""
    return "".join(_escaped(character) for character in str(file))


def written_key(key: KeyPath) -> str:
    """A key path as TOML writes it; places in an array are counted from 1."""
    parts: list[str] = []
    for part in key:
        if isinstance(part, int):
            parts.append(f"[{part + 1}]")
        else:
            parts.append(("." if parts else "") + written_name(part))
    return "".join(parts)


def written_name(name: str) -> str:
    """A name from the file, quoted where TOML would quote it."""
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare and len(name) <= _LONGEST_SHOWN else shown(name)


def shown(value: object) -> str:
    """A value from the file, short and on one line, for quoting in a sentence."""
    match value:
        case bool():
            text = "true" if value else "false"
        case str():
            text = json.dumps(value, ensure_ascii=not value.isprintable())
        case int() | float():
            text = _number(value)
        case dict():
            return "a table"
        case list():
            return "an array"
        case _:
            text = str(value)
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 4] + " ..."


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name that a wrong one may have meant; empty if none is close."""
    found = get_close_matches(name[:_LONGEST_SHOWN].lower(), list(known), n=1, cutoff=0.6)
    return found[0] if found else ""


def not_among(name: str, known: Iterable[str], *, none: str) -> str:
    """What to expect instead of a wrong name: the nearest known one, or all of them."""
    names = sorted(known)
    near = nearest(name, names)
    if near:
        return f"{written_name(near)}, perhaps"
    return listed(names) if names else none


def listed(names: Iterable[str]) -> str:
    """Names in a row: "one of a, b, c"."""
    row = [written_name(name) for name in names]
    if len(row) > _MOST_LISTED:
        row[_MOST_LISTED:] = [f"or {len(row) - _MOST_LISTED} more"]
    return f"one of {', '.join(row)}" if len(row) > 1 else ", ".join(row)


def _number(value: float) -> str:
    # Python refuses to write whole numbers of thousands of digits.
    if isinstance(value, int) and abs(value) >= 10**_LONGEST_SHOWN:
        return "a number of more than 60 digits"
    return str(value)


def _escaped(character: str) -> str:
    return character if character.isprintable() else ascii(character)[1:-1]
