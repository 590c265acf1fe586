"""What is checked against the tables before anything is computed: each refusal in a sentence.

The physics refuses too, but in SI, and after the last digit; here the asker's own units are used.
"""

from brineward.commands.salinity_answer import Asked, Unbelievable
from brineward.commands.salinity_units import Units, as_read, percent, significant
from brineward.physics.conductivity import COLDEST_C as PROBE_COLDEST_C
from brineward.physics.conductivity import WARMEST_C as PROBE_WARMEST_C
from brineward.physics.conductivity import conductivity
from brineward.physics.density import COLDEST_C, WARMEST_C
from brineward.physics.hydrometer import SIXTY_FAHRENHEIT_C
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.saturation import saturation_mass_fraction

FARTHEST_C = 100.0
LEAST_AIM = 0.001
"""Under a tenth of a percent, brine is water."""
MOST_CONDUCTIVE_S_PER_M = 1000.0
LARGEST_VOLUME_M3 = 1e6
LARGEST_MASS_KG = 1e9
BEYOND = (
    "That lies outside what is known of salt brine: strengths from 0 to about 26 %, temperatures"
    " from {coldest} to {warmest}."
)


class OutOfRange(ValueError):
    """What was asked lies beyond the tables; its sentence is for whoever asked."""


def refuse_beyond(asked: Asked, units: Units) -> None:
    """Return where every value lies where the tables know something.

    Raises: OutOfRange.
    """
    _refuse_temperatures(asked, units)
    _refuse_readings(asked)
    _refuse_amounts(asked)
    _refuse_aim(asked)


def beyond(units: Units) -> str:
    """What to say where a value passed every check and the physics refuses it all the same."""
    return BEYOND.format(coldest=units.given(COLDEST_C), warmest=units.given(WARMEST_C))


def unbelievable(refusal: Unbelievable, asked: Asked, units: Units) -> str:
    """What to say of a reading that no sodium chloride brine gives, in the asker's units."""
    at_c = asked.temperature_c if asked.temperature_c is not None else 0.0
    at = units.given(at_c)
    if at_c < EUTECTIC_C:
        return (
            f"At {at} no salt brine is liquid (the best freezes at {units.found(EUTECTIC_C)}): it"
            " is frozen, or the thermometer is wrong."
        )
    if refusal.by == "conductivity" and asked.conductivity_s_per_m is not None:
        return _unbelievable_probe(refusal, asked.conductivity_s_per_m, at_c, units)
    return {
        "not-brine": f"At {at} that is lighter than water: air in the sample, another liquid, or a"
        " wrong reading.",
        "above-saturation": f"At {at} that is heavier than saturated brine: solids in the sample,"
        " another salt, or a wrong reading.",
        "slush": f"At {at} that is weaker than brine can be without ice in it: slush, or a wrong"
        " temperature.",
    }.get(refusal.reason, beyond(units))


def _unbelievable_probe(refusal: Unbelievable, level: float, at_c: float, units: Units) -> str:
    name = units.conductivity.name
    read = f"{as_read(units.conductivity.from_si(level))} {name}"
    at = units.given(at_c)
    full = conductivity(saturation_mass_fraction(at_c), at_c)
    saturated = f"{significant(units.conductivity.from_si(full))} {name}"
    return {
        "probe-dry": f"{read} is less than drinking water conducts: the probe is dry, in air, or"
        " disconnected.",
        "above-saturation": f"{read} is more than even saturated brine conducts at {at}"
        f" ({saturated}): a fault of the probe, or a wrong temperature.",
        "not-brine": f"{read} is far more than even saturated brine conducts at {at}"
        f" ({saturated}): not sodium chloride brine, or a fault of the probe.",
        "slush": f"{read} at {at} is weaker than brine can be without ice in it: slush, or the"
        " probe is out of the brine.",
    }.get(refusal.reason, beyond(units))


def _refuse_temperatures(asked: Asked, units: Units) -> None:
    for value in (asked.temperature_c, asked.coldest_c):
        if value is not None and not -FARTHEST_C <= value <= FARTHEST_C:
            raise OutOfRange(
                f"{units.given(value)} is outside the {units.given(-FARTHEST_C)} to"
                f" {units.given(FARTHEST_C)} that are answered for."
            )
    if asked.coldest_c is not None and asked.coldest_c > WARMEST_C:
        raise OutOfRange(f"Nothing freezes at {units.given(asked.coldest_c)}.")
    if asked.temperature_c is not None:
        _refuse_at(asked, asked.temperature_c, units)


