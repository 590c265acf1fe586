"""What to add, what a volume holds, and what an addition does to it, in sentences."""

from brineward.commands.salinity_answer import WATER_ADDED_KG_PER_M3, Answer, Asked
from brineward.commands.salinity_mixing import Afterwards, Mixture
from brineward.commands.salinity_units import Units, between, percent, strength_between
from brineward.physics.hydrometer import SIXTY_FAHRENHEIT_C
from brineward.physics.mixing import Correction
from brineward.physics.salinity import COVERAGE

DRY_AND_PURE = "That is for dry, pure salt: wet or dirty salt takes more."
LITTLE_BY_LITTLE = "Add part of it, blend, test, and add the rest."
ROOM = "See that the tank has room first."


def mixture(mixed: Mixture, asked: Asked, units: Units) -> list[str]:
    """Salt into water: the one of the three that was asked for, and the brine that comes of it."""
    found, given = mixed.asks, units.stated_salt(mixed.salt_kg)
    salt = units.salt(mixed.salt_kg) if found == "salt" else given
    water = (units.amount if found == "water" else units.stated)(mixed.water_m3)
    strength, brine = percent(mixed.mass_fraction), units.amount(mixed.brine_m3)
    told = {
        "salt": f"{salt} of salt into {water} of water makes {brine} of brine of {strength}.",
        "water": f"{water} of water for {salt} of salt makes {brine} of brine of {strength}.",
        "strength": f"{salt} of salt in {water} of water makes brine of {strength}, {brine} of it.",
    }[found]
    return [told, DRY_AND_PURE, *taken_temperature(asked, units)]


def volume(answer: Answer, asked: Asked, units: Units) -> list[str]:
    """What a volume holds, or what is to be added to it, or what was."""
    if answer.held is None or asked.volume_m3 is None:
        return []
    if answer.add is not None and asked.target is not None:
        return _addition(answer.add, answer, asked.volume_m3, asked.target, units)
    if answer.after is not None:
        return _afterwards(answer.after, units)
    water = units.amount(answer.held.water_kg / WATER_ADDED_KG_PER_M3)
    brine = f"{units.stated(asked.volume_m3)} of brine of {percent(answer.found.mass_fraction)}"
    return [f"{brine} holds {units.salt(answer.held.salt_kg)} of salt in {water} of water."]


def taken_temperature(asked: Asked, units: Units) -> list[str]:
    """Which temperature was taken where none was said."""
    if asked.temperature_c is not None:
        return []
    return [f"All at {units.given(SIXTY_FAHRENHEIT_C)}, as no temperature was given."]


def _addition(
    add: Correction, answer: Answer, volume_m3: float, target: float, units: Units
) -> list[str]:
    before = f"the {units.stated(volume_m3)} from {percent(answer.found.mass_fraction)}"
    to = f"{before} to {percent(target)}"
    if add.salt_kg > 0.0:
        off = add.salt_standard_uncertainty_kg
        reach = COVERAGE * off
        ends = between(add.salt_kg - reach, add.salt_kg + reach, off, units.mass)
        salt = f"Add about {units.salt(add.salt_kg, off)} of salt ({ends})"
        return [
            f"{salt}: it brings {to} and makes it {units.amount(add.volume_m3)}.",
            f"{LITTLE_BY_LITTLE} {DRY_AND_PURE} {ROOM}",
        ]
    if add.water_kg > 0.0:
        water = add.water_kg / WATER_ADDED_KG_PER_M3
        off = add.water_standard_uncertainty_kg / WATER_ADDED_KG_PER_M3
        ends = between(water - COVERAGE * off, water + COVERAGE * off, off, units.volume)
        told = f"Add about {units.amount(water, off)} of water ({ends})"
        return [
            f"{told}: it brings {to} and makes it {units.amount(add.volume_m3)}.",
            f"{LITTLE_BY_LITTLE} {ROOM}",
        ]
    return [f"Add nothing: it is at {percent(target)} already."]


def _afterwards(after: Afterwards, units: Units) -> list[str]:
    added = []
    if after.salt_kg > 0.0:
        added.append(f"{units.stated_salt(after.salt_kg)} of salt")
    if after.water_m3 > 0.0:
        added.append(f"{units.stated(after.water_m3)} of water")
    told = (
        f"With {' and '.join(added)} blended in it has about {percent(after.found.mass_fraction)}"
        f" ({strength_between(after.found.interval_95)}), and is {units.amount(after.volume_m3)}."
    )
    return [told, *([DRY_AND_PURE] if after.salt_kg > 0.0 else []), ROOM]
