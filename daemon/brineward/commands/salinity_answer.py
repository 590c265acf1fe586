"""The answer to a question about strength, from values in SI. Prints nothing."""

from dataclasses import dataclass

from brineward.commands.salinity_mixing import Afterwards, Mixture, afterwards, mixture
from brineward.physics import density as density_curve
from brineward.physics.brines import SODIUM_CHLORIDE, refuse_other_brines
from brineward.physics.conductivity import conductivity
from brineward.physics.freezing import freezing_point_c, ice_line_mass_fraction
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
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.refusals import NotBrine, Reason
from brineward.physics.salinity import COVERAGE, Salinity, salinity
from brineward.physics.saturation import HIGHEST_C, saturation_mass_fraction
from brineward.physics.water import water_density
from brineward.physics.witness import Conditions, Culprit, combine, question

UNSETTLED = "unsettled: two readings that disagree give no strength; check both and test again"


WATER_ADDED_KG_PER_M3 = water_density(SIXTY_FAHRENHEIT_C)
"""Tap water at 60 degF, for telling volumes of it."""


class Misasked(ValueError):
    """The question lacks something or says too much; whoever asked must act."""


class Unbelievable(ValueError):
    """A reading that no sodium chloride brine gives; `by` is which of the two, as `witnesses`."""

    def __init__(self, by: str, reason: Reason) -> None:
        super().__init__(f"{by}: {reason}")
        self.by = by
        self.reason: Reason = reason


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
    water_m3: float | None = None
    """Fresh water: to make brine of, or to add to a volume."""
    salt_kg: float | None = None
    """Dry salt: to make brine of, or to add to a volume."""
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

    at_c: float
    conductivity_s_per_m: float
    conductivity_standard_uncertainty: float
    density_kg_per_m3: float
    mark: float
    salometer: float
    salt_kg_per_m3: float


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
    culprit: Culprit | None = None
    """Who is the likelier cause of the doubt."""
    held: Contents | None = None
    add: Correction | None = None
    after: Afterwards | None = None
    taken_temperature_c: float | None = None
    """The temperature that a volume was taken at."""
    coldest_c: float | None = None
    """The temperature that its freezing is set against, where there is one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidRange:
    """The strengths that are liquid at a temperature; none where the two are equal and 0."""

    at_c: float
    least: float
    most: float


Answered = Answer | Mixture | LiquidRange


def answer(asked: Asked) -> Answered:
    """Work out the strength, what goes with one, what to mix, or what is liquid.

    Raises: Misasked; Unbelievable; NotSodiumChloride; TooMuchSalt; ValueError from the physics
        outside its range.
    """
    refuse_other_brines(asked.brine)
    witnesses = _witnesses(asked)
    if not witnesses and asked.volume_m3 is None:
        if asked.water_m3 is not None or asked.salt_kg is not None:
            return _mixed(asked)
        if asked.strength is None and asked.coldest_c is not None:
            return _liquid(asked.coldest_c)
    return _strength(asked, witnesses)


def _strength(asked: Asked, witnesses: tuple[tuple[str, Salinity], ...]) -> Answer:
    if witnesses and asked.strength is not None:
        raise Misasked(
            "There is a reading and a strength as well. If that strength is the one you want,"
            ' write "to" before it, as in "2,000 gal at 1.150 at 45 F to 23.3 %"; if not, ask'
            " which of the two you mean."
        )
    at_c = asked.temperature_c if asked.temperature_c is not None else SIXTY_FAHRENHEIT_C
    doubt, culprit = "", None
    if len(witnesses) == 2:
        conditions = _conditions(asked, at_c)
        found = combine(witnesses[0][1], witnesses[1][1], conditions)
        raised = question(witnesses[0][1], witnesses[1][1], conditions)
        if raised:
            doubt, culprit = raised.sentence, raised.culprit
    elif witnesses:
        found = witnesses[0][1]
    elif asked.strength is not None:
        found = _given(asked, asked.strength, at_c)
    else:
        raise Misasked(_what_is_missing(asked))
    volume = asked.volume_m3
    coldest = _coldest(asked, found)
    return Answer(
        found=found,
        witnesses=witnesses if len(witnesses) == 2 else (),
        doubt=doubt,
        freezing=margin_to_solid(
            found.mass_fraction,
            found.interval_95,
            coldest if coldest is not None else at_c,
        ),
        verdict=UNSETTLED if doubt else verdict(found, asked.low, asked.high),
        expected=_expected(asked, at_c, coldest),
        held=None if volume is None else contents(volume, found.mass_fraction, at_c),
        culprit=culprit,
        add=_correction(asked, found, at_c),
        after=_after(asked, found, at_c),
        taken_temperature_c=None if volume is None else at_c,
        coldest_c=coldest,
    )


def _mixed(asked: Asked) -> Mixture:
    wanted = asked.target if asked.target is not None else asked.strength
    if asked.target is not None and asked.strength is not None:
        raise Misasked("Two strengths, and neither is of a brine that is there: give its volume.")
    known = [value for value in (asked.water_m3, asked.salt_kg, wanted) if value is not None]
    if len(known) == 1:
        raise Misasked(
            'How strong is the brine to be? Ask like "how much salt for 1,000 gal of water to'
            ' 23.3 %?".'
        )
    if len(known) == 3:
        raise Misasked(
            "Give two of water, salt and strength; the third is worked out. If there is brine"
            " already, give its volume and its strength now."
        )
    at_c = asked.temperature_c if asked.temperature_c is not None else SIXTY_FAHRENHEIT_C
    return mixture(
        temperature_c=at_c, water_m3=asked.water_m3, salt_kg=asked.salt_kg, mass_fraction=wanted
    )


def _liquid(at_c: float) -> LiquidRange:
    if at_c < EUTECTIC_C:
        return LiquidRange(at_c=at_c, least=0.0, most=0.0)
    return LiquidRange(
        at_c=at_c, least=ice_line_mass_fraction(at_c), most=saturation_mass_fraction(at_c)
    )


def _what_is_missing(asked: Asked) -> str:
    """One sentence for a question without a strength or a reading."""
    if asked.volume_m3 is not None and asked.target is not None:
        return (
            'How strong is it now? Ask like "1,900 gal at 21.8 % to 23.3 %"; for plain water,'
            ' like "1,000 gal of water to 23.3 %".'
        )
    if asked.volume_m3 is not None:
        return 'How strong is it? Ask like "1,900 gal at 21.8 % to 23.3 %".'
    if asked.target is not None:
        return (
            "How much brine is there, and how strong is it now? Ask like"
            ' "1,900 gal at 21.8 % to 23.3 %" (or add --volume and --strength).'
        )
    if asked.temperature_c is not None:
        return (
            "A temperature alone gives no strength: say what the probe or the hydrometer reads"
            ' with it, like "172 mS/cm at 49 F" or "1.178 at 60 F"; or ask "is 23.3 % frozen at'
            ' -5 F?".'
        )
    return (
        "Say a conductivity, a hydrometer's reading, a density or a strength, like"
        ' "172 mS/cm at 49 F", "1.178 at 60 F" or "23.3 % freezing point".'
    )


def _coldest(asked: Asked, found: Salinity) -> float | None:
    """What was asked for; or the brine's own temperature, where this strength freezes at it."""
    if asked.coldest_c is not None:
        return asked.coldest_c
    at_c = asked.temperature_c
    if asked.strength is None or at_c is None or asked.volume_m3 is not None:
        return None
    return at_c if at_c < freezing_point_c(found.mass_fraction) else None