def _refuse_at(asked: Asked, at_c: float, units: Units) -> None:
    """By what the brine's own temperature is needed for."""
    if asked.conductivity_s_per_m is not None:
        _within("Strength is worked out from conductivity", at_c, units, probe=True)
    if any(value is not None for value in (asked.density_kg_per_m3, asked.mark, asked.salometer)):
        _within("Strength is worked out from density", at_c, units)
    if asked.volume_m3 is not None:
        _within("Brine's density is known", at_c, units)
        return
    if asked.strength is not None and at_c > PROBE_WARMEST_C:
        _within("Brine's conductivity is known", at_c, units, probe=True)
    makes_brine = asked.water_m3 is not None or asked.salt_kg is not None
    if makes_brine and not 0.0 <= at_c <= WARMEST_C:
        raise OutOfRange(
            f"Water to make brine of is between {units.given(0.0)} and {units.given(WARMEST_C)}:"
            f" {units.given(at_c)} is outside."
        )


def _within(what: str, at_c: float, units: Units, *, probe: bool = False) -> None:
    low, high = (PROBE_COLDEST_C, PROBE_WARMEST_C) if probe else (COLDEST_C, WARMEST_C)
    if low <= at_c <= high:
        return
    told = f"{what} from {units.given(low)} to {units.given(high)}: {units.given(at_c)} is outside."
    if at_c < EUTECTIC_C:
        told += " No salt brine is liquid there."
    raise OutOfRange(told)


def _refuse_readings(asked: Asked) -> None:
    level = asked.conductivity_s_per_m
    if level is not None and not -MOST_CONDUCTIVE_S_PER_M <= level <= MOST_CONDUCTIVE_S_PER_M:
        raise OutOfRange("That is not a conductivity of brine; expected 0 to about 300 mS/cm.")
    mark = asked.mark
    if mark is not None and not 0.9 <= mark <= 1.3:
        meant = f" Did you mean {mark / 1000:.4g}?" if 1000.0 <= mark <= 1300.0 else ""
        raise OutOfRange(
            f"That is not a specific gravity of brine; expected 1.000 to 1.204.{meant}"
        )
    if asked.salometer is not None and not 0.0 <= asked.salometer <= 106.0:
        raise OutOfRange("Those are not salometer degrees of brine; expected 0 to 100.")
    density = asked.density_kg_per_m3
    if density is not None and not 900.0 <= density <= 1400.0:
        raise OutOfRange(
            "That is not a density of brine; expected 1000 to 1204 kg/m3 (8.34 to 10.05 lb/gal)."
            " If it is the salt in a litre or a gallon, ask with percent by mass instead."
        )


def _refuse_aim(asked: Asked) -> None:
    """The strength that is wanted, or that water or salt alone is to come to."""
    makes_brine = asked.volume_m3 is None and (asked.water_m3 or asked.salt_kg) is not None
    aim = asked.target if asked.target is not None or not makes_brine else asked.strength
    if aim is None:
        return
    at_c = asked.temperature_c if asked.temperature_c is not None else SIXTY_FAHRENHEIT_C
    most = saturation_mass_fraction(max(at_c, EUTECTIC_C))
    if not LEAST_AIM <= aim <= most:
        raise OutOfRange(
            f"{percent(aim)} can't be reached: what can be is from {percent(LEAST_AIM)} to"
            f" {percent(most)} of salt, as much as dissolves."
        )


def _refuse_amounts(asked: Asked) -> None:
    for volume in (asked.volume_m3, asked.water_m3):
        if volume is not None and not 0.0 < volume <= LARGEST_VOLUME_M3:
            raise OutOfRange("A volume must be above 0 and at most 1,000,000 m3.")
    if asked.salt_kg is not None and not 0.0 < asked.salt_kg <= LARGEST_MASS_KG:
        raise OutOfRange("An amount of salt must be above 0 and at most 1,000,000 t.")
