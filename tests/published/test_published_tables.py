"""The published values: every row has a known source and a sane unit."""

import re

import pytest

from brineward import published


def _all_rows():
    return (
        *published.conductivity_rows(),
        *published.conductivity_coefficient_rows(),
        *published.density_rows(),
        *published.freezing_rows(),
        *published.solubility_rows(),
        *published.hydrometer_rows(),
    )


def test_every_row_names_a_source_that_is_described():
    """No value without its source: each row's id is found in sources.csv."""
    known = published.sources()
    assert {row.source for row in _all_rows()} == set(known)
    assert all(source.source and source.how_known for source in known.values())


def test_every_source_is_cited_with_its_year_or_says_that_none_is_known():
    """A legend names author or book and year; where no year came to us, it says so."""
    for source in published.sources().values():
        assert re.search(r"\b(18|19|20)\d\d\b", source.cited_as) or (
            source.cited_as.endswith("no year recorded")
        ), source
        assert len(source.cited_as) <= 50


def test_percent_became_fractions_and_millisiemens_became_siemens_per_metre():
    """Units are turned once: CRC's 20 % at 20 degC is 0.20 and 20.4 S/m, not 20 and 204."""
    row = next(r for r in published.conductivity_rows() if r[:3] == ("CRC20", 0.20, 20.0))
    assert row.conductivity_s_per_m == pytest.approx(20.4)
    assert all(0.0 <= r.mass_fraction <= 0.27 for r in _all_rows())


def test_tables_are_whole():
    """A row lost in copying is noticed."""
    counts = {
        "conductivity": len(published.conductivity_rows()),
        "coefficient": len(published.conductivity_coefficient_rows()),
        "density": len(published.density_rows()),
        "freezing": len(published.freezing_rows()),
        "solubility": len(published.solubility_rows()),
        "hydrometer": len(published.hydrometer_rows()),
    }
    assert counts == {
        "conductivity": 73,
        "coefficient": 6,
        "density": 64,
        "freezing": 43,
        "solubility": 27,
        "hydrometer": 35,
    }
