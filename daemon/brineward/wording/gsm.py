"""One text-message segment: the GSM default alphabet, and what to leave out when room is short.

Source: 3GPP TS 23.038 (GSM 03.38), clause 6.2.1, default alphabet and its extension table;
a message of one segment holds 160 septets (3GPP TS 23.040).
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

SEGMENT_SEPTETS = 160
_SHORTEST_NAME = 8
"""A name is not cut to fewer letters than this while other words can still go."""
_BETWEEN_WORDS = " ,;:-"

# In the order of their codes, 0x00 to 0x7f; 0x1b is the escape to the extension table.
_DEFAULT = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ"
    " !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_ESCAPE = "\x1b"
_ONE_SEPTET = frozenset(_DEFAULT) - {_ESCAPE}
_TWO_SEPTETS = frozenset("\f^{}\\[~]|€")

# What looks or reads the same to a person, for signs that have no decomposition of their own.
_REWRITTEN = {
    "µ": "u", "μ": "u", "≤": "<=", "≥": ">=", "≈": "~", "≠": "not =", "±": "+/-", "−": "-",
    "‐": "-", "‑": "-", "‒": "-", "–": "-", "—": "-", "―": "-",
    "‘": "'", "’": "'", "‚": "'", "‛": "'", "′": "'", "`": "'", "´": "'",
    "“": '"', "”": '"', "„": '"', "‟": '"', "″": '"', "«": '"', "»": '"', "‹": "'", "›": "'",
    "…": "...", "•": "-", "·": ".", "×": "x", "÷": "/", "⁄": "/", "→": "->", "←": "<-",
    "º": "deg", "ª": "a", "©": "(c)", "®": "(R)", "™": "TM", "¢": "c", "¦": "|", "№": "No",
    "œ": "oe", "Œ": "OE", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ð": "d", "Ð": "D",
    "þ": "th", "Þ": "TH", "ı": "i", "ħ": "h", "Ħ": "H", "ŋ": "n", "Ŋ": "N",
}  # fmt: skip


class NotGsm(ValueError):
    """A text has characters outside the GSM alphabet; whoever words it must rewrite it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One piece of a text and how much it matters.

    Pieces are joined by a space, in the order given, each with its own punctuation.
    """

    text: str
    rank: int = 0
    """0 is always kept; the higher the rank, the earlier the piece is left out."""
    shorter: tuple[str, ...] = ()
    """Other ways to say it, each shorter than the one before."""
    full_rank: int | None = None
    """How much it matters to say it at length; None: as much as saying it at all."""
    name: bool = False
    """Somebody's or something's name: where even the kept pieces are too long, cut first."""
    whole: bool = False
    """What would say something else if cut ("open no valve"): cut last of all."""


def septets(text: str) -> int:
    """How many septets the text takes: one a character, two for the extension table.

    Raises: NotGsm naming the characters that are outside the alphabet.
    Source: 3GPP TS 23.038 clause 6.2.1.
    """
    outside = sorted(set(text) - _ONE_SEPTET - _TWO_SEPTETS)
    if outside:
        named = ", ".join(f"{sign!r} (U+{ord(sign):04X})" for sign in outside)
        raise NotGsm(f"not in the GSM alphabet: {named}")
    return len(text) + sum(sign in _TWO_SEPTETS for sign in text)


def to_gsm(text: str) -> str:
    """The text in the GSM alphabet only: the nearest signs instead of what is outside, else "?".

    A degree sign before C, F or K is dropped and elsewhere written "deg"; accents outside the
    alphabet are left off; what is in the alphabet stays as it is.
    """
    composed = unicodedata.normalize("NFC", text)
    written: list[str] = []
    for place, sign in enumerate(composed):
        if sign == "°":
            gap = "" if not written or written[-1].endswith((" ", "\n")) else " "
            unit = composed[place + 1 : place + 2] in ("C", "F", "K")
            written.append(gap if unit else f"{gap}deg")
        else:
            written.append(_rewritten(sign))
    return "".join(written)


def shortened(text: str, limit: int) -> str:
    """The beginning of the text in at most `limit` septets, cut after a word where one fits.

    The text must be GSM (see `to_gsm`); raises NotGsm where it is not.
    """
    if septets(text) <= limit:
        return text
    fits = text[:limit]
    while septets(fits) > limit:
        fits = fits[:-1]
    whole_words = fits if text[len(fits)] in _BETWEEN_WORDS else fits[: fits.rfind(" ") + 1]
    return whole_words.rstrip(_BETWEEN_WORDS) or fits


def fit_segment(parts: Sequence[Part]) -> str:
    """One segment of at most 160 septets with as much of the parts as fits, important first.

    Parts of rank 0 are always in it, in their shortest form if need be; where even that is too
    much, names are cut first, after a word as long as there is more than one, and last of all
    what has to stay whole.
    """
    forms = [_forms(part) for part in parts]
    chosen = [own[-1] if part.rank <= 0 else "" for part, own in zip(parts, forms, strict=True)]
    chosen = _cut_to_fit(chosen, parts)
    for place, candidates in _upgrades(parts, forms):
        for form in candidates:
            tried = [*chosen[:place], form, *chosen[place + 1 :]]
            if septets(_joined(tried)) <= SEGMENT_SEPTETS:
                chosen = tried
                break
    return _joined(chosen)


def _rewritten(sign: str) -> str:
    if sign in _ONE_SEPTET or sign in _TWO_SEPTETS:
        return sign
    if sign in _REWRITTEN:
        return _REWRITTEN[sign]
    category = unicodedata.category(sign)
    if category in ("Cf", "Mn", "Me"):
        return ""  # a joiner, a direction mark, a lone accent: nothing that a person would read
    if sign.isspace() or category == "Cc":
        return " "
    pieces = unicodedata.normalize("NFKD", sign)
    if pieces == sign:
        return "?"
    return "".join(_rewritten(piece) for piece in pieces)


def _forms(part: Part) -> list[str]:
    """All ways to say it, longest first, as GSM and with single spaces."""
    ways = [" ".join(to_gsm(way).split()) for way in (part.text, *part.shorter)]
    return sorted(ways, key=septets, reverse=True)


def _upgrades(parts: Sequence[Part], forms: list[list[str]]) -> list[tuple[int, list[str]]]:
    """What to try to add to the bare minimum, the most important first."""
    steps: list[tuple[int, int, int, list[str]]] = []
    for place, (part, own) in enumerate(zip(parts, forms, strict=True)):
        full_rank = part.rank if part.full_rank is None else max(part.rank, part.full_rank)
        if part.rank > 0:
            steps.append((part.rank, 0, place, own[-1:]))
        steps.append((full_rank, 1, place, own))
    return [(place, candidates) for _, _, place, candidates in sorted(steps)]


def _cut_to_fit(chosen: list[str], parts: Sequence[Part]) -> list[str]:
    """The kept pieces, cut until they fit: names first, whole words before letters."""
    kept = [shortened(piece, SEGMENT_SEPTETS) for piece in chosen]
    for names, whole, words in _CUT_IN_TURN:
        while septets(_joined(kept)) > SEGMENT_SEPTETS:
            able = [
                place
                for place, text in enumerate(kept)
                if (parts[place].name, parts[place].whole) == (names, whole)
                and _may_be_cut(text, names=names, words=words)
            ]
            if not able:
                break
            longest = max(able, key=lambda place: septets(kept[place]))
            kept[longest] = _one_step_shorter(kept[longest])
    while septets(_joined(kept)) > SEGMENT_SEPTETS:
        kept.pop()  # over 80 pieces of a letter each: nothing that could be read anyway
    return kept + [""] * (len(chosen) - len(kept))


_CUT_IN_TURN = (
    (True, False, True),
    (True, False, False),
    (False, False, True),
    (False, False, False),
    (False, True, True),
    (False, True, False),
)
"""Names before sentences, these before what has to stay whole; words before letters."""


def _may_be_cut(text: str, *, names: bool, words: bool) -> bool:
    if words:
        return " " in text
    return len(text) > (_SHORTEST_NAME if names else 1)


def _one_step_shorter(text: str) -> str:
    """The text without its last word, or without its last letter where it is one word.

    What is left of a sentence ends with a stop, too.
    """
    bare = text.rstrip()
    if bare != text:
        return bare
    if text.endswith((".", "?", "!")) and " " in text:
        return f"{text[: text.rfind(' ')].rstrip(_BETWEEN_WORDS + '.?!')}."
    shorter = text[: text.rfind(" ") + 1].rstrip(_BETWEEN_WORDS)
    return shorter or text[:-1]


def _joined(pieces: Sequence[str]) -> str:
    return " ".join(piece for piece in pieces if piece)


_EXTENSION = {
    "\f": 0x0A, "^": 0x14, "{": 0x28, "}": 0x29, "\\": 0x2F, "[": 0x3C, "~": 0x3D, "]": 0x3E,
    "|": 0x40, "€": 0x65,
}  # fmt: skip
_CODES = {sign: (code,) for code, sign in enumerate(_DEFAULT) if sign != _ESCAPE} | {
    sign: (0x1B, code) for sign, code in _EXTENSION.items()
}
_FROM_EXTENSION = {code: sign for sign, code in _EXTENSION.items()}


def gsm_codes(text: str) -> list[tuple[int, ...]]:
    """The septets of each character: one, or the escape and another. Raises: NotGsm.

    Source: 3GPP TS 23.038 clauses 6.2.1 and 6.2.1.1.
    """
    septets(text)
    return [_CODES[sign] for sign in text]


def from_gsm_codes(codes: Sequence[int]) -> str:
    """The text of these septets; an escape without a known sign behind it is a space.

    Source: 3GPP TS 23.038 clauses 6.2.1 and 6.2.1.1 (what is reserved is shown by the default
    table's own sign).
    """
    written: list[str] = []
    escaped = False
    for code in codes:
        if escaped:
            written.append(_FROM_EXTENSION.get(code, _DEFAULT[code & 0x7F]))
            escaped = False
        elif code == 0x1B:
            escaped = True
        else:
            written.append(_DEFAULT[code & 0x7F])
    return "".join(written) + (" " if escaped else "")
