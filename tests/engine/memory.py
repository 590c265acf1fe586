"""All that an engine remembers, looked at from outside its snapshot: attribute by attribute."""

from collections import deque
from dataclasses import is_dataclass
from typing import Any

from brineward.engine.engine import Engine
from depots import DEPOT

NOT_MEMORY = frozenset(
    {
        "_known", "_usual", "_middles", "_cells",  # found again from what is remembered
        "_slip", "_without_newest", "_after",
        "_base", "_sums",  # of the same points, from another of them on
        "_noise",  # the level's own
        "_expected",  # asked of the pumps each time
        "_waits_known", "_looks_known", "_next_wait", "_next_look", "_next",
        "hastened",  # of the reading under way alone
        "takes", "_takes",
        "plan", "_plan", "watch", "units", "condition", "causes", "consequences",
    }
)  # fmt: skip


def memory_of(engine: Engine) -> dict[str, Any]:
    """Each tracker, each alarm's life and each call of the depot, by name."""
    depot = engine._depots[DEPOT]
    found: dict[str, Any] = {one.name: _plain(one, 0) for one in depot._trackers}
    found |= {watched.key: _plain(watched.life, 0) for watched in depot._book.all}
    found |= {f"call of {key}": _plain(call, 0) for key, (_, call) in depot._telling._calls.items()}
    found["clock"] = _plain(depot._clock, 0)
    found["time"] = [depot.now, depot._lag, depot._proven, depot._book.number]
    return found


def _plain(value: Any, depth: int) -> Any:
    """A value of ours as plain data; other trackers that it knows are named only."""
    if isinstance(value, list | tuple | deque):
        return [_plain(one, depth) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one, depth) for key, one in value.items()}
    if depth and hasattr(value, "snapshot") and hasattr(value, "lasting"):
        return value.name
    if not type(value).__module__.startswith("brineward.") or is_dataclass(value):
        return value if not isinstance(value, BaseException) else repr(value)
    names = getattr(value, "__dict__", None) or getattr(type(value), "__slots__", ())
    return {
        name: _plain(getattr(value, name), depth + 1)
        for name in sorted(names)
        if name not in NOT_MEMORY
    }
