"""The density surface's coefficients are what the fit makes of the published values."""

import numpy as np

from brineward.fitting.density import coefficients_module, fit_surface
from brineward.physics.density_coefficients import SURFACE


def test_the_fit_gives_the_surface_in_use() -> None:
    """Whoever runs the fit again gets the coefficients that the physics uses."""
    np.testing.assert_allclose(fit_surface(), SURFACE, rtol=1e-6)


def test_what_the_fit_writes_is_the_module_in_use() -> None:
    """The text written names what the physics imports."""
    written: dict[str, object] = {}
    exec(coefficients_module(), written)
    np.testing.assert_allclose(np.array(written["SURFACE"]), SURFACE, rtol=1e-6)
