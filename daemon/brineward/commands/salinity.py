"""`brineward salinity`: strength from a reading, a reading from strength, what to add."""

import argparse
import json
import sys

from brineward.commands import salinity_lines
from brineward.commands.salinity_answer import Answer, Asked, Misasked, answer
from brineward.commands.salinity_question import EXAMPLES, UnreadQuestion, read_question
from brineward.physics.brines import NotSodiumChloride
from brineward.physics.hydrometer import USUAL_SCALE, scale_named
from brineward.physics.refusals import NotBrine
from brineward.quantities import (
    UnreadableQuantity,
    parse_difference,
    parse_number,
    parse_quantity,
    unit_named,
    unit_written,
)
from brineward.quantities.units import Unit

GOOD, NO_BRINE, MISASKED = 0, 1, 2

_FLAGS = (
    ("conductivity", "what the probe reads", "172 mS/cm"),
    ("temperature", "the brine's temperature at the reading", "9.5 degC"),
    ("hydrometer", "specific gravity as shown, at the sample's own temperature", "1.171"),
    ("scale", f"of the hydrometer; {USUAL_SCALE.name} unless said", "20/20 degC"),
    ("salometer", "salometer degrees as shown", "85"),
    ("density", "what a density meter reads", "1176 kg/m3"),
    ("strength", "sodium chloride by mass", "23.3 %"),
    ("volume", "how much brine there is", "1,900 gal"),
    ("target", "the strength that the volume is to have", "23.3 %"),
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
_DEFAULTED = frozenset(
    name for name, _, _ in _FLAGS if name.endswith("uncertainty") or name in ("low", "high")
)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `salinity` to the command line."""
    parser = subparsers.add_parser(
        "salinity",
        help="strength from a reading, a reading from strength, or what to add",
        description="Answers in plain sentences, with the interval that the reading allows. Ask"
        " with flags or in words: " + "; ".join(f'"{example}"' for example in EXAMPLES) + ".",
        epilog="Below zero, put a space before the unit or an equals sign before the number:"
        ' --temperature "-5 degC", --temperature=-5C.',
    )
    parser.add_argument("question", nargs="*", metavar="QUESTION", help="a question in plain words")
    for name, what, example in _FLAGS:
        default = "unless said" if name in _DEFAULTED else "such as"
        shown = f'{what}, {default} "{example}"'.replace("%", "%%")
        parser.add_argument(f"--{name}", metavar="TEXT", help=shown)
    parser.add_argument("--units", choices=("si", "us"), help="answer in these units")
    parser.add_argument("--json", action="store_true", help="one JSON object, for programs")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Answer; 0, or 1 where the reading is no brine, or 2 where the question can't be read."""
    try:
        texts = _texts(arguments)
        asked = _asked(texts)
        found = answer(asked)
    except NotBrine as refusal:
        return _refuse(arguments, refusal.sentence, NO_BRINE, reason=refusal.reason)
    except NotSodiumChloride as refusal:
        return _refuse(arguments, str(refusal), NO_BRINE, reason="other-brine")
    except (UnreadQuestion, UnreadableQuantity, Misasked) as mistake:
        return _refuse(arguments, str(mistake), MISASKED, reason="misasked")
    except ValueError as outside:  # the physics: outside the range that is known
        return _refuse(arguments, str(outside), NO_BRINE, reason="out-of-range")
    _tell(arguments, asked, found, texts)
    return GOOD


def _tell(
    arguments: argparse.Namespace, asked: Asked, found: Answer, texts: dict[str, str]
) -> None:
    if arguments.json:
        print(json.dumps(salinity_lines.as_json(asked, found), allow_nan=False))
        return
    units = _units(texts, arguments.units)
    print("\n".join(salinity_lines.lines(asked, found, units)))


def _refuse(arguments: argparse.Namespace, sentence: str, code: int, *, reason: str) -> int:
    if arguments.json:
        print(json.dumps({"error": sentence, "reason": reason}))
    else:
        print(sentence, file=sys.stderr)
    return code


def _texts(arguments: argparse.Namespace) -> dict[str, str]:
    """What was written, flag by flag; a question in words fills the flags it holds."""
    words = " ".join(arguments.question)
    texts = read_question(words) if words else {}
    for name, _, _ in _FLAGS:
        written = getattr(arguments, name.replace("-", "_"))
        if written is not None and name in texts:
            raise Misasked(f"--{name} is in the question as well: {texts[name]!r}")
        if written is not None:
            texts[name] = written
    return texts


def _asked(texts: dict[str, str]) -> Asked:
    """The texts as values in SI."""

    def quantity(name: str, expected: str, default: float | None = None) -> float | None:
        if name not in texts:
            return default
        return parse_quantity(texts[name], expected=expected, where=f"--{name}")

    def off(name: str, expected: str, default: float) -> float:
        if name not in texts:
            return default
        value = parse_difference(texts[name], expected=expected, where=f"--{name}")
        return _not_negative(name, texts[name], value)

    def number(name: str) -> float | None:
        return parse_number(texts[name], where=f"--{name}") if name in texts else None

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


def _units(texts: dict[str, str], asked: str | None) -> salinity_lines.Units:
    """The units that the question was written in, or those that were asked for."""
    if asked == "us":
        return salinity_lines.Units(
            temperature=unit_named("degF"),
            volume=unit_named("gal"),
            mass=unit_named("lb"),
            density=unit_named("lb/gal"),
        )
    usual = salinity_lines.Units()
    if asked == "si":
        return usual
    volume = _unit(texts, "volume", "volume") or usual.volume
    return salinity_lines.Units(
        temperature=_unit(texts, "temperature", "temperature")
        or _unit(texts, "coldest", "temperature")
        or (unit_named("degF") if volume.name == "gal" else usual.temperature),
        conductivity=_unit(texts, "conductivity", "conductivity") or usual.conductivity,
        volume=volume,
        mass=unit_named("lb" if volume.name in ("gal", "ft3") else "kg"),
        density=_unit(texts, "density", "density") or usual.density,
    )


def _unit(texts: dict[str, str], name: str, expected: str) -> Unit | None:
    return unit_written(texts[name], expected=expected) if name in texts else None
