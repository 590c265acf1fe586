"""Opening and closing a season step by step: from what the sensors show to the step that is next.

The order is common practice, no source, but for one part: the outer space is emptied before the
tanks in it, since an empty tank floats in little liquid (Archimedes).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from brineward.plant.drained import drained_below_m
from brineward.plant.plan import DepotPlan, Vessel, VesselKind
from brineward.plant.single_batch import AT_MARK_M
from brineward.readings.modes import Mode

HALF_FULL = 0.5
"""Of the hopper's height: with less salt a first batch comes out weak (common practice, no
source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is known of a depot now; what no fresh reading shows is left out."""

    levels_m: Mapping[str, float] = field(default_factory=dict)
    """By vessel."""
    salt_m: float | None = None
    """In the hopper."""
    running: Mapping[str, bool] = field(default_factory=dict)
    """By pump."""
    open: Mapping[str, bool] = field(default_factory=dict)
    """By valve."""
    filling: frozenset[str] = frozenset()
    """Vessels whose level rises."""
    tested: bool = False
    """Was the brine tested since the mode was set?"""
    silent: tuple[str, ...] = ()
    """Sensors that have not reported lately."""


class SeasonStep(NamedTuple):
    """One step: what to do, and whether the sensors show that it is done."""

    do: str
    """For a person, without a stop."""
    done: bool | None
    """None where no sensor shows it."""


def steps(plan: DepotPlan, mode: Mode, seen: Seen) -> list[SeasonStep]:
    """All steps of a mode in their order; none where the mode has no steps."""
    if mode is Mode.DRAINING:
        return list(_draining(plan, seen))
    if mode is Mode.FILLING_UP:
        return list(_filling_up(plan, seen))
    return []


def next_step(plan: DepotPlan, mode: Mode, seen: Seen) -> str:
    """Which step is next, of how many, as one sentence; empty where the mode has no steps.

    The first that is not done. One that no sensor shows is taken as done where the next one is;
    until then it is named with the next, so that nobody is held up by it.
    """
    every = steps(plan, mode, seen)
    if not every:
        return ""
    place = next(
        place
        for place, step in enumerate(every)
        if step.done is False or (step.done is None and not every[place + 1].done)
    )
    then = f" Then: {every[place + 1].do}." if every[place].done is None else ""
    return f"Step {place + 1} of {len(every)}: {every[place].do}.{then}"


# -- being drained


def _draining(plan: DepotPlan, seen: Seen) -> Iterator[SeasonStep]:
    outer = [vessel for vessel in plan.vessels.values() if vessel.kind is VesselKind.CONTAINMENT]
    tanks = [vessel for vessel in plan.vessels.values() if vessel not in outer]
    if outer:
        do = "water off at its supply, then empty the containment before any tank"
        yield _emptied(plan, outer, seen, do)
    else:
        yield SeasonStep("water off at its supply", None)
    rises = [plan.name_of(one.id) for one in tanks if one.id in seen.filling]
    water = f"{rises[0]} rises: water off" if rises else "water still off"
    yield _emptied(plan, tanks, seen, f"{water}, drain the tanks from outside")
    stopped = _all_of(plan.pumps, seen.running, wanted=False)
    yield SeasonStep("pump off at the panel and locked out", stopped)
    opened = _all_of(plan.valves, seen.open, wanted=True)
    yield SeasonStep("drain the lines and leave their valves open", opened)
    yield SeasonStep(f"all is drained, {_set_it(plan, Mode.LAID_UP)}", done=False)


def _set_it(plan: DepotPlan, mode: Mode) -> str:
    if plan.duty.replies:
        return f"reply {plan.short} {mode.value.upper()}"
    return f"set it to {mode.value}"


def _emptied(plan: DepotPlan, vessels: list[Vessel], seen: Seen, do: str) -> SeasonStep:
    left = [
        f"{plan.name_of(one.id)} {plan.units.level(seen.levels_m[one.id])}"
        for one in vessels
        if seen.levels_m.get(one.id, 0.0) > drained_below_m(one)
    ]
    if left:
        return SeasonStep(f"{do} ({', '.join(left)} now)", done=False)
    known = all(one.id in seen.levels_m for one in vessels)
    return SeasonStep(do, True if known else None)


# -- filling up


def _filling_up(plan: DepotPlan, seen: Seen) -> Iterator[SeasonStep]:
    yield _sensors(plan, seen)
    shut = _all_of(plan.valves, seen.open, wanted=False)
    yield SeasonStep("see that drains and hose valve are shut", shut)
    yield _salt(plan, seen)
    for vessel in plan.vessels.values():
        if vessel.fill_mark_m is not None:
            yield _to_mark(plan, vessel, vessel.fill_mark_m, seen)
    tested = "let it stand 3 min, test by hydrometer, enter the test"
    yield SeasonStep(tested, seen.tested)
    ready = f"brine in its band: {_set_it(plan, Mode.IN_SERVICE)}"
    yield SeasonStep(ready, done=False)


def _sensors(plan: DepotPlan, seen: Seen) -> SeasonStep:
    named = ", ".join(plan.name_of(one) for one in seen.silent[:2])
    more = f" and {len(seen.silent) - 2} more" if len(seen.silent) > 2 else ""
    silent = f" (silent: {named}{more})" if seen.silent else ""
    return SeasonStep(f"switch the sensors on{silent}", not seen.silent)


def _salt(plan: DepotPlan, seen: Seen) -> SeasonStep:
    hopper = next((one for one in plan.vessels.values() if one.kind is VesselKind.HOPPER), None)
    if seen.salt_m is None or hopper is None:
        return SeasonStep("fill the hopper with salt", None)
    now = plan.units.level(seen.salt_m)
    enough = seen.salt_m >= HALF_FULL * hopper.brim_m
    return SeasonStep(f"fill the hopper with salt ({now} now)", enough)


def _to_mark(plan: DepotPlan, vessel: Vessel, mark_m: float, seen: Seen) -> SeasonStep:
    level, name, units = seen.levels_m.get(vessel.id), plan.name_of(vessel.id), plan.units
    do = f"water on, stay while the {name} fills to {units.level(mark_m)}"
    if level is None:
        return SeasonStep(do, None)
    return SeasonStep(f"{do} ({units.level(level)} now)", level >= mark_m - AT_MARK_M)


def _all_of(parts: Mapping[str, object], seen: Mapping[str, bool], *, wanted: bool) -> bool | None:
    """Are all that are seen as wanted? None where one is not seen, or there is none."""
    known = [seen[one] is wanted for one in parts if one in seen]
    if not all(known):
        return False
    return True if known and len(known) == len(parts) else None
