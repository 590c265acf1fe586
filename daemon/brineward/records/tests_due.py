"""How often a tank's brine must at least be tested by hand."""

LONGEST_DAYS = 30
"""A film on the probe shows in nothing but a test: one a month at least (common practice, no
source)."""
