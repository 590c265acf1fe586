"""Every word that the page says, from `sentences.toml`."""

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from typing import Final


def _flat(tables: Mapping[str, object], before: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for name, value in tables.items():
        if isinstance(value, dict):
            found |= _flat(value, f"{before}{name}.")
        else:
            found[before + name] = str(value)
    return found


SENTENCES: Final[Mapping[str, str]] = _flat(
    tomllib.loads(files(__package__).joinpath("sentences.toml").read_text("utf-8"))
)
"""By their names, `table.key`."""


def say(name: str, /, **values: object) -> str:
    """A sentence with its values put in. Raises: KeyError where there is none of this name, or a
    value is missing."""
    return SENTENCES[name].format(**values)
