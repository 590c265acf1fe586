"""An answer about strength in plain sentences, in the asker's units."""

from math import floor, log10

from brineward.commands import salinity_freezing_lines, salinity_mixing_lines
from brineward.commands.salinity_answer import Answer, Answered, Asked, Expected, LiquidRange
from brineward.commands.salinity_mixing import Mixture
from brineward.commands.salinity_units import Units, percent, strength_between
from brineward.physics.salinity import COVERAGE
from brineward.physics.witness import Culprit

_LIKELIER: dict[Culprit, str] = {
    "conductivity-low": "the conductivity probe is fouled or in air, and reads low",
    "conductivity-high": "the conductivity probe reads high",
    "thermometer": "the thermometer is off",
    "pressure": "a pressure probe's zero has moved",
    "density-meter": "the density meter is off, by gas or deposit",
    "test": "the hydrometer was misread, or its sample had another temperature",
}


def lines(asked: Asked, answered: Answered, units: Units) -> list[str]:
    """The answer as sentences, the most wanted first."""
    match answered:
        case Mixture():
            return salinity_mixing_lines.mixture(answered, asked, units)
        case LiquidRange():
            return salinity_freezing_lines.liquid_range(answered, units)
        case _:
            return _strength_lines(asked, answered, units)


def _strength_lines(asked: Asked, answer: Answer, units: Units) -> list[str]:
    told: list[str] = []
    if asked.strength is None:
        told += _strength(answer)
    added = salinity_mixing_lines.volume(answer, asked, units)
    told += added
    if answer.expected is not None and asked.temperature_c is not None:
        told += [_probe(answer.expected, units), f"A {_by_weight(answer.expected, asked, units)}"]
    if answer.coldest_c is not None:
        answered = salinity_freezing_lines.frozen(answer, asked, answer.coldest_c, units)
        told = [*answered, *told] if asked.strength is not None else [*told, *answered]
    elif not (added and asked.strength is not None):
        told.append(salinity_freezing_lines.freezing(answer, asked, units))
    if asked.strength is None or not (added or answer.coldest_c is not None):
        told.append(f"Verdict: {answer.verdict}.")
    if answer.expected is not None and asked.temperature_c is None:
        at = units.given(answer.expected.at_c)
        told.append(f"At {at} a {_by_weight(answer.expected, asked, units)}")
    if added:
        told += salinity_mixing_lines.taken_temperature(asked, units)
    return told + _assumed(asked, answer, units)


def _strength(answer: Answer) -> list[str]:
    found = answer.found
    line = {
        "saturation": " The reading lies a little beyond saturation.",
        "ice": " The reading lies a little below what is liquid there.",
        "": "",
    }[found.bound]
    strength = f"The brine has {percent(found.mass_fraction)} salt by mass"
    told = [f"{strength}: {strength_between(found.interval_95)}, 19 times in 20.{line}"]
    told += [
        f"By {name} alone {percent(one.mass_fraction)}: {strength_between(one.interval_95)}."
        for name, one in answer.witnesses
    ]
    if answer.culprit is not None:
        told.append(
            f"They disagree by more than they should. Likelier: {_LIKELIER[answer.culprit]}."
        )
    return told


def _probe(expected: Expected, units: Units) -> str:
    unit = units.conductivity
    off = unit.from_si(expected.conductivity_standard_uncertainty)
    decimals = min(3, max(0, -floor(log10(off)))) if off > 0.0 else 1
    level = unit.from_si(expected.conductivity_s_per_m)
    low, high = level - COVERAGE * off, level + COVERAGE * off
    return (
        f"At {units.given(expected.at_c)} a probe should read about {level:,.{decimals}f}"
        f" {unit.name}: between {max(0.0, low):,.{decimals}f} and {high:,.{decimals}f}, 19 times in"
        " 20."
    )


def _by_weight(expected: Expected, asked: Asked, units: Units) -> str:
    unit = units.density
    finest = {"kg/m3": 0, "lb/gal": 2}.get(unit.name, 3)
    whole = unit.from_si(expected.density_kg_per_m3)
    salt = unit.from_si(expected.salt_kg_per_m3)
    return (
        f"hydrometer ({asked.scale.name}) should show {expected.mark:.3f}, a salometer"
        f" {expected.salometer:.0f} degrees; it weighs {whole:,.{finest}f} {unit.name},"
        f" {salt:,.{finest}f} of that salt."
    )


def _assumed(asked: Asked, answer: Answer, units: Units) -> list[str]:
    """How good each reading was taken to be, as plus or minus."""
    taken = []
    if asked.conductivity_s_per_m is not None:
        taken.append(f"the probe to {COVERAGE * asked.probe_relative * 100:.1g} %")
    if asked.mark is not None:
        taken.append(f"the hydrometer to {COVERAGE * asked.mark_off:.1g}")
    if asked.salometer is not None:
        degrees = f"{COVERAGE * asked.salometer_off:.1g}"
        taken.append(f"the salometer to {degrees} {'degree' if degrees == '1' else 'degrees'}")
    if asked.density_kg_per_m3 is not None:
        off = units.density.difference_from_si(COVERAGE * asked.density_off)
        taken.append(f"the density to {off:.1g} {units.density.name}")
    if taken:
        taken.append(f"the thermometer to {units.degrees(COVERAGE * asked.thermometer_k)}")
    elif answer.add is not None or answer.after is not None:
        taken.append(f"the strength given to {COVERAGE * asked.strength_off * 100:.1g} %")
    if not taken:
        return []
    listed = taken[0] if len(taken) == 1 else f"{', '.join(taken[:-1])} and {taken[-1]}"
    return [f"This trusts {listed} (19 times in 20)."]
