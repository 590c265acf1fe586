"""An answer about strength in plain sentences, in the units of whoever asked, or as JSON."""

from dataclasses import dataclass
from typing import Any

from brineward.commands.salinity_answer import Answer, Asked, Expected
from brineward.physics.mixing import Correction
from brineward.quantities import format_quantity, unit_named
from brineward.quantities.units import Unit

LIQUID_KG_PER_L = 0.998
"""Water at about 20 degC, for telling litres of water to add (Kell 1975)."""


_TEMPERATURE = unit_named("degC")
_CONDUCTIVITY = unit_named("mS/cm")
_VOLUME = unit_named("L")
_MASS = unit_named("kg")
_DENSITY = unit_named("kg/m3")


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """What to answer in."""

    temperature: Unit = _TEMPERATURE
    conductivity: Unit = _CONDUCTIVITY
    volume: Unit = _VOLUME
    mass: Unit = _MASS
    density: Unit = _DENSITY


def lines(asked: Asked, answer: Answer, units: Units) -> list[str]:
    """The answer as sentences."""
    told = [_strength(answer, asked)]
    told += [
        f"By {name} alone: {one.mass_fraction * 100:.1f} %, {_between(one.interval_95)}."
        for name, one in answer.witnesses
    ]
    if answer.doubt:
        told.append(f"They disagree: {answer.doubt}.")
    if answer.expected is not None and asked.temperature_c is not None:
        told += _expected(answer.expected, asked.temperature_c, asked.scale.name, units)
    told += _volume(answer, asked, units)
    told.append(_freezing(answer, asked, units))
    told.append(f"Verdict: {answer.verdict}.")
    told += _assumed(asked, units)
    return told


def as_json(asked: Asked, answer: Answer) -> dict[str, Any]:
    """The answer for programs: SI, degC and mass fractions."""
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
    if asked.coldest_c is not None:
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
    if answer.held is not None:
        told["salt_kg"] = answer.held.salt_kg
        told["water_kg"] = answer.held.water_kg
    if answer.add is not None:
        told["add_salt_kg"] = answer.add.salt_kg
        told["add_salt_standard_uncertainty_kg"] = answer.add.salt_standard_uncertainty_kg
        told["add_water_kg"] = answer.add.water_kg
        told["add_water_standard_uncertainty_kg"] = answer.add.water_standard_uncertainty_kg
        told["volume_after_m3"] = answer.add.volume_m3
    return told


def _between(interval: tuple[float, float]) -> str:
    return f"between {interval[0] * 100:.1f} and {interval[1] * 100:.1f} % (95 %)"


def _strength(answer: Answer, asked: Asked) -> str:
    found = answer.found
    held = {
        "saturation": " The reading lies past saturation by less than its uncertainty.",
        "ice": " The reading lies under the ice line by less than its uncertainty.",
        "": "",
    }[found.bound]
    told = f"{found.mass_fraction * 100:.1f} % sodium chloride by mass"
    if asked.strength is not None and answer.held is None:
        return told + "."
    return f"{told}, {_between(found.interval_95)}.{held}"


def _expected(expected: Expected, at_c: float, scale: str, units: Units) -> list[str]:
    reach = 1.96 * expected.conductivity_standard_uncertainty
    low, high = expected.conductivity_s_per_m - reach, expected.conductivity_s_per_m + reach
    at = format_quantity(at_c, units.temperature)
    decimals = 1 if units.conductivity.name == "mS/cm" else 2
    probe = (
        f"At {at} the probe should read"
        f" {format_quantity(expected.conductivity_s_per_m, units.conductivity, decimals=decimals)},"
        f" between {units.conductivity.from_si(low):.{decimals}f} and"
        f" {units.conductivity.from_si(high):.{decimals}f} (95 %, the curve's own uncertainty)."
    )
    others = (
        f"A hydrometer ({scale}) should show {expected.mark:.4f}, a salometer"
        f" {expected.salometer:.1f}; the density is"
        f" {format_quantity(expected.density_kg_per_m3, units.density)}."
    )
    return [probe, others]


