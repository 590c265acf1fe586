"""A question in plain words, such as "what is 172 mS/cm at 9.5 degC?", turned into flags."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from brineward.commands import salinity_words as words
from brineward.commands.salinity_pieces import Piece, UnreadQuestion, pieces_of, words_of
from brineward.physics.brines import NotSodiumChloride
from brineward.quantities import parse_quantity

__all__ = ["EXAMPLES", "Question", "UnreadQuestion", "read_question"]

EXAMPLES = (
    "what is 172 mS/cm at 49 F?",
    "1.178 at 60 F",
    "is 23.3 % frozen at -5 F?",
    "what should the probe read for 23.3 % at 40 F?",
    "1,900 gallons at 21.8 % to 23.3 %",
    "how much salt for 1,000 gal of water to 23.3 %?",
)
ASK_LIKE = "Ask like: " + " / ".join((EXAMPLES[1], EXAMPLES[2], EXAMPLES[4]))

Side = Literal["us", "si", ""]

_NEAR = 3
"""How many words may stand between a number and what it belongs to."""
_FEWEST_TENTHS, _MOST_TENTHS = 1.0, 1.3
_AIMED = [["to", "get"], ["to", "make"], ["make", "it"], ["get", "it"], ["to", "be"]]
_READINGS = ("conductivity", "density", "hydrometer", "salometer")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The flags that a question stands for, and what else it says."""

    texts: dict[str, str]
    """Each flag with the text that it holds."""
    notes: tuple[str, ...] = ()
    """Sentences on what was taken for granted."""
    side: Side = ""
    """The units that its words speak of, where they do."""


def read_question(question: str) -> Question:
    """The flags that a question in plain words stands for.

    Raises: UnreadQuestion where a word or sign is not known, where it holds no quantity or one too
        many, or where a quantity could be two things; NotSodiumChloride where it names another
        salt, wherever that stands.
    """
    _refuse_other_salts(question)
    pieces = pieces_of(question)
    spoken = [piece.text for piece in pieces if piece.kind == "word"]
    _refuse_words(spoken)
    reading = _Reading(pieces=pieces, spoken=frozenset(spoken))
    for at, piece in enumerate(pieces):
        reading.take(at, piece)
    reading.settle()
    if not reading.texts:
        raise UnreadQuestion(f"That holds no number with its unit. {ASK_LIKE}")
    return Question(texts=reading.texts, notes=tuple(reading.notes), side=_side(reading.spoken))


def _refuse_other_salts(question: str) -> None:
    if salt := words.other_salt(words_of(question)):
        raise NotSodiumChloride(
            f"Only sodium chloride (salt brine) is converted: {salt} conducts, weighs and freezes"
            " differently, so no strength is given."
        )


def _refuse_words(spoken: list[str]) -> None:
    if unknown := words.unknown_word(spoken):
        raise UnreadQuestion(f"{words.asked_back(unknown)} {ASK_LIKE}")
    if ("by", "volume") in pairwise(spoken):
        raise UnreadQuestion("Strengths here are percent by mass (by weight), never by volume.")


def _side(spoken: frozenset[str]) -> Side:
    us, si = spoken & words.US_WORDS, spoken & words.SI_WORDS
    if us and not si:
        return "us"
    return "si" if si and not us else ""


