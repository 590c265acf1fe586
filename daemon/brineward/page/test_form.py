"""A test by hand as it is typed: read, computed by the desk, doubted where a unit looks wrong."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from brineward.page.desk import Computed, Desk, Fields
from brineward.page.words import say
from brineward.records.depot_now import DepotNow, StrengthNow
from brineward.wording.operator_units import percent

KINDS: Final = ("specific_gravity", "salometer", "percent")
_EXAMPLES: Final = {"specific_gravity": "1.178", "salometer": "88", "percent": "23.3"}
_FAR_POINTS: Final = 2.0
"""Points of percent that a test may be from the probe's interval before it is doubted (common
practice, no source: twice what a dirty hydrometer is off)."""
_FAR_K: Final = 12.0
"""How far a sample may be from its tank: it is read within minutes (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What was typed, and what it comes to."""

    fields: Fields
    """As the desk takes them; empty where something is no number."""
    problems: tuple[str, ...]
    """Why it can't be entered."""
    warnings: tuple[str, ...]
    """Why it may be a slip: it can be entered all the same."""
    computed: Computed | None


def typed(form: Mapping[str, str], depot: DepotNow, desk: Desk) -> Typed:
    """Reads a form: `vessel`, `kind`, `value`, `temperature`, `unit` (F or C), `cleaned`."""
    kind = form.get("kind", "")
    kind = kind if kind in KINDS else KINDS[0]
    value = _number(form.get("value", ""))
    if value is None:
        problem = say("test.no_number", what=say("test.what_reading"), example=_EXAMPLES[kind])
        return _refused(problem)
    fields: dict[str, str | float | int | bool] = {"vessel": _vessel(form, depot), kind: value}
    fields["cleaned"] = form.get("cleaned", "") == "yes"
    if kind != "percent":
        sample = _number(form.get("temperature", ""))
        if sample is None:
            what, example = say("test.what_temperature"), say(f"test.example_{_unit(form)}")
            return _refused(say("test.no_number", what=what, example=example))
        celsius = (sample - 32.0) / 1.8 if _unit(form) == "f" else sample
        fields["temperature_c"] = round(celsius, 3)
    slip = _slip(kind, value)
    computed = desk.computed(depot.plan.id, fields)
    if computed.mass_fraction is None:
        return Typed(fields={}, problems=(slip or computed.sentence,), warnings=(), computed=None)
    warnings = tuple(_doubts(form, fields, depot, computed.mass_fraction))
    return Typed(fields=fields, problems=(), warnings=warnings, computed=computed)


def _refused(problem: str) -> Typed:
    return Typed(fields={}, problems=(problem,), warnings=(), computed=None)


def _number(text: str) -> float | None:
    """A number as people type it, with a point or a comma; None where it is none."""
    bare = text.strip().replace(",", ".")
    if not bare.isascii() or len(bare) > 12:
        return None
    try:
        value = float(bare)
    except ValueError:
        return None
    return value if isfinite(value) else None


def _unit(form: Mapping[str, str]) -> str:
    return "f" if form.get("unit", "") == "F" else "c"


def _vessel(form: Mapping[str, str], depot: DepotNow) -> str:
    tanks = [one.id for one in depot.plan.vessels.values() if one.holds_brine]
    wanted = form.get("vessel", "")
    return wanted if wanted in tanks else next(iter(tanks), "")


def _slip(kind: str, value: float) -> str:
    """What was probably meant, where the number fits another kind; empty where it doesn't."""
    if kind == "specific_gravity":
        if 1000.0 <= value <= 1250.0:
            return say("test.warn_thousand", value=f"{value:g}", better=f"{value / 1000.0:g}")
        if 1.25 < value <= 26.5:
            return say("test.warn_percent", value=f"{value:g}")
        if 26.5 < value <= 100.0:
            return say("test.warn_salometer", value=f"{value:g}")
    elif 1.0 <= value <= 1.25:
        return say("test.warn_gravity", value=f"{value:g}")
    return ""


def _doubts(
    form: Mapping[str, str], fields: Fields, depot: DepotNow, mass_fraction: float
) -> Iterator[str]:
    vessel = fields["vessel"]
    slip = _slip(
        next(kind for kind in KINDS if kind in fields), float(form["value"].replace(",", "."))
    )
    if slip:
        yield slip
    tank = next(
        (
            s
            for s in depot.sensors
            if (s.measures, s.at) == ("temperature", vessel) and not s.silent
        ),
        None,
    )
    sample = fields.get("temperature_c")
    if (
        isinstance(sample, float)
        and tank is not None
        and tank.value is not None
        and abs(sample - tank.value) > _FAR_K
    ):
        at = depot.plan.units.temperature(tank.value)
        yield say("test.warn_temperature", tank=at, unit=say(f"test.unit_{_unit(form)}"))
    probe = strength_of(depot, str(vessel))
    if probe is not None and probe.interval_95 is not None:
        low, high = probe.interval_95
        off = 100.0 * max(low - mass_fraction, mass_fraction - high)
        if off > _FAR_POINTS:
            points = 100.0 * abs(mass_fraction - probe.mass_fraction)
            yield say("test.warn_far", points=f"{points:.1f}")


def strength_of(depot: DepotNow, vessel: str) -> StrengthNow | None:
    """What the probe says of a vessel; None where nothing does."""
    return next((one for one in depot.strengths if one.vessel == vessel), None)


def shows(computed: Computed) -> str:
    """What a test shows, in words, with its 95 % interval; empty where it is no test."""
    if computed.mass_fraction is None:
        return ""
    half = percent(2.0 * computed.standard_uncertainty)
    return say("test.shows", percent=percent(computed.mass_fraction), half=half)
