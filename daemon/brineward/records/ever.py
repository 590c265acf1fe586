"""Bounds of a query that has none."""

from typing import Final

NEVER: Final = 1 << 62
"""An instant after all others."""