@dataclass(slots=True)
class _Reading:
    """Pieces being sorted into flags."""

    pieces: list[Piece]
    spoken: frozenset[str]
    texts: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    temperatures: list[tuple[int, str]] = field(default_factory=list)
    ratios: list[tuple[int, str]] = field(default_factory=list)

    def take(self, at: int, piece: Piece) -> None:
        """Sort one piece; temperatures and strengths wait until all are seen."""
        if piece.note:
            self.notes.append(piece.note)
        if piece.kind == "scale":
            self._keep("scale", piece.text)
        elif piece.kind == "number":
            self._bare(at, piece.text)
        elif piece.kind == "quantity":
            self._quantity(at, piece)

    def settle(self) -> None:
        """Which strength is wanted, and which temperature is still to come."""
        self._settle_ratios()
        self._settle_temperatures()
        weighs = self.spoken & (words.DENSITY | words.WEIGHING)
        if (
            self.spoken & words.HOW_MUCH
            and not weighs
            and set(self.texts) <= {"strength", "target"}
        ):
            raise UnreadQuestion(
                "For how much brine or water? Ask like"
                ' "how much salt for 1,000 gal of water to 23.3 %?".'
            )

    def _quantity(self, at: int, piece: Piece) -> None:
        match piece.quantity:
            case "temperature":
                self.temperatures.append((at, piece.text))
            case "ratio":
                self.ratios.append((at, piece.text))
            case "conductivity" | "density" | "salometer":
                self._keep(piece.quantity, piece.text)
            case "gravity":
                self._gravity(piece.text)
            case "degrees":
                self._degrees(at, piece.text)
            case "volume":
                self._keep("water" if self._is_of_water(at) else "volume", piece.text)
            case "mass":
                self._mass(at, piece.text)
            case _:
                raise UnreadQuestion(
                    f"{piece.text} is a {piece.quantity}, which says nothing of strength."
                    f" {ASK_LIKE}"
                )

    def _bare(self, at: int, digits: str) -> None:
        """A number without a unit: what stands beside it says what it is, or it is asked back."""
        value = _value(digits)
        if self._beside(at, words.SALOMETER):
            self._keep("salometer", digits)
        elif 1000.0 <= value < 1300.0 and self._beside(at, words.DENSITY):
            self._keep("density", f"{digits} kg/m3")
            self.notes.append(f"{digits} is taken as {digits} kg/m3.")
        elif 1000.0 <= value < 1300.0 or (_FEWEST_TENTHS <= value < _MOST_TENTHS and "." in digits):
            self._gravity(digits)
        elif self._beside(at, words.GRAVITY):
            raise UnreadQuestion(
                f"A hydrometer in brine shows 1.000 to 1.204, not {digits}; if it is marked in"
                f' salometer degrees, write "{digits} salometer".'
            )
        elif self._goes_to_a_ratio(at):
            self.ratios.append((at, f"{digits} %"))
        else:
            raise UnreadQuestion(f"{digits} of what? Write its unit, as in {_units_for(digits)}.")

    def _degrees(self, at: int, digits: str) -> None:
        if self._beside(at, words.SALOMETER):
            self._keep("salometer", digits)
            return
        raise UnreadQuestion(
            f'{digits} degrees of what? Write "{digits} F", "{digits} C" or "{digits} salometer".'
        )

    def _gravity(self, digits: str) -> None:
        value = _value(digits)
        if 1000.0 <= value < 1300.0:
            mark = f"{value / 1000.0:.4f}".rstrip("0")
            self.notes.append(
                f"{digits} is taken as {mark} on a hydrometer; for a density write {digits} kg/m3."
            )
            digits = mark
        self._keep("hydrometer", digits)

    def _mass(self, at: int, text: str) -> None:
        after = self._words_after(at)
        if "water" in after[:_NEAR] or "brine" in after[:_NEAR]:
            raise UnreadQuestion(f"{text}: give water and brine by volume, as in 1,000 gal.")
        if not self.spoken & words.SALT:
            raise UnreadQuestion(f'{text} of what? If of salt, write "{text} of salt".')
        self._keep("salt", text)

    def _keep(self, flag: str, text: str) -> None:
        if flag in self.texts:
            what = {"hydrometer": "specific gravity", "volume": "volume of brine"}.get(flag, flag)
            raise UnreadQuestion(
                f"{self.texts[flag]} and {text}: ask about one {what} at a time. {ASK_LIKE}"
            )
        self.texts[flag] = text

    def _settle_ratios(self) -> None:
        aimed = [at for at, _ in self.ratios if self._is_aim(at)]
        if not aimed and len(self.ratios) == 2:
            aimed = [at for at, _ in self.ratios if self._words_before(at)[-1:] == ["for"]]
        if len(self.ratios) > 2 or len(aimed) > 1 or len(self.ratios) - len(aimed) > 1:
            listed = " and ".join(text for _, text in self.ratios)
            raise UnreadQuestion(
                f"{listed}: which strength is there, and which is wanted? Write it like"
                ' "1,900 gal at 21.8 % to 23.3 %".'
            )
        for at, text in self.ratios:
            self.texts["target" if at in aimed else "strength"] = text

    def _settle_temperatures(self) -> None:
        if not self.temperatures:
            return
        if len({_celsius(text) for _, text in self.temperatures}) == 1:
            del self.temperatures[1:]
        if len(self.temperatures) > 2:
            raise UnreadQuestion(f"Ask about one temperature at a time. {ASK_LIKE}")
        freezing = bool(self.spoken & words.FREEZING)
        to_come = [at for at, _ in self.temperatures if self._is_to_come(at)]
        if len(self.temperatures) == 2:
            if not to_come and freezing:
                to_come = [self.temperatures[1][0]]
            if len(to_come) != 1:
                listed = " and ".join(text for _, text in self.temperatures)
                raise UnreadQuestion(
                    f"{listed}: which is the brine's now, and which is to come? Write it like"
                    ' "1.178 at 60 F, is it frozen at -5 F?".'
                )
            for at, text in self.temperatures:
                self.texts["coldest" if at in to_come else "temperature"] = text
            return
        self._settle_one(*self.temperatures[0], freezing=freezing, to_come=bool(to_come))

    def _settle_one(self, at: int, text: str, *, freezing: bool, to_come: bool) -> None:
        if any(flag in self.texts for flag in _READINGS):
            if to_come or self._is_frozen_at(at):
                self.texts["coldest"] = text
                return
            self.texts["temperature"] = text
            if freezing and "point" not in self.spoken:
                self.texts["coldest"] = text
            return
        asks_strength = not self.texts and self.spoken & (words.STRENGTH | {"saturated"})
        shown = self.spoken & words.SHOWN
        is_coldest = (freezing and not shown) or to_come or asks_strength
        self.texts["coldest" if is_coldest else "temperature"] = text

    def _is_aim(self, at: int) -> bool:
        before = self._words_before(at)
        if not before:
            return False
        if before[-1] == "to" and len(before) > 1 and before[-2] in words.GIVING:
            return "get" in before[-4:-2]
        return before[-1] in words.AIM or before[-2:] in _AIMED

    def _is_to_come(self, at: int) -> bool:
        near = self._words_before(at)[-2:] + self._words_after(at)[:1]
        return any(word in words.TO_COME for word in near)

    def _is_frozen_at(self, at: int) -> bool:
        """Does "frozen at" or the like stand right before?"""
        before = self._words_before(at)
        return before[-1:] == ["at"] and any(word in words.FREEZING for word in before[-2:-1])

    def _is_of_water(self, at: int) -> bool:
        after = self._words_after(at)[:_NEAR]
        if "water" not in after:
            return False
        before = after[: after.index("water")]
        return not any(word in ("salt", "brine") for word in before)

    def _goes_to_a_ratio(self, at: int) -> bool:
        after = self.pieces[at + 1 : at + 3]
        return [piece.text for piece in after[:1]] == ["to"] and [
            piece.quantity for piece in after[1:]
        ] == ["ratio"]

    def _beside(self, at: int, wanted: frozenset[str]) -> bool:
        near = self._words_before(at)[-_NEAR:] + self._words_after(at)[:_NEAR]
        return any(word in wanted for word in near)

    def _words_before(self, at: int) -> list[str]:
        """The words right before a piece, back to the last number."""
        found: list[str] = []
        for piece in reversed(self.pieces[:at]):
            if piece.kind != "word":
                break
            found.insert(0, piece.text)
        return found

    def _words_after(self, at: int) -> list[str]:
        """The words right after a piece, up to the next number."""
        found: list[str] = []
        for piece in self.pieces[at + 1 :]:
            if piece.kind != "word":
                break
            found.append(piece.text)
        return found


def _value(digits: str) -> float:
    """Commas in any place: whether they are in place is seen when the text is read."""
    return float(digits.replace(",", ""))


def _celsius(text: str) -> float:
    return parse_quantity(text, expected="temperature")


def _units_for(digits: str) -> str:
    """The units that a bare number might have had, each written out with it."""
    value = _value(digits)
    likely = [("F", -60.0, 130.0), ("%", 0.0, 30.0), ("salometer", 0.0, 106.0)]
    likely += [("mS/cm", 5.0, 300.0), ("gal", 50.0, float("inf"))]
    fitting = [f'"{digits} {unit}"' for unit, low, high in likely if low <= value <= high]
    return " or ".join(fitting) or '"172 mS/cm"'