def verdict(found: Salinity, low: float, high: float) -> str:
    """One line: how the strength and its interval lie to the band."""
    band = f"the band of {low * 100:g} to {high * 100:g} %"
    least, most = found.interval_95
    if most < low:
        return f"too weak, clearly under {band}"
    if least > high:
        return f"too strong, clearly over {band}"
    if found.mass_fraction < low:
        return f"likely too weak: under {band}, but it may be as strong as {most * 100:.1f} %"
    if found.mass_fraction > high:
        return f"likely too strong: over {band}, but it may be as weak as {least * 100:.1f} %"
    if least < low or most > high:
        return (
            f"in {band}, but not clearly: it may be anything from {least * 100:.1f} to"
            f" {most * 100:.1f} %"
        )
    return f"good, clearly in {band}"


def _witnesses(asked: Asked) -> tuple[tuple[str, Salinity], ...]:
    by_weight = [
        name
        for name in ("density_kg_per_m3", "mark", "salometer")
        if getattr(asked, name) is not None
    ]
    if len(by_weight) > 1:
        raise Misasked("Give one of density, hydrometer and salometer, not two.")
    if not by_weight and asked.conductivity_s_per_m is None:
        return ()
    if asked.temperature_c is None:
        like = (
            '"1.150 at 45 F, is it frozen at -5 F?"'
            if asked.coldest_c is not None
            else '"172 mS/cm at 49 F" or "1.178 at 60 F"'
        )
        raise Misasked(
            "What was the brine's temperature at that reading? Without it no strength can be"
            f" told: ask like {like} (or add --temperature)."
        )
    found = []
    if asked.conductivity_s_per_m is not None:
        found.append(
            (
                "conductivity",
                _by_conductivity(asked, asked.conductivity_s_per_m, asked.temperature_c),
            )
        )
    try:
        weighed = _by_weight(asked, asked.temperature_c)
    except NotBrine as refusal:
        raise Unbelievable("density", refusal.reason) from refusal
    if weighed is not None:
        found.append(("density", weighed))
    return tuple(found)


