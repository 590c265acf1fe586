"""Where a brine freezes or drops crystals, and whether it does at a temperature, in sentences."""

from brineward.commands.salinity_answer import Answer, Asked, LiquidRange
from brineward.commands.salinity_units import Units, percent
from brineward.physics.freezing import (
    CRYSTALS_STANDARD_UNCERTAINTY_C,
    FREEZING_STANDARD_UNCERTAINTY_C,
)
from brineward.physics.phase_coefficients import EUTECTIC_C, EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import Solid

OWN_TEMPERATURE = (
    "That is for brine as cold as that itself: pipes and valves get there first, a full tank last."
)


def freezing(answer: Answer, asked: Asked, units: Units) -> str:
    """Where the first ice or crystals come, with the interval where the strength is an estimate."""
    margin = answer.freezing
    at = units.found(margin.at_c)
    if asked.strength is not None:
        brine = f"Brine of {percent(asked.strength)} salt by mass"
        if margin.solid is Solid.ICE:
            return f"{brine} starts to freeze at {at}."
        return f"{brine} drops salt crystals from {at} down, and {_solid(units)}."
    weak, strong = answer.found.interval_95
    if strong <= EUTECTIC_MASS_FRACTION:
        ends = _between(margin.at_strong_c, margin.at_weak_c, units)
        return f"It starts to freeze at about {at}{ends}."
    if weak >= EUTECTIC_MASS_FRACTION:
        ends = _between(margin.at_weak_c, margin.at_strong_c, units)
        return f"It drops salt crystals from about {at} down{ends}, and {_solid(units)}."
    return (
        f"It stays liquid down to about {at}; if it is only {percent(weak)}, it starts to freeze"
        f" at {units.found(margin.at_weak_c)}, and if it is {percent(strong)},"
        f" {_crystals(margin.at_strong_c, asked, units)}."
    )


def frozen(answer: Answer, asked: Asked, coldest_c: float, units: Units) -> list[str]:
    """Yes, no, or perhaps, and why."""
    at = units.given(coldest_c)
    margin = answer.freezing
    weak, strong = answer.found.interval_95
    ends = (margin.at_weak_c, margin.at_c, margin.at_strong_c)
    warmest = max(ends)
    coldest = EUTECTIC_C if weak <= EUTECTIC_MASS_FRACTION <= strong else min(ends)
    ice = margin.solid is Solid.ICE
    doubt = 2.0 * (FREEZING_STANDARD_UNCERTAINTY_C if ice else CRYSTALS_STANDARD_UNCERTAINTY_C)
    if coldest_c < EUTECTIC_C - doubt:
        return [f"Yes, frozen. {_all_frozen(at, units)}", OWN_TEMPERATURE]
    where = freezing(answer, asked, units)
    if coldest_c > warmest + doubt:
        left = units.degrees(coldest_c - warmest)
        worst = "" if warmest == coldest else ", at the worst"
        return [f"No: it is still liquid at {at}. {where} That leaves {left}{worst}."]
    if coldest_c < coldest - doubt:
        if ice:
            return [f"Yes: at {at} it is slush. {where}", OWN_TEMPERATURE]
        crystals = f"Not hard, but at {at} it has salt crystals in it that block screens and pipes."
        return [f"{crystals} {where}", OWN_TEMPERATURE]
    if warmest - coldest <= doubt:
        return [f"It is just at the point of freezing at {at}. {where}", OWN_TEMPERATURE]
    return [f"Perhaps: its strength is not known well enough to tell. {where}", OWN_TEMPERATURE]


def liquid_range(liquid: LiquidRange, units: Units) -> list[str]:
    """Which strengths are liquid at a temperature."""
    at = units.given(liquid.at_c)
    ask = (
        "To know of your brine, ask with its strength or its reading, like"
        f' "is 23.3 % frozen at {at}?".'
    )
    if liquid.most <= 0.0:
        return [_all_frozen(at, units)]
    least, most = _rounded_inwards(liquid)
    if least <= 0.0:
        return [f"Nothing freezes at {at}; up to {most:.1f} % of salt stays dissolved.", ask]
    if least >= most:
        return [f"At {at} only brine of {_best()} is still liquid.", ask]
    told = f"At {at} brine is liquid from {least:.1f} to {most:.1f} % salt by mass: weaker brine"
    return [f"{told} freezes, stronger brine drops salt crystals.", ask]


def _rounded_inwards(liquid: LiquidRange) -> tuple[float, float]:
    """Percent with one decimal, so that neither end promises too much."""
    return -(-liquid.least * 1000.0 // 1.0) / 10.0, liquid.most * 1000.0 // 1.0 / 10.0


def _all_frozen(at: str, units: Units) -> str:
    return (
        f"No salt brine is liquid at {at}: even the best, {_best()}, freezes solid at"
        f" {units.found(EUTECTIC_C)}."
    )


def _best() -> str:
    return percent(EUTECTIC_MASS_FRACTION)


def _solid(units: Units) -> str:
    return f"freezes solid at {units.found(EUTECTIC_C)}"


def _between(low_c: float, high_c: float, units: Units) -> str:
    low, high = units.found(low_c), units.found(high_c)
    if low == high:
        return ""
    return f" (between {low.removesuffix(f' {units.temperature.name}')} and {high})"


def _crystals(at_c: float, asked: Asked, units: Units) -> str:
    if asked.temperature_c is not None and at_c > asked.temperature_c - 1.0:
        return "it is as full of salt as it can be"
    return f"it drops salt crystals from {units.found(at_c)} down"
