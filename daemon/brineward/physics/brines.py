"""Brines by name: sodium chloride is converted, the others are known and refused."""

SODIUM_CHLORIDE = "sodium chloride"

_SPELLINGS = {
    "sodium chloride": SODIUM_CHLORIDE,
    "nacl": SODIUM_CHLORIDE,
    "salt brine": SODIUM_CHLORIDE,
    "rock salt": SODIUM_CHLORIDE,
    "halite": SODIUM_CHLORIDE,
    "calcium chloride": "calcium chloride",
    "cacl2": "calcium chloride",
    "magnesium chloride": "magnesium chloride",
    "mgcl2": "magnesium chloride",
    "potassium chloride": "potassium chloride",
    "kcl": "potassium chloride",
    "potassium acetate": "potassium acetate",
    "calcium magnesium acetate": "calcium magnesium acetate",
    "cma": "calcium magnesium acetate",
    "blend": "blend",
    "mixed chlorides": "blend",
}

KNOWN = tuple(dict.fromkeys(_SPELLINGS.values()))


class NotSodiumChloride(ValueError):
    """A brine that is not sodium chloride was asked to be converted; the operator must act."""


def brine_named(name: str) -> str:
    """The brine's one name here, from any usual spelling of it.

    Raises: NotSodiumChloride for a name that is not known.
    """
    known = _SPELLINGS.get(" ".join(name.lower().replace("-", " ").split()))
    if known is None:
        raise NotSodiumChloride(
            f"{name!r} is not a brine known here; expected one of {', '.join(KNOWN)}"
        )
    return known


def refuse_other_brines(name: str) -> None:
    """Return for sodium chloride alone: no other brine is converted with its tables.

    Raises: NotSodiumChloride, naming the brine and what can still be had from its sensors.
    """
    brine = brine_named(name)
    if brine != SODIUM_CHLORIDE:
        raise NotSodiumChloride(
            f"{brine} has other conductivity, density and freezing tables than sodium chloride, and"
            " none are here: its readings are kept as they are, and no strength is worked out"
        )
