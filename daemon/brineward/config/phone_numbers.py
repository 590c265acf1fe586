"""Can this be a phone number, by what is known of each country's numbers?"""

import re
from typing import Final

from phonenumbers import (
    NumberParseException,
    ValidationResult,
    is_possible_number_with_reason,
    parse,
)

_MADE_UP: Final = re.compile(r"\+1(?:[2-9][0-9]{2})?55501[0-9]{2}")
"""Kept for examples and films in North America, where no phone has them."""

_REASONS: Final = {
    ValidationResult.TOO_SHORT: "it is too short for its country",
    ValidationResult.TOO_LONG: "it is too long for its country",
    ValidationResult.INVALID_LENGTH: "no number of its country has that length",
    ValidationResult.INVALID_COUNTRY_CODE: "no country has that code",
    ValidationResult.IS_POSSIBLE_LOCAL_ONLY: "its area code is missing",
}


def impossible_number(text: str) -> str:
    """Why no phone can have it; empty where one can, and for what is no E.164 number (ITU-T)."""
    if not text.startswith("+") or _MADE_UP.fullmatch(text):
        return ""
    try:
        found = is_possible_number_with_reason(parse(text))
    except NumberParseException as why:
        known = NumberParseException.INVALID_COUNTRY_CODE
        return "no country has that code" if why.error_type == known else ""
    return _REASONS.get(found, "")
