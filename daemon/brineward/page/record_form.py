"""A record's form as the one line that the command and a text take: one grammar for all, and what
is refused of it in the form's own words. Pure."""

from collections.abc import Mapping, Sequence
from typing import Final

from brineward.page.words import say

KINDS: Final = ("load", "salt", "water", "batch", "settings", "upkeep")
UPKEEP: Final = ("inspection", "cleaning", "calibration", "remark")
_UNITS: Final[Mapping[tuple[str, bool], Sequence[str]]] = {
    ("volume", True): ("gal", "L", "m3"),
    ("volume", False): ("L", "m3", "gal"),
    ("mass", True): ("tons", "lb", "t", "kg"),
    ("mass", False): ("t", "kg", "lb"),
}
_AMOUNTS: Final = ("load", "salt", "water")
_NUMBER_SIGNS: Final = frozenset("0123456789.,")
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


def refusal_of(form: Mapping[str, str], fault: str) -> str:
    """What is wrong with these fields, by the names that the form gives them; `fault` is the
    grammar's (`brineward.decode.by_hand.Fault`)."""
    kind, amount = form.get("kind", ""), form.get("amount", "")[:_LONGEST_FIELD].strip()
    if kind in _AMOUNTS and not _NUMBER_SIGNS.issuperset(amount):
        fault = "number"
    if fault == "size":
        typed = f"{amount} {form.get('unit', '')[:_LONGEST_FIELD]}"
        what = say(f"record.kind_{kind}")
        return say("record.wrong_size", typed=typed, kind=f"{what[:1].lower()}{what[1:]}")
    if fault == "words" and kind != "load":
        return say("refused.form")
    return say(f"record.wrong_{fault}", amount=say("record.amount"), note=say("record.note"))
