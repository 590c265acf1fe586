"""A record's form as the one line that the command and a text take: one grammar for all. Pure."""

from collections.abc import Mapping, Sequence
from typing import Final

KINDS: Final = ("load", "salt", "water", "batch", "settings", "upkeep")
UPKEEP: Final = ("inspection", "cleaning", "calibration", "remark")
_UNITS: Final[Mapping[tuple[str, bool], Sequence[str]]] = {
    ("volume", True): ("gal", "L", "m3"),
    ("volume", False): ("L", "m3", "gal"),
    ("mass", True): ("tons", "lb", "t", "kg"),
    ("mass", False): ("t", "kg", "lb"),
}
_LONGEST_FIELD: Final = 120


def units_of(quantity: str, *, us: bool) -> Sequence[str]:
    """The units that a form offers, the depot's own first."""
    return _UNITS[quantity, us]


def words_of(form: Mapping[str, str]) -> str:
    """The line that these fields make; whether it is a record is for its reader to say."""

    def field(name: str) -> str:
        return " ".join(form.get(name, "")[:_LONGEST_FIELD].split())

    def after(word: str, name: str) -> str:
        return f"{word} {field(name)}" if field(name) else ""

    kind = field("kind")
    amount = f"{field('amount')} {field('unit')}"
    if kind == "load":
        named = (after("truck", "truck"), after("driver", "driver"), after("to", "to"))
        parts = ["load", amount, *named, after("from", "vessel")]
    elif kind in ("salt", "water"):
        parts = [kind, amount]
    elif kind == "batch":
        verdict = "accepted" if field("verdict") == "accepted" else "rejected"
        parts = [verdict, field("vessel"), field("note")]
    elif kind == "settings":
        parts = ["settings", field("vessel"), field("marks")]
    elif kind == "upkeep":
        parts = [field("what"), field("note")]
    else:
        parts = [kind]
    return " ".join(part.strip() for part in parts if part.strip())
