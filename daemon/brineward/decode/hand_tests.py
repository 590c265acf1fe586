"""A test by hand as a person entered it: a hydrometer's mark, salometer degrees or a percentage."""

from collections.abc import Mapping
from math import isfinite

from brineward.physics.hydrometer import (
    USUAL_SCALE,
    salinity_from_salometer,
    salinity_from_specific_gravity,
    scale_named,
)
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import Salinity
from brineward.plant.read_lately import OLDEST
from brineward.plant.recorded_test import WEAKEST_TESTED
from brineward.readings.entries import HandTest
from brineward.readings.instants import MINUTE, Instant, instant_from_rfc3339

Fields = Mapping[str, str | float | int | bool]

MARK_STANDARD_UNCERTAINTY = 0.001
DEGREES_STANDARD_UNCERTAINTY = 0.5
PERCENT_STANDARD_UNCERTAINTY = 0.3
"""Of a hydrometer, a salometer and a percentage, as read, where the test doesn't say (common
practice, no source: one mark of the usual scale; a hand refractometer)."""
SAMPLE_STANDARD_UNCERTAINTY_K = 0.5
"""Of the sample's thermometer."""

STRONGEST_PERCENT = 26.5
_EXPECTED = f"{WEAKEST_TESTED * 100.0:g} to {STRONGEST_PERCENT:g}"
AHEAD = 2 * MINUTE
_KINDS = ("specific_gravity", "salometer", "percent")
_SPOKEN = {"specific_gravity": "", "salometer": "salometer degrees", "percent": "%"}
_LONGEST = 60


class RefusedTest(ValueError):
    """What was entered is no test; the text says to the person why."""


def hand_test(fields: Fields, *, depot: str, now: Instant) -> HandTest:
    """The test that these fields give; they come from outside and may hold anything.

    Fields: `vessel`; one of `specific_gravity` (with `scale`), `salometer`, `percent`;
    `temperature_c` of the sample, but for `percent`; perhaps `standard_uncertainty` in the mark's
    own unit, `at` (milliseconds or RFC 3339), `by`, `cleaned`, `sure`.
    Raises: RefusedTest.
    """
    try:
        found = _strength(fields)
    except NotBrine as why:
        raise RefusedTest(f"the test is not brine: {why.sentence}") from why
    except ValueError as why:
        raise RefusedTest(str(why)) from why
    return HandTest(
        depot=depot,
        time=now,
        received=now,
        vessel=_text(fields, "vessel"),
        at=_at(fields, now),
        mass_fraction=found.mass_fraction,
        standard_uncertainty=found.standard_uncertainty,
        by=_text(fields, "by"),
        cleaned=fields.get("cleaned") is True,
        entered=_entered(fields),
        kind=_kind(fields),
        mark=_number(fields, _kind(fields)),
        sample_c=None if _kind(fields) == "percent" else _number(fields, "temperature_c"),
        scale=_text(fields, "scale"),
        sure=fields.get("sure") is True,
    )


def _kind(fields: Fields) -> str:
    return next(kind for kind in _KINDS if kind in fields)


def _entered(fields: Fields) -> str:
    """What was entered, as a person reads it."""
    kind = _kind(fields)
    mark = f"{fields[kind]:g} {_SPOKEN[kind]}".strip()
    if kind == "percent":
        return mark
    return f"{mark} at {round(_number(fields, 'temperature_c'), 1):g} degC"


def _strength(fields: Fields) -> Salinity:
    given = [kind for kind in _KINDS if kind in fields]
    if len(given) != 1:
        raise RefusedTest(
            "a test is one of a specific gravity, salometer degrees or a percentage; "
            f"{' and '.join(given) or 'none'} was entered"
        )
    value = _number(fields, given[0])
    if given[0] == "percent":
        return _percentage(value, _uncertainty(fields, PERCENT_STANDARD_UNCERTAINTY))
    found = _floated(fields, given[0], value)
    if found.mass_fraction < WEAKEST_TESTED:
        raise RefusedTest(
            f"{_entered(fields)} is {found.mass_fraction * 100.0:.1f} % of salt, which is water, "
            f"not brine; expected {_EXPECTED} %"
        )
    return found


def _floated(fields: Fields, kind: str, value: float) -> Salinity:
    """By a hydrometer's mark or a salometer's degrees."""
    sample_c = _number(fields, "temperature_c")
    if kind == "salometer":
        return salinity_from_salometer(
            value,
            sample_c,
            degrees_standard_uncertainty=_uncertainty(fields, DEGREES_STANDARD_UNCERTAINTY),
            temperature_standard_uncertainty=SAMPLE_STANDARD_UNCERTAINTY_K,
        )
    return salinity_from_specific_gravity(
        value,
        sample_c,
        scale_named(_text(fields, "scale") or USUAL_SCALE.name),
        mark_standard_uncertainty=_uncertainty(fields, MARK_STANDARD_UNCERTAINTY),
        temperature_standard_uncertainty=SAMPLE_STANDARD_UNCERTAINTY_K,
    )


def _percentage(percent: float, off: float) -> Salinity:
    if not WEAKEST_TESTED * 100.0 <= percent <= STRONGEST_PERCENT:
        raise RefusedTest(f"{percent:g} % is not brine; expected {_EXPECTED}")
    value, spread = percent / 100.0, off / 100.0
    return Salinity(value, spread, (value - 2.0 * spread, value + 2.0 * spread))


def _number(fields: Fields, name: str) -> float:
    value = fields.get(name)
    called = name.replace("_", " ").removesuffix(" c")
    if value is None:
        raise RefusedTest(f"the test does not say its {called}")
    # A whole number too large for a float is not a reading either.
    if isinstance(value, bool | str) or not -1e6 < value < 1e6 or not isfinite(value):
        raise RefusedTest(f"the test's {called} is not a number: {str(value)[:_LONGEST]!r}")
    return float(value)


def _uncertainty(fields: Fields, usual: float) -> float:
    if "standard_uncertainty" not in fields:
        return usual
    value = _number(fields, "standard_uncertainty")
    if not 0.0 < value <= 20.0 * usual:
        raise RefusedTest(
            f"a standard uncertainty of {value:g} is implausible; "
            f"usual is {usual:g}, at most {20.0 * usual:g}"
        )
    return value


def _text(fields: Fields, name: str) -> str:
    value = fields.get(name, "")
    return value[:_LONGEST] if isinstance(value, str) else ""


def _at(fields: Fields, now: Instant) -> Instant:
    value = fields.get("at", now)
    try:
        at = instant_from_rfc3339(value) if isinstance(value, str) else value
    except (ValueError, OverflowError) as why:
        raise RefusedTest(
            f"{str(value)[:_LONGEST]!r} is not a time; expected 2026-01-14T18:00:00Z"
        ) from why
    if isinstance(at, bool) or not isinstance(at, int):
        raise RefusedTest("the test's time is not a time; expected 2026-01-14T18:00:00Z")
    if at > now + AHEAD:
        raise RefusedTest("the test's time is in the future")
    if at < now - OLDEST:
        raise RefusedTest(
            "the test is older than a day: what the probe read then is no longer known"
        )
    return min(at, now)
