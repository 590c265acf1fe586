"""An answer about strength as one JSON object: SI, degC and mass fractions."""

from typing import Any

from brineward.commands.salinity_answer import Answer, Answered, Asked, LiquidRange
from brineward.commands.salinity_mixing import Mixture


def as_json(asked: Asked, answered: Answered) -> dict[str, Any]:
    """The answer for programs: SI, degC and mass fractions."""
    match answered:
        case Mixture():
            return _mixture(answered)
        case LiquidRange():
            return _liquid(answered)
        case _:
            return _strength(asked, answered)


def _mixture(mixed: Mixture) -> dict[str, Any]:
    return {
        "mass_fraction": mixed.mass_fraction,
        "salt_kg": mixed.salt_kg,
        "water_kg": mixed.water_kg,
        "water_m3": mixed.water_m3,
        "volume_m3": mixed.brine_m3,
        "temperature_c": mixed.temperature_c,
        "asked": mixed.asks,
    }


def _liquid(liquid: LiquidRange) -> dict[str, Any]:
    bounds = [liquid.least, liquid.most] if liquid.most > 0.0 else None
    return {"temperature_c": liquid.at_c, "liquid_mass_fractions": bounds}


def _strength(asked: Asked, answer: Answer) -> dict[str, Any]:
    found, freezing = answer.found, answer.freezing
    told: dict[str, Any] = {
        "mass_fraction": found.mass_fraction,
        "standard_uncertainty": found.standard_uncertainty,
        "interval_95": list(found.interval_95),
        "bound": found.bound,
        "freezing_point_c": freezing.at_c,
        "freezing_point_c_of_interval": [freezing.at_weak_c, freezing.at_strong_c],
        "first_solid": freezing.solid.value,
        "verdict": answer.verdict,
        "band": [asked.low, asked.high],
    }
    if answer.coldest_c is not None:
        told["margin_k"] = freezing.margin_k
    if answer.witnesses:
        told["witnesses"] = {
            name: {
                "mass_fraction": one.mass_fraction,
                "standard_uncertainty": one.standard_uncertainty,
                "interval_95": list(one.interval_95),
            }
            for name, one in answer.witnesses
        }
        told["disagreement"] = answer.doubt
    if answer.expected is not None:
        told["conductivity_s_per_m"] = answer.expected.conductivity_s_per_m
        told["conductivity_standard_uncertainty_s_per_m"] = (
            answer.expected.conductivity_standard_uncertainty
        )
        told["density_kg_per_m3"] = answer.expected.density_kg_per_m3
        told["specific_gravity"] = answer.expected.mark
        told["specific_gravity_scale"] = asked.scale.name
        told["salometer_degrees"] = answer.expected.salometer
        told["salt_kg_per_m3"] = answer.expected.salt_kg_per_m3
        told["expected_at_c"] = answer.expected.at_c
    if answer.held is not None:
        told["salt_kg"] = answer.held.salt_kg
        told["water_kg"] = answer.held.water_kg
    if answer.add is not None:
        told["add_salt_kg"] = answer.add.salt_kg
        told["add_salt_standard_uncertainty_kg"] = answer.add.salt_standard_uncertainty_kg
        told["add_water_kg"] = answer.add.water_kg
        told["add_water_standard_uncertainty_kg"] = answer.add.water_standard_uncertainty_kg
        told["volume_after_m3"] = answer.add.volume_m3
    if answer.after is not None:
        told["mass_fraction_after"] = answer.after.found.mass_fraction
        told["standard_uncertainty_after"] = answer.after.found.standard_uncertainty
        told["interval_95_after"] = list(answer.after.found.interval_95)
        told["volume_after_m3"] = answer.after.volume_m3
    return told
