"""The answer to a question about strength, from values in SI. Prints nothing."""

from dataclasses import dataclass

from brineward.physics import density as density_curve
from brineward.physics.brines import SODIUM_CHLORIDE, refuse_other_brines
from brineward.physics.conductivity import conductivity
from brineward.physics.hydrometer import (
    SIXTY_FAHRENHEIT_C,
    USUAL_SCALE,
    Scale,
    salinity_from_salometer,
    salinity_from_specific_gravity,
    salometer_degrees,
    specific_gravity,
)
from brineward.physics.margins import Margin, margin_to_solid
from brineward.physics.mixing import Contents, Correction, contents, correction
from brineward.physics.model_uncertainty import model_standard_uncertainty
from brineward.physics.salinity import Salinity, salinity
from brineward.physics.saturation import saturation_mass_fraction
from brineward.physics.witness import Conditions, combine, question

COVERAGE = 1.959964
UNSETTLED = "unsettled: two readings that disagree tell no strength; look at both and test again"


class Misasked(ValueError):
    """The question lacks something or says too much; whoever asked must act."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked, in SI; what was not said is None."""

    temperature_c: float | None = None
    conductivity_s_per_m: float | None = None
    density_kg_per_m3: float | None = None
    mark: float | None = None
    scale: Scale = USUAL_SCALE
    salometer: float | None = None
    strength: float | None = None
    volume_m3: float | None = None
    target: float | None = None
    coldest_c: float | None = None
    low: float = 0.22
    high: float = 0.25
    brine: str = SODIUM_CHLORIDE
    probe_relative: float = 0.01
    """Standard uncertainties, here and below."""
    thermometer_k: float = 0.3
    mark_off: float = 0.001
    salometer_off: float = 0.5
    density_off: float = 1.0
    strength_off: float = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What the instruments should show for a strength at a temperature."""

    conductivity_s_per_m: float
    conductivity_standard_uncertainty: float
    density_kg_per_m3: float
    mark: float
    salometer: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came out, in SI."""

    found: Salinity
    witnesses: tuple[tuple[str, Salinity], ...]
    """Each reading by itself, where there are two."""
    doubt: str
    """A sentence where two readings part further than they allow; empty otherwise."""
    freezing: Margin
    verdict: str
    expected: Expected | None = None
    held: Contents | None = None
    add: Correction | None = None
    taken_temperature_c: float | None = None
    """The temperature that a volume was taken at."""


def answer(asked: Asked) -> Answer:
    """Work out the strength, or what goes with one.

    Raises: Misasked; NotBrine; NotSodiumChloride; ValueError from the physics outside its range.
    """
    refuse_other_brines(asked.brine)
    witnesses = _witnesses(asked)
    if witnesses and asked.strength is not None:
        raise Misasked("a strength was given and a reading as well: which of the two is asked?")
    at_c = asked.temperature_c if asked.temperature_c is not None else SIXTY_FAHRENHEIT_C
    doubt = ""
    if len(witnesses) == 2:
        conditions = _conditions(asked, at_c)
        found = combine(witnesses[0][1], witnesses[1][1], conditions)
        raised = question(witnesses[0][1], witnesses[1][1], conditions)
        doubt = raised.sentence if raised else ""
    elif witnesses:
        found = witnesses[0][1]
    elif asked.strength is not None:
        found = _given(asked, asked.strength, at_c)
    else:
        raise Misasked("say a conductivity, a hydrometer's reading, a density or a strength")
    volume = asked.volume_m3
    return Answer(
        found=found,
        witnesses=witnesses if len(witnesses) == 2 else (),
        doubt=doubt,
        freezing=margin_to_solid(
            found.mass_fraction,
            found.interval_95,
            asked.coldest_c if asked.coldest_c is not None else at_c,
        ),
        verdict=UNSETTLED if doubt else verdict(found, asked.low, asked.high),
        expected=_expected(asked),
        held=None if volume is None else contents(volume, found.mass_fraction, at_c),
        add=_correction(asked, found, at_c),
        taken_temperature_c=None if volume is None else at_c,
    )


