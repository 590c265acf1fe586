"""Summing readings in SQL: no value from outside may spoil a sum."""

from typing import Final

MOST: Final = 1e290
"""Whatever is further from 0 counts as so much in a sum.

A depot's values are nearer to 0 by far, and a sum of as many as any journal holds stays below the
largest double (1.8e308, IEEE 754). Lowest and highest are kept as they came.
"""

GOOD: Final = """mark NOT IN (SELECT id FROM mark WHERE body LIKE '["bad",%')"""
"""Leaves out readings that are bad."""


_MOST_SUMMED: Final = 1e300
"""No sum that is made of addends comes near; one that an older version wrote may be infinite."""


def addend(column: str) -> str:
    """A column of values as it may be summed: never infinite, and no sum is ever nothing."""
    return f"max(-{MOST}, min({MOST}, {column}))"


def subtotal(column: str) -> str:
    """A column of sums as it may be summed again."""
    return f"max(-{_MOST_SUMMED}, min({_MOST_SUMMED}, {column}))"