def _by_conductivity(asked: Asked, level: float, temperature_c: float) -> Salinity:
    try:
        return salinity(
            level,
            temperature_c,
            conductivity_standard_uncertainty=abs(level) * asked.probe_relative,
            temperature_standard_uncertainty=asked.thermometer_k,
        )
    except NotBrine as refusal:
        raise Unbelievable("conductivity", refusal.reason) from refusal


def _by_weight(asked: Asked, temperature_c: float) -> Salinity | None:
    """By density, hydrometer or salometer, whichever was given; None for none."""
    if asked.density_kg_per_m3 is not None:
        return density_curve.salinity_from_density(
            asked.density_kg_per_m3,
            temperature_c,
            density_standard_uncertainty_kg_per_m3=asked.density_off,
            temperature_standard_uncertainty=asked.thermometer_k,
        )
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
    return None


def _conditions(asked: Asked, temperature_c: float) -> Conditions:
    return Conditions(
        temperature_c=temperature_c,
        temperature_standard_uncertainty=asked.thermometer_k,
        density_from="meter" if asked.density_kg_per_m3 is not None else "test",
    )


def _given(asked: Asked, strength: float, at_c: float) -> Salinity:
    most = saturation_mass_fraction(HIGHEST_C if asked.volume_m3 is None else max(at_c, EUTECTIC_C))
    if not 0.0 <= strength <= most:
        raise Misasked(
            f"{strength * 100:.1f} % is not a strength of salt brine: from 0 to"
            f" {most * 100:.1f} % dissolves."
        )
    off = asked.strength_off if asked.volume_m3 is not None else 0.0
    reach = COVERAGE * off
    interval = (max(0.0, strength - reach), min(most, strength + reach))
    return Salinity(strength, off, interval)


def _expected(asked: Asked, at_c: float, coldest_c: float | None) -> Expected | None:
    if asked.strength is None or asked.volume_m3 is not None or coldest_c != asked.coldest_c:
        return None
    if coldest_c is not None and asked.temperature_c is None:
        return None
    level = conductivity(asked.strength, at_c)
    relative = model_standard_uncertainty(asked.strength, at_c)
    weight = density_curve.density(asked.strength, at_c)
    return Expected(
        at_c=at_c,
        conductivity_s_per_m=level,
        conductivity_standard_uncertainty=level * relative,
        density_kg_per_m3=weight,
        mark=specific_gravity(asked.strength, at_c, asked.scale),
        salometer=salometer_degrees(asked.strength, at_c),
        salt_kg_per_m3=asked.strength * weight,
    )


def _correction(asked: Asked, found: Salinity, at_c: float) -> Correction | None:
    if asked.target is None:
        return None
    if asked.volume_m3 is None:
        raise Misasked(
            "How much brine is to be brought to it? Ask like"
            ' "1,900 gal at 21.8 % to 23.3 %" (or add --volume).'
        )
    if asked.salt_kg is not None or asked.water_m3 is not None:
        raise Misasked(
            "Give either the strength that is wanted or what is added to the brine, not both."
        )
    return correction(
        asked.volume_m3,
        found.mass_fraction,
        at_c,
        target=asked.target,
        mass_fraction_standard_uncertainty=found.standard_uncertainty,
    )


def _after(asked: Asked, found: Salinity, at_c: float) -> Afterwards | None:
    if asked.volume_m3 is None or (asked.salt_kg is None and asked.water_m3 is None):
        if asked.salt_kg is not None or asked.water_m3 is not None:
            raise Misasked("How much brine is there that it is added to? Add its volume.")
        return None
    return afterwards(
        asked.volume_m3,
        found,
        at_c,
        salt_kg=asked.salt_kg or 0.0,
        water_m3=asked.water_m3 or 0.0,
        water_density_kg_per_m3=WATER_ADDED_KG_PER_M3,
    )
