"""A question in plain words split into its pieces: quantities, bare numbers, and words.

Nothing is skipped but punctuation: a sign or a unit that is not known is asked back.
"""

import re
from dataclasses import dataclass
from typing import Literal

from brineward.physics.hydrometer import SCALES
from brineward.quantities import spellings, unit_named

LONGEST = 500

Kind = Literal["word", "number", "quantity", "scale"]


class UnreadQuestion(ValueError):
    """A question that can't be taken without guessing; whoever asked must ask otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One piece of a question."""

    kind: Kind
    text: str
    """A word in small letters; a quantity as `brineward.quantities` reads it; a bare number."""
    quantity: str = ""
    """What a quantity is one of; "degrees" where the letter is missing, "salometer", "gravity"."""
    note: str = ""
    """What was taken for granted in reading it."""


_PLAINER = {
    "−": "-",  # noqa: RUF001 - a typeset minus sign
    "–": "-",  # noqa: RUF001 - a typeset range, or a minus sign of word processors
    "—": " ",
    "’": "'",  # noqa: RUF001 - a typeset apostrophe
    "º": "°",
    "˚": "°",
    "℃": "°C",
    "℉": "°F",
    "％": "%",  # noqa: RUF001 - a wide sign of some keyboards
    "₂": "2",
    "@": " at ",
    "&": " and ",
}
_SKIPPED = re.compile(r"[\s,;:?!()\"'=~]+|\.(?!\d)|(?<=[^\W\d_])-(?=[^\W\d_])")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:,\d+)*(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_SCALE = re.compile(
    r"(?P<scale>" + "|".join(scale.name.split(" ", maxsplit=1)[0] for scale in SCALES) + r")"
    r"(?![\d/.])(?:\s*(?:deg|°)?\s*[CF]\b)?"
)
_WORD = re.compile(r"[^\W\d_]\w*(?:['/][^\W\d_]\w*)*")
_GAP = r"(?:\s*|-(?=[A-Za-z]))"
_SALOMETER = re.compile(
    _GAP + r"(?:°|%|percent\b|degrees?\b|deg\b\.?)?\s*(?:salometer|salimeter|sal)s?\b",
    re.IGNORECASE,
)
_GRAVITY = re.compile(_GAP + r"(?:s\.?g\b\.?|specific\s+gravity\b)", re.IGNORECASE)
_CONDUCTANCE = re.compile(_GAP + r"(?P<unit>mS|ms|MS|uS|us|µS|μS|millisiemens)(?![\w/]|\s+per\b)")
_DEGREES = re.compile(_GAP + r"(?:°|degrees?\b|deg\b\.?)", re.IGNORECASE)
_TONS = re.compile(_GAP + r"tons?\b", re.IGNORECASE)
_NO_UNITS = frozenset(("1", "/", "/100", "in", "d", "h", "s", "A", "W"))
"""Names of units that are more often words, or no unit that a question about strength has."""


def _unit_pattern() -> re.Pattern[str]:
    """A unit of the catalogue; single letters only as they are written."""
    usable = [name for name in spellings() if name not in _NO_UNITS]
    long = "|".join(re.escape(name) for name in usable if len(name) > 1)
    short = "|".join(re.escape(name) for name in usable if len(name) == 1)
    degrees = r"(?:°|deg\.?|degrees?)\s*[CFcf]"
    return re.compile(rf"{_GAP}(?P<unit>{degrees}|(?i:{long})|{short}|f|c)(?![\w/])")


_UNIT = _unit_pattern()


def pieces_of(question: str) -> list[Piece]:
    """The pieces of a question in their order.

    Raises: UnreadQuestion for a sign or a unit that is not known, for a range, for a question of
        more than 500 characters.
    """
    if len(question) > LONGEST:
        raise UnreadQuestion(f"That is too long for a question: {LONGEST} characters at most.")
    text = plainer(question)
    text = re.sub(r"\b(?:minus|negative)\s+(?=[\d.])", "-", text, flags=re.IGNORECASE)
    found: list[Piece] = []
    at = 0
    while at < len(text):
        if skipped := _SKIPPED.match(text, at):
            at = skipped.end()
            continue
        piece, at = _piece(text, at)
        found.append(piece)
    return found


def plainer(question: str) -> str:
    """The same with one sign for the same thing, and "w/" written out."""
    text = "".join(_PLAINER.get(sign, sign) for sign in question)
    return re.sub(r"\bw/(?=\s)", "with", text, flags=re.IGNORECASE)


def words_of(question: str) -> list[str]:
    """Every word in small letters, whatever it is stuck to: for what must not be overlooked."""
    return re.findall(r"[^\W\d_][^\W_]*", plainer(question).lower())


def _piece(text: str, at: int) -> tuple[Piece, int]:
    if scale := _SCALE.match(text, at):
        return Piece(kind="scale", text=scale["scale"]), scale.end()
    if number := _NUMBER.match(text, at):
        before = text[at - 1 : at]
        if before.isalnum():
            raise UnreadQuestion(_range_or_sign(text, at))
        return _numbered(text, number)
    if word := _WORD.match(text, at):
        return Piece(kind="word", text=word.group().lower()), word.end()
    raise UnreadQuestion(_range_or_sign(text, at))


def _range_or_sign(text: str, at: int) -> str:
    if text[at] in "+-" and text[at - 1 : at].isalnum():
        return "I can't answer for a range: ask about one number at a time."
    if re.match(r"-\s+[\d.]", text[at:]):
        return 'Write a minus sign right before its number, as in "-10 F".'
    return f"I can't read {text[at]!r} in that question."


def _numbered(text: str, number: re.Match[str]) -> tuple[Piece, int]:
    """The piece that begins with this number, with the unit that follows it."""
    at, digits = number.end(), number.group()
    if taken := _SALOMETER.match(text, at):
        return Piece(kind="quantity", text=digits, quantity="salometer"), taken.end()
    if taken := _GRAVITY.match(text, at):
        return Piece(kind="quantity", text=digits, quantity="gravity"), taken.end()
    if taken := _CONDUCTANCE.match(text, at):
        return _conductance(digits, taken["unit"]), taken.end()
    if taken := _UNIT.match(text, at):
        return _with_unit(digits, taken["unit"]), taken.end()
    if taken := _DEGREES.match(text, at):
        return Piece(kind="quantity", text=digits, quantity="degrees"), taken.end()
    if _TONS.match(text, at):
        raise UnreadQuestion(
            f'"{digits} tons" can be two things: write "short tons" (2,000 lb) or "t" (1,000 kg).'
        )
    attached = re.match(r"[^\s,;:?!().+-]+", text[at:])
    if attached:
        shown = repr(attached.group()[:20])
        raise UnreadQuestion(f"I don't know the unit {shown} after {digits[:20]}.")
    if re.match(r"-\s*\d", text[at:]):
        raise UnreadQuestion(_range_or_sign(text, at))
    return Piece(kind="number", text=digits), at


def _with_unit(digits: str, unit: str) -> Piece:
    name = unit.upper() if unit in ("f", "c") else unit
    if re.search(r"[°.]|deg", name):
        name = "deg" + name.strip()[-1].upper() if name[-1] in "cfCF" else name
    return Piece(kind="quantity", text=f"{digits} {name}", quantity=unit_named(name).quantity)


def _conductance(digits: str, unit: str) -> Piece:
    full = "uS/cm" if unit[0] in "uµμ" else "mS/cm"
    return Piece(
        kind="quantity",
        text=f"{digits} {full}",
        quantity="conductivity",
        note=f"{digits} {unit} is taken as {digits} {full}.",
    )
