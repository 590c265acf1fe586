"""Worlds in which brine conducts otherwise than our curve says: what a calibration must survive.

The truth of a world is our curve and a difference from it, drawn again for each season:

- half of the worlds have the shape of PHREEQC (pitzer.dat), held to the handbooks' saturated brine.
  PHREEQC itself is 4 % above that at 0 degC and -1.5 % at 35 degC; so much trust as leaves a spread
  of 1.5 % at 0 degC is put into that part, with either sign;
- half have one of the other forms that fit the published rows as well as ours, its difference
  stretched by a normal draw, with either sign;
- all have a level (Chambers-Stokes and Kohlrausch's lineage part by 0.3 to 0.6 %) and, below
  0 degC where nothing was measured, a slope. With it the worlds lie about ours at -10 degC as the
  outside estimates do, -5 to +3 % (Walden's rule with a viscosity, PHREEQC, PHREEQC held to the
  saturated row, sea ice): -2.1 % in the mean, with a standard deviation of 2.7 %.

PHREEQC takes milliseconds a point, so it is asked once for a grid.
"""

from functools import cache

import numpy as np
import phreeqc
from scipy.interpolate import RegularGridInterpolator

from brineward.fitting.conductivity_rows import Curve, Floats, observations
from brineward.fitting.forms import CHOSEN, OTHERS, curve, fitted
from brineward.physics.conductivity_coefficients import LEVEL as LEVEL_COEFFICIENTS
from brineward.physics.conductivity_coefficients import OFFSET_K, STEEPNESS
from brineward.physics.liquid_lines import most_liquid
from brineward.physics.salt import molality_from_mass_fraction

MASS_FRACTIONS = np.linspace(0.18, 0.26, 9)
TEMPERATURES_C = np.linspace(-20.0, 36.0, 29)
PHREEQC_TRUST = 0.4
"""Standard deviation: PHREEQC's own 3.6 % at 0 degC becomes 1.5 %."""
LEVEL = 0.0045
COLD_PER_K, COLD_PER_K_SPREAD = 0.0017, 0.0021
"""Below 0 degC, a kelvin: what the other parts leave of the outside estimates at -10 degC."""


class World:
    """One truth: ln of conductivity in S/m, over mass fraction and temperature."""

    def __init__(self, differences: Floats) -> None:
        self._difference = RegularGridInterpolator((MASS_FRACTIONS, TEMPERATURES_C), differences)

    def log_conductivity(self, mass_fraction: Floats, temperature_c: Floats) -> Floats:
        """Mass fraction 0.18 to 0.26, temperature -20 to 36 degC."""
        found: Floats = _ours()(mass_fraction, temperature_c)
        return found + self.difference(mass_fraction, temperature_c)

    def difference(self, mass_fraction: Floats, temperature_c: Floats) -> Floats:
        """By how much ln of conductivity is more here than our curve says; ranges as above."""
        found: Floats = self._difference(np.column_stack([mass_fraction, temperature_c]))
        return found


def drawn_world(random: np.random.Generator) -> World:
    """A world by chance."""
    held, free, forms = _differences()
    if random.random() < 0.5:
        difference = held + PHREEQC_TRUST * random.standard_normal() * free
    else:
        difference = random.standard_normal() * forms[random.integers(len(forms))]
    cold = np.minimum(TEMPERATURES_C, 0.0)[None, :]
    tilt = COLD_PER_K + COLD_PER_K_SPREAD * random.standard_normal()
    return World(difference + LEVEL * random.standard_normal() + tilt * cold)


@cache
def _ours() -> Curve:
    return curve(CHOSEN, np.array([*LEVEL_COEFFICIENTS[2:], *STEEPNESS, OFFSET_K]))


@cache
def _differences() -> tuple[Floats, Floats, tuple[Floats, ...]]:
    """PHREEQC held to saturated brine, what holding it took away, and the forms; all less ours."""
    w, t = (axis.ravel() for axis in np.meshgrid(MASS_FRACTIONS, TEMPERATURES_C, indexing="ij"))
    saturated = np.array([most_liquid(float(one)) for one in TEMPERATURES_C])
    shape = (MASS_FRACTIONS.size, TEMPERATURES_C.size)
    ours = _ours()
    free = _phreeqc(w, t) - ours(w, t)
    at_saturation = _phreeqc(saturated, TEMPERATURES_C) - ours(saturated, TEMPERATURES_C)
    taken = np.broadcast_to(at_saturation, shape)
    forms = [fitted(form, observations())(w, t) - ours(w, t) for form in OTHERS]
    return free.reshape(shape) - taken, taken, tuple(form.reshape(shape) for form in forms)


def _phreeqc(mass_fractions: Floats, temperatures_c: Floats) -> Floats:
    """ln of conductivity in S/m by PHREEQC with pitzer.dat."""
    lines: list[str] = []
    for number, (w, t) in enumerate(zip(mass_fractions, temperatures_c, strict=True), start=1):
        molality = molality_from_mass_fraction(float(w))
        lines += [f"SOLUTION {number}", f" temp {t}", " units mol/kgw"]
        lines += [f" Na {molality}", f" Cl {molality}"]
    lines += ["SELECTED_OUTPUT", " -reset false", "USER_PUNCH", " -headings sc", " -start"]
    lines += [" 10 PUNCH SC", " -end", "END"]
    program = phreeqc.Phreeqc()
    program.LoadBuiltInDatabase("pitzer.dat")
    if program.RunString("\n".join(lines)) != 0:
        raise ValueError(program.GetErrorString())
    per_cm = np.array(program.GetSelectedOutput()["sc"], dtype=np.float64)
    found: Floats = np.log(per_cm / 1e4)
    return found
