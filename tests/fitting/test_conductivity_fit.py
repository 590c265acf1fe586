"""The coefficients are what the fit gives; the stated uncertainty is what its spread demands."""

import numpy as np
import pytest

from brineward.fitting import validation
from brineward.fitting.conductivity import coefficients_text
from brineward.fitting.conductivity_rows import observations
from brineward.fitting.forms import CHOSEN, fitted, fitted_unknowns
from brineward.physics import conductivity_coefficients
from brineward.physics.conductivity import log_conductivity
from brineward.physics.model_uncertainty import model_standard_uncertainty


def test_the_coefficients_module_is_what_the_fit_writes() -> None:
    """Run again, the fit gives the published coefficients: as a curve, within a millionth."""
    again = fitted(CHOSEN, observations())
    plane = np.array(validation.liquid_plane())
    ours = np.array([log_conductivity(w, t) for w, t in plane.tolist()])
    assert np.abs(again(plane[:, 0], plane[:, 1]) - ours).max() < 1e-6


def test_what_it_writes_is_a_module_of_those_coefficients() -> None:
    """The text that --write writes runs, and holds the same names as the module in use."""
    names: dict[str, object] = {}
    exec(coefficients_text(fitted_unknowns(CHOSEN, observations())), names)  # our own text
    assert names["LEVEL"] == pytest.approx(conductivity_coefficients.LEVEL, rel=1e-3)
    assert names["STEEPNESS"] == pytest.approx(conductivity_coefficients.STEEPNESS, rel=1e-3)
    assert names["OFFSET_K"] == pytest.approx(conductivity_coefficients.OFFSET_K, rel=1e-3)


def test_sources_left_out_are_foretold() -> None:
    """Rows of 15 % and more whose whole source was left out: within 0.6 %."""
    for name, row, error in validation.left_out():
        if row.mass_fraction >= 0.15 and name.removeprefix("without ") == row.source:
            assert abs(error) < 0.006, (name, row, error)


def test_temperature_ranges_left_out_are_foretold() -> None:
    """Rows of 15 % and more whose temperatures were left out: within 0.6 %, at 0 degC 0.8 %."""
    for name, row, error in validation.left_out():
        if row.mass_fraction >= 0.15 and name.endswith("degC"):
            allowed = 0.006 if row.temperature_c > 5.0 else 0.008
            assert abs(error) < allowed, (name, row, error)


def test_left_out_rows_lie_in_the_stated_interval() -> None:
    """Nineteen of twenty left-out errors are within 1.96 stated standard uncertainties."""
    found = validation.left_out()
    outside = [
        (name, row, error)
        for name, row, error in found
        if abs(error) > 1.96 * model_standard_uncertainty(row.mass_fraction, row.temperature_c)
    ]
    assert len(found) > 80
    assert len(outside) <= len(found) / 20, outside


def test_the_stated_uncertainty_is_nowhere_below_the_spread() -> None:
    """Other forms and partial fits together spread no wider than stated, all over the liquid."""
    plane = np.array(validation.liquid_plane())
    stated = np.array([model_standard_uncertainty(w, t) for w, t in plane.tolist()])
    forms = validation.spread_of_forms()(plane[:, 0], plane[:, 1])
    partial = validation.spread_of_partial_fits()(plane[:, 0], plane[:, 1])
    assert (stated >= np.hypot(forms, partial)).all()
    assert stated.max() < 0.05
