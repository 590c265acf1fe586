"""A door: where to listen, and which application answers there."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Application = Callable[[Any, Any, Any], Awaitable[None]]
"""As ASGI 3 has it: a call's scope, what receives its body, what sends the answer."""


class CannotServe(Exception):
    """The operator must free the address, correct the certificate, or change the config."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """One address, and who answers there."""

    name: str
    """What the operator calls it: the table of the config."""
    host: str
    port: int
    """0: any that is free."""
    app: Application
    certificate_file: Path | None = None
    """With `key_file`: it speaks TLS."""
    key_file: Path | None = None
    paths: frozenset[str] | None = None
    """All that it answers, where another door may have the same address; None: whatever is left."""


def shared(doors: list[Door]) -> list[Door]:
    """The same doors, those of one address as one; its TLS is that of the door that answers the
    rest.

    Raises: CannotServe where two want the same paths.
    """
    found: dict[tuple[str, int], list[Door]] = {}
    for place, door in enumerate(doors):
        # Two that ask for any free port get two.
        own = (door.host, door.port or -1 - place)
        found.setdefault(own, []).append(door)
    return [some[0] if len(some) == 1 else _one_of(some) for some in found.values()]


def _one_of(doors: list[Door]) -> Door:
    rest = [door for door in doors if door.paths is None]
    by_path: dict[str, Application] = {}
    for door in doors:
        for path in door.paths or ():
            if path in by_path:
                raise CannotServe(f"{door.name}: {path} is answered by another already")
            by_path[path] = door.app
    if len(rest) != 1:
        names = " and ".join(door.name for door in doors)
        raise CannotServe(f"{names} can't both answer at {doors[0].host}:{doors[0].port}")
    last = rest[0]
    return Door(
        name=" and ".join(door.name for door in doors),
        host=last.host,
        port=last.port,
        app=_by_path(by_path, last.app),
        certificate_file=last.certificate_file,
        key_file=last.key_file,
    )


def _by_path(apps: Mapping[str, Application], rest: Application) -> Application:
    async def answered(scope: Any, receive: Any, send: Any) -> None:
        await apps.get(scope.get("path", ""), rest)(scope, receive, send)

    return answered
