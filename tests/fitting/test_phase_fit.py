"""The phase lines' coefficients are what the fit makes of the published values."""

import ast
from pathlib import Path

import pytest

from brineward.fitting.phases import coefficients_module
from brineward.physics import phase_coefficients


def _numbers(source: str) -> list[float]:
    nodes = ast.walk(ast.parse(source))
    constants = [node.value for node in nodes if isinstance(node, ast.Constant)]
    return [value for value in constants if isinstance(value, float)]


def test_the_fit_gives_the_coefficients_in_use() -> None:
    """Whoever runs the fit again gets the coefficients that the physics uses."""
    in_use = _numbers(Path(phase_coefficients.__file__).read_text(encoding="utf-8"))
    assert _numbers(coefficients_module()) == pytest.approx(in_use, rel=1e-4, abs=1e-6)