def verdict(found: Salinity, low: float, high: float) -> str:
    """One line: how the strength and its interval lie to the band."""
    band = f"the band of {low * 100:g} to {high * 100:g} %"
    least, most = found.interval_95
    if most < low:
        return f"too weak, clearly under {band}"
    if least > high:
        return f"too strong, clearly over {band}"
    if found.mass_fraction < low:
        return f"likely too weak: under {band}, though {most * 100:.1f} % is not ruled out"
    if found.mass_fraction > high:
        return f"likely too strong: over {band}, though {least * 100:.1f} % is not ruled out"
    if least < low or most > high:
        return (
            f"in {band}, but not clearly: {least * 100:.1f} to {most * 100:.1f} % are not ruled out"
        )
    return f"good, clearly in {band}"


def _witnesses(asked: Asked) -> tuple[tuple[str, Salinity], ...]:
    by_weight = [
        name
        for name in ("density_kg_per_m3", "mark", "salometer")
        if getattr(asked, name) is not None
    ]
    if len(by_weight) > 1:
        raise Misasked("give one of density, hydrometer and salometer, not two")
    if not by_weight and asked.conductivity_s_per_m is None:
        return ()
    if asked.temperature_c is None:
        raise Misasked(
            "a reading without the brine's temperature tells no strength: add --temperature"
        )
    found = []
    if asked.conductivity_s_per_m is not None:
        by_conductivity = salinity(
            asked.conductivity_s_per_m,
            asked.temperature_c,
            conductivity_standard_uncertainty=abs(asked.conductivity_s_per_m)
            * asked.probe_relative,
            temperature_standard_uncertainty=asked.thermometer_k,
        )
        found.append(("conductivity", by_conductivity))
    if by_weight:
        found.append(("density", _by_weight(asked, asked.temperature_c)))
    return tuple(found)


def _by_weight(asked: Asked, temperature_c: float) -> Salinity:
    if asked.mark is not None:
        return salinity_from_specific_gravity(
            asked.mark,
            temperature_c,
            asked.scale,
            mark_standard_uncertainty=asked.mark_off,
            temperature_standard_uncertainty=asked.thermometer_k,
        )
    if asked.salometer is not None:
        return salinity_from_salometer(
            asked.salometer,
            temperature_c,
            degrees_standard_uncertainty=asked.salometer_off,
            temperature_standard_uncertainty=asked.thermometer_k,
        )
    assert asked.density_kg_per_m3 is not None  # noqa: S101 - one of the three was given
    return density_curve.salinity_from_density(
        asked.density_kg_per_m3,
        temperature_c,
        density_standard_uncertainty_kg_per_m3=asked.density_off,
        temperature_standard_uncertainty=asked.thermometer_k,
    )


def _conditions(asked: Asked, temperature_c: float) -> Conditions:
    return Conditions(
        temperature_c=temperature_c,
        temperature_standard_uncertainty=asked.thermometer_k,
        density_from="meter" if asked.density_kg_per_m3 is not None else "test",
    )


def _given(asked: Asked, strength: float, at_c: float) -> Salinity:
    most = saturation_mass_fraction(at_c)
    if not 0.0 <= strength <= most:
        raise Misasked(
            f"{strength * 100:.1f} % is not a strength at {at_c:.1f} degC:"
            f" from 0 to {most * 100:.1f} % dissolves"
        )
    off = asked.strength_off if asked.volume_m3 is not None else 0.0
    reach = COVERAGE * off
    interval = (max(0.0, strength - reach), min(most, strength + reach))
    return Salinity(strength, off, interval)


def _expected(asked: Asked) -> Expected | None:
    if asked.strength is None or asked.temperature_c is None or asked.volume_m3 is not None:
        return None
    level = conductivity(asked.strength, asked.temperature_c)
    relative = model_standard_uncertainty(asked.strength, asked.temperature_c)
    return Expected(
        conductivity_s_per_m=level,
        conductivity_standard_uncertainty=level * relative,
        density_kg_per_m3=density_curve.density(asked.strength, asked.temperature_c),
        mark=specific_gravity(asked.strength, asked.temperature_c, asked.scale),
        salometer=salometer_degrees(asked.strength, asked.temperature_c),
    )


def _correction(asked: Asked, found: Salinity, at_c: float) -> Correction | None:
    if asked.target is None:
        return None
    if asked.volume_m3 is None:
        raise Misasked("a target needs the volume that is to be brought to it: add --volume")
    return correction(
        asked.volume_m3,
        found.mass_fraction,
        at_c,
        target=asked.target,
        mass_fraction_standard_uncertainty=found.standard_uncertainty,
    )
