"""The line of a TOML text on which each key is: the standard parser doesn't say."""

import tomllib
from collections.abc import Mapping

from brineward.config.mistakes import KeyPath

_LONGEST_VALUE_LINES = 1_000


def lines_of_keys(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of each table and key of a TOML text that parses as a whole.

    The text is cut into the smallest runs of lines that parse by themselves, so the parser and
    not a guess decides what is a key. Keys under `[[arrays of tables]]` are left out.
    """
    found: dict[KeyPath, int] = {}
    header: KeyPath = ()
    run: list[str] = []
    for number, line in enumerate(text.split("\n"), start=1):
        run.append(line)
        if len(run) > _LONGEST_VALUE_LINES:
            return found
        parsed = _parsed("\n".join(run) + "\n")
        if parsed is None:
            continue
        is_header = run[0].lstrip().startswith("[")
        for path in _paths(parsed):
            found.setdefault(path if is_header else header + path, number - len(run) + 1)
        if is_header:
            header = max(_paths(parsed), key=len)
        run = []
    return found


def line_of(key: KeyPath, lines: Mapping[KeyPath, int]) -> int | None:
    """The line of a key, or of the nearest table around it that has one."""
    for length in range(len(key), 0, -1):
        if key[:length] in lines:
            return lines[key[:length]]
    return None


def _parsed(text: str) -> dict[str, object] | None:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None


def _paths(table: Mapping[str, object]) -> list[KeyPath]:
    """Every key path inside a parsed table, tables included."""
    paths: list[KeyPath] = []
    waiting: list[tuple[KeyPath, Mapping[str, object]]] = [((), table)]
    while waiting:
        path, inner = waiting.pop()
        for name, value in inner.items():
            paths.append((*path, name))
            if isinstance(value, dict):
                waiting.append(((*path, name), value))
    return paths
