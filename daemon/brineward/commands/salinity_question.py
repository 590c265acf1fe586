"""A question in plain words, such as "what is 172 mS/cm at 9.5 degC?", taken for its flags."""

import re

from brineward.physics.hydrometer import SCALES
from brineward.quantities import spellings, unit_named

EXAMPLES = (
    "what is 172 mS/cm at 9.5 degC?",
    "what is 1.171 on the hydrometer at 41 degF?",
    "what should the probe read for 23.3 % at 4 degC?",
    "1,900 gallons at 21.8 %: what brings it to 23.3 %?",
)

_FLAG_OF = {
    "conductivity": ("conductivity",),
    "temperature": ("temperature",),
    "density": ("density",),
    "volume": ("volume",),
    "ratio": ("strength", "target"),
}
_NUMBER = r"(?<![\w.,/])[+-]?\d[\d,]*(?:\.\d+)?"
_SCALE = re.compile(
    r"\b(" + "|".join(s.name.split(" ", maxsplit=1)[0] for s in SCALES) + r")\b"
    r"\s*(?:(?:deg|°)?\s*[CF]\b)?"
)
_SALOMETER = re.compile(
    rf"(?P<before>{_NUMBER})\s*(?:degrees\s*)?(?:on\s+(?:the|a)\s+)?salometer"
    rf"|salometer\s*(?:degrees\s*)?(?:(?:reads|shows|of|at|says)\s*)?(?P<after>{_NUMBER})",
    re.IGNORECASE,
)
_BARE_GRAVITY = re.compile(r"(?<![\w.,])1\.[0-2]\d*(?![\w.])")


class UnreadQuestion(ValueError):
    """A question that holds nothing that can be worked out; whoever asked must ask otherwise."""


def read_question(question: str) -> dict[str, str]:
    """The flags that a question in plain words stands for, each with the text that it holds.

    Raises: UnreadQuestion where it holds no quantity, or one too many.
    """
    text = question.replace("−", "-").replace("µ", "u")  # noqa: RUF001 - a typeset minus sign
    found: dict[str, str] = {}
    text = _take(text, _SCALE, found, "scale")
    text = _take(text, _SALOMETER, found, "salometer")
    for match in _QUANTITY.finditer(text):
        _keep(match, found)
    rest = _QUANTITY.sub(" ", text)
    _take(rest, _BARE_GRAVITY, found, "hydrometer")
    if not found:
        raise UnreadQuestion(
            f"{question!r} holds no quantity with its unit; ask like: {' / '.join(EXAMPLES)}"
        )
    return found


def _quantity_pattern() -> re.Pattern[str]:
    """A number and a unit of the catalogue; single letters only as they are written."""
    usable = [name for name in spellings() if name not in ("1", "/", "in", "d", "h", "s", "g")]
    long = "|".join(re.escape(name) for name in usable if len(name) > 1)
    short = "|".join(re.escape(name) for name in usable if len(name) == 1)
    degrees = r"°\s*[CF]"
    return re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>{degrees}|(?i:{long})|{short})(?![\w/])")


_QUANTITY = _quantity_pattern()


def _take(text: str, pattern: re.Pattern[str], found: dict[str, str], flag: str) -> str:
    match = pattern.search(text)
    if match is None:
        return text
    found[flag] = next((group for group in match.groups() if group), match.group())
    return text[: match.start()] + " " + text[match.end() :]


def _keep(match: re.Match[str], found: dict[str, str]) -> None:
    quantity = unit_named(match["unit"]).quantity
    flags = _FLAG_OF.get(quantity)
    if flags is None:
        raise UnreadQuestion(f"{match.group()!r} is a {quantity}, which has no part in strength")
    free = next((flag for flag in flags if flag not in found), None)
    if free is None:
        raise UnreadQuestion(f"{match.group()!r} is one {quantity} too many in a question")
    found[free] = match.group()
