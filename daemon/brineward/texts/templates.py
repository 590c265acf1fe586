"""The templates of a gateway's fields, headers and URL.

Their places: {address}, {body}, {id}, {name} and {secret:NAME}.
"""

import re
from collections.abc import Callable, Collection, Mapping

PLAIN_NAMES = ("address", "body", "id", "name")

_PLACE = re.compile(r"\{(secret:)?([^{}]*)\}")


def mistakes_in(template: str, secrets: Collection[str]) -> list[str]:
    """What is wrong with a template, a sentence each; empty where nothing is."""
    found: list[str] = []
    for is_secret, name in _PLACE.findall(template):
        if is_secret and name not in secrets:
            found.append(f"{{secret:{name}}} names a secret that this channel does not have")
        elif not is_secret and name not in PLAIN_NAMES:
            known = ", ".join(f"{{{plain}}}" for plain in PLAIN_NAMES)
            found.append(f"{{{name}}} is not known; expected {known} or {{secret:NAME}}")
    return found


def filled(
    template: str,
    values: Mapping[str, str],
    secrets: Mapping[str, str],
    escape: Callable[[str], str] = str,
) -> str:
    """The template with its places filled, each value escaped; never filled twice."""

    def value_at(place: re.Match[str]) -> str:
        is_secret, name = place.groups()
        return escape(secrets[name] if is_secret else values[name])

    return _PLACE.sub(value_at, template)
