"""The flags of `brineward salinity`: their texts as values in SI, and the units of the answer."""

from dataclasses import replace

from brineward.commands.salinity_answer import Asked, Misasked
from brineward.commands.salinity_units import Units
from brineward.physics.hydrometer import USUAL_SCALE, scale_named
from brineward.quantities import (
    parse_difference,
    parse_number,
    parse_quantity,
    unit_named,
    unit_written,
)

FLAGS = (
    ("conductivity", "what the probe reads", "172 mS/cm"),
    ("temperature", "the brine's temperature at the reading", "9.5 degC"),
    ("hydrometer", "specific gravity as shown, at the sample's own temperature", "1.171"),
    ("scale", f"of the hydrometer; {USUAL_SCALE.name} unless said", "20/20 degC"),
    ("salometer", "salometer degrees as shown", "85"),
    ("density", "what a density meter reads", "1176 kg/m3"),
    ("strength", "sodium chloride by mass", "23.3 %"),
    ("volume", "how much brine there is", "1,900 gal"),
    ("target", "the strength that is wanted", "23.3 %"),
    ("water", "how much fresh water there is to make brine of, or is added", "1,000 gal"),
    ("salt", "how much dry salt there is to make brine of, or is added", "2,000 lb"),
    ("coldest", "the coldest temperature to come", "-15 degC"),
    ("low", "low end of the band", "22 %"),
    ("high", "high end of the band", "25 %"),
    ("brine", "what is dissolved; only sodium chloride is converted", "sodium chloride"),
    ("probe-uncertainty", "standard uncertainty of the probe, of its reading", "1 %"),
    ("thermometer-uncertainty", "standard uncertainty of the thermometer", "0.3 degC"),
    ("hydrometer-uncertainty", "standard uncertainty of the mark as read", "0.001"),
    ("salometer-uncertainty", "standard uncertainty of the degrees as read", "0.5"),
    ("density-uncertainty", "standard uncertainty of the density meter", "1 kg/m3"),
    ("strength-uncertainty", "standard uncertainty of a strength given", "0.3 %"),
)
DEFAULTED = frozenset(
    name for name, _, _ in FLAGS if name.endswith("uncertainty") or name in ("low", "high")
)
_QUANTITY_OF = {
    "temperature": "temperature",
    "coldest": "temperature",
    "conductivity": "conductivity",
    "density": "density",
    "volume": "volume",
    "water": "volume",
    "salt": "mass",
}
_US = frozenset(("degF", "gal", "ft3", "lb", "short ton", "lb/gal"))
_SI_VOLUMES = frozenset(("L", "m3", "mL"))
_SI = _SI_VOLUMES | {"degC", "K", "kg", "t"}


def asked_for(texts: dict[str, str], in_words: frozenset[str] = frozenset()) -> Asked:
    """The texts of the flags as values in SI; `in_words` are those that a question gave.

    Raises: Misasked; UnreadableQuantity.
    """

    def place(name: str) -> str:
        return "" if name in in_words else f"--{name}"

    def quantity(name: str, expected: str, default: float | None = None) -> float | None:
        if name not in texts:
            return default
        return parse_quantity(texts[name], expected=expected, where=place(name))

    def off(name: str, expected: str, default: float) -> float:
        if name not in texts:
            return default
        value = parse_difference(texts[name], expected=expected, where=place(name))
        return _not_negative(name, texts[name], value)

    def number(name: str) -> float | None:
        return parse_number(texts[name], where=place(name)) if name in texts else None

    def number_off(name: str, default: float) -> float:
        value = number(name)
        return default if value is None else _not_negative(name, texts[name], value)

    try:
        scale = scale_named(texts["scale"]) if "scale" in texts else USUAL_SCALE
    except ValueError as unknown:
        raise Misasked(f"--scale: {unknown}") from unknown
    usual = Asked()
    low = quantity("low", "ratio", usual.low)
    high = quantity("high", "ratio", usual.high)
    if low is None or high is None or not 0.0 <= low < high <= 1.0:
        raise Misasked("--low must be under --high, both from 0 to 100 %")
    return Asked(
        temperature_c=quantity("temperature", "temperature"),
        conductivity_s_per_m=quantity("conductivity", "conductivity"),
        density_kg_per_m3=quantity("density", "density"),
        mark=number("hydrometer"),
        scale=scale,
        salometer=number("salometer"),
        strength=quantity("strength", "ratio"),
        volume_m3=quantity("volume", "volume"),
        target=quantity("target", "ratio"),
        water_m3=quantity("water", "volume"),
        salt_kg=quantity("salt", "mass"),
        coldest_c=quantity("coldest", "temperature"),
        low=low,
        high=high,
        brine=texts.get("brine", usual.brine),
        probe_relative=off("probe-uncertainty", "ratio", usual.probe_relative),
        thermometer_k=off("thermometer-uncertainty", "temperature", usual.thermometer_k),
        mark_off=number_off("hydrometer-uncertainty", usual.mark_off),
        salometer_off=number_off("salometer-uncertainty", usual.salometer_off),
        density_off=off("density-uncertainty", "density", usual.density_off),
        strength_off=off("strength-uncertainty", "ratio", usual.strength_off),
    )


def _not_negative(name: str, text: str, value: float) -> float:
    if value < 0.0:
        raise Misasked(f"--{name}: {text!r} is below 0, and an uncertainty can't be")
    return value


def units_of(texts: dict[str, str], side: str) -> Units:
    """The units that the question was written in, or those of the side that was asked for.

    `side` is "us", "si", or empty: then each is answered as it was written, and the rest as that.
    Raises: UnreadableQuantity.
    """
    written = {
        name: unit_written(texts[name], expected=quantity)
        for name, quantity in _QUANTITY_OF.items()
        if name in texts
    }
    names = {unit.name for unit in written.values()}
    us = side == "us" or (side == "" and bool(names & _US) and not names & _SI_VOLUMES)
    told = bool(side) or bool(names & (_US | _SI))
    usual = Units(
        temperature=unit_named("degF" if us else "degC"),
        and_fahrenheit=not told,
        volume=unit_named("gal" if us else "L"),
        mass=unit_named("lb" if us else "kg"),
        density=unit_named("lb/gal" if us else "kg/m3"),
    )
    if side:
        return usual
    return replace(
        usual,
        temperature=written.get("temperature") or written.get("coldest") or usual.temperature,
        conductivity=written.get("conductivity") or usual.conductivity,
        volume=written.get("volume") or written.get("water") or usual.volume,
        density=written.get("density") or usual.density,
    )
