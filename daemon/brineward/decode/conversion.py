"""One sensor's value: from the number or word that it sent to SI, or to 0 and 1."""

from dataclasses import dataclass
from math import isfinite
from typing import Final

from brineward.config.settings import SensorSource
from brineward.decode.refusals import UnreadablePayload, quoted
from brineward.quantities.units import Unit

_TRUE: Final = ("1", "1.0", "true", "on", "open", "yes", "running")
_FALSE: Final = ("0", "0.0", "false", "off", "closed", "no", "stopped")
_NUMBER_LIMIT_BYTES: Final = 64

_SWITCH_WORDS: Final = dict.fromkeys(_TRUE, 1.0) | dict.fromkeys(_FALSE, 0.0)
_SWITCH_EXPECTED: Final = (
    "expected 0 or 1, true/false, on/off, open/closed, yes/no, running/stopped"
)
SWITCH_UNITS: Final = frozenset({None, "/", "count"})

_SWITCH_NUMBERS: Final = {"0.": 0.0, "1.": 1.0}  # a recorder may write 1.0 for 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """How one sensor's published value becomes SI."""

    unit: Unit
    scale: float
    is_switch: bool
    inverted: bool

    def from_json(self, found: object) -> float | None:
        """The SI value of a JSON number, boolean or string; None where the sensor has none.

        Raises: UnreadablePayload.
        """
        if found is None:
            return None
        if isinstance(found, str):
            return self.from_text(found)
        if isinstance(found, bool):
            if self.is_switch:
                return self.switched(1.0 if found else 0.0)
            raise UnreadablePayload(
                "not-a-number", f"{quoted(found)} came; expected {self.expected}"
            )
        if isinstance(found, int | float):
            return self.from_number(found)
        raise UnreadablePayload("not-a-number", f"{quoted(found)} came; expected {self.expected}")

    def from_text(self, text: str) -> float | None:
        """The SI value of a bare number or word; None for `null`. Raises: UnreadablePayload."""
        word = text.strip().lower()
        if word == "null":
            return None
        if self.is_switch:
            value = _SWITCH_WORDS.get(word)
            if value is None:
                value = _SWITCH_NUMBERS.get(word.rstrip("0"))
            if value is None:
                raise UnreadablePayload(
                    "not-a-switch", f"{quoted(text.strip())} came; {_SWITCH_EXPECTED}"
                )
            return self.switched(value)
        if len(word) > _NUMBER_LIMIT_BYTES or "_" in word or not word.isascii():
            raise UnreadablePayload(
                "not-a-number", f"{quoted(text.strip())} came; expected {self.expected}"
            )
        try:
            number = float(word)
        except ValueError:
            raise UnreadablePayload(
                "not-a-number", f"{quoted(text.strip())} came; expected {self.expected}"
            ) from None
        return self.from_number(number)

    def from_number(self, number: float) -> float:
        """The SI value of a number in the sensor's own unit. Raises: UnreadablePayload."""
        if self.is_switch:
            if number in (0, 1):
                return self.switched(float(number))
            raise UnreadablePayload("not-a-switch", f"{quoted(number)} came; {_SWITCH_EXPECTED}")
        return self.in_unit(number, self.unit)

    def in_unit(self, number: float, unit: Unit) -> float:
        """The SI value of a number in a unit of the same quantity. Raises: UnreadablePayload."""
        value = unit.to_si(number * self.scale)
        if not isfinite(value):
            raise UnreadablePayload(
                "not-finite", f"{quoted(number)} is not finite; expected {self.expected}"
            )
        return value

    def switched(self, value: float) -> float:
        """0.0 or 1.0, turned round where the config says so."""
        return 1.0 - value if self.inverted else value

    @property
    def expected(self) -> str:
        """What the sensor should have sent."""
        return f"a number in {self.unit.name}"


def conversion_for(source: SensorSource) -> Conversion:
    """The conversion that the config declares for one sensor."""
    return Conversion(
        unit=source.unit,
        scale=source.scale,
        is_switch=source.measures.is_switch,
        inverted=source.inverted,
    )