def _volume(answer: Answer, asked: Asked, units: Units) -> list[str]:
    if answer.held is None or asked.volume_m3 is None or answer.taken_temperature_c is None:
        return []
    at = format_quantity(answer.taken_temperature_c, units.temperature)
    said = "" if asked.temperature_c is not None else " (taken as its temperature)"
    held = (
        f"{format_quantity(asked.volume_m3, units.volume, decimals=0)} at {at}{said} hold"
        f" {format_quantity(answer.held.salt_kg, units.mass, decimals=0)} of salt in"
        f" {format_quantity(answer.held.water_kg, units.mass, decimals=0)} of water."
    )
    if answer.add is None or asked.target is None:
        return [held]
    return [held, _addition(answer.add, f"{asked.target * 100:.1f} %", units)]


def _addition(add: Correction, target: str, units: Units) -> str:
    after = format_quantity(add.volume_m3, units.volume, decimals=0)
    if add.salt_kg > 0.0:
        off = units.mass.from_si(1.96 * add.salt_standard_uncertainty_kg)
        return (
            f"{format_quantity(add.salt_kg, units.mass, decimals=0)} of dry salt"
            f" (give or take {off:,.0f}) bring it to {target}; it is then {after}."
            " Add a part, blend, test, and add the rest."
        )
    if add.water_kg > 0.0:
        water_m3 = add.water_kg / LIQUID_KG_PER_L / 1000.0
        off_m3 = 1.96 * add.water_standard_uncertainty_kg / LIQUID_KG_PER_L / 1000.0
        return (
            f"{format_quantity(water_m3, units.volume, decimals=0)} of water"
            f" (give or take {units.volume.from_si(off_m3):,.0f}) bring it to {target};"
            f" it is then {after}. See that the tank has room first."
        )
    return f"It is at {target} already."


def _freezing(answer: Answer, asked: Asked, units: Units) -> str:
    freezing = answer.freezing
    solid = {"ice": "Ice", "hydrohalite": "Crystals (hydrohalite)", "halite": "Crystals (halite)"}
    told = (
        f"{solid[freezing.solid.value]} come{'s' if freezing.solid.value == 'ice' else ''} out"
        f" from {format_quantity(freezing.at_c, units.temperature)}"
    )
    low, high = answer.found.interval_95
    if high - low > 1e-6:
        told += (
            f" (at {low * 100:.1f} %: {format_quantity(freezing.at_weak_c, units.temperature)},"
            f" at {high * 100:.1f} %: {format_quantity(freezing.at_strong_c, units.temperature)})"
        )
    if asked.coldest_c is None:
        return told + "."
    margin = abs(units.temperature.difference_from_si(freezing.margin_k))
    side = "above" if freezing.margin_k >= 0.0 else "BELOW"
    coldest = format_quantity(asked.coldest_c, units.temperature)
    return f"{told}; {coldest} is {margin:.1f} degrees {side} the warmest of these."


def _assumed(asked: Asked, units: Units) -> list[str]:
    assumed = []
    if asked.conductivity_s_per_m is not None:
        assumed.append(f"probe {asked.probe_relative * 100:g} %")
    if asked.mark is not None:
        assumed.append(f"hydrometer {asked.mark_off:g}")
    if asked.salometer is not None:
        assumed.append(f"salometer {asked.salometer_off:g} degrees")
    if asked.density_kg_per_m3 is not None:
        assumed.append(f"density {format_quantity(asked.density_off, units.density)}")
    if assumed:
        kelvin = units.temperature.difference_from_si(asked.thermometer_k)
        assumed.append(f"thermometer {kelvin:.2g} {units.temperature.name}")
    elif asked.volume_m3 is not None:
        assumed.append(f"strength {asked.strength_off * 100:g} %")
    return [f"Standard uncertainties taken: {', '.join(assumed)}."] if assumed else []
