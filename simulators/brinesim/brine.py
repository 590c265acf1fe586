"""Properties of sodium chloride brine, forward only: what a brine of this strength is like.

Computed from the published tables in `brinesim.published`; shares nothing with the watchman that
the simulator is to test. Mass fractions 0-1, temperatures in degC, kg/m3, mS/cm, J/(kg K).
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares

from brinesim.published import table

Floats = NDArray[np.float64]

WATER_HEAT_CAPACITY = 4190.0
"""J/(kg K), water near 10 degC (steam tables, from memory)."""
SALT_HEAT_CAPACITY = 500.0
"""J/(kg K) that dissolved salt adds; makes 23.3 % come to 3,330, as chilled-brine tables have it
(from memory; within 4 % of CoolProp's MNA from 0 to 23 %)."""
SOLID_HEAT_CAPACITY = 860.0
"""J/(kg K) of halite (CRC Handbook, from memory)."""
HEAT_OF_SOLUTION = 40_000.0
"""J taken up by each kg of salt that dissolves to near saturation (integral heat 3.9 kJ/mol at
infinite dilution falls to about 2.3 near saturation; from memory)."""


def water_density(temperature_c: float) -> float:
    """Density of pure water in kg/m3, -20 to 100 degC.

    Source: Kell, J. Chem. Eng. Data 20 (1975) 97, equation for 1 atm (from memory, checked against
    CoolProp in the tests).
    """
    t = temperature_c
    over = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return over / (1 + 16.879850e-3 * t)


@cache
def density_coefficients() -> tuple[float, ...]:
    """Least-squares coefficients of brine over water density on every published row."""
    rows = table("density")
    w = np.array([float(r["mass_percent"]) for r in rows]) / 100
    t = np.array([float(r["temperature_c"]) for r in rows])
    rho = np.array([float(r["density_kg_per_m3"]) for r in rows])
    base = np.array([water_density(x) for x in t])
    terms = np.stack([w, w * t, w * t * t, w * w, w * w * t, w**3], axis=1)
    found, *_ = np.linalg.lstsq(terms, rho - base, rcond=None)
    return tuple(float(x) for x in found)


def density_from_mass_fraction(mass_fraction: float, temperature_c: float) -> float:
    """Density in kg/m3; 0-0.265, -20 to 40 degC (below 0 degC extrapolated: no published rows)."""
    a, b, c, d, e, f = density_coefficients()
    w, t = mass_fraction, temperature_c
    return water_density(t) + w * (a + t * (b + c * t) + w * (d + e * t + f * w))


def heat_capacity_from_mass_fraction(mass_fraction: float) -> float:
    """Heat capacity in J/(kg K), 0-0.265: water and salt simply added."""
    return WATER_HEAT_CAPACITY * (1 - mass_fraction) + SALT_HEAT_CAPACITY * mass_fraction


@cache
def _saturation() -> tuple[list[float], list[float]]:
    rows = [r for r in table("solubility") if r["source"] == "SALTINST"]
    return (
        [float(r["temperature_c"]) for r in rows],
        [float(r["saturation_mass_percent"]) / 100 for r in rows],
    )


def _straight(x: float, xs: list[float], ys: list[float]) -> float:
    if x <= xs[0]:
        return ys[0]
    for i in range(1, len(xs)):
        if x <= xs[i]:
            return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])
    return ys[-1]


@cache
def _saturation_at_tenth(tenth_degrees: int) -> float:
    return _straight(tenth_degrees / 10, *_saturation())


def saturation_from_temperature(temperature_c: float) -> float:
    """Mass fraction of saturated brine, -21 to 38 degC (SALTINST), to the nearest 0.1 degC."""
    return _saturation_at_tenth(round(temperature_c * 10))


@cache
def _freezing() -> tuple[list[float], list[float]]:
    rows = [r for r in table("freezing") if r["source"] == "CRC"]
    rows += [r for r in table("freezing") if r["source"] == "SALTINST"]
    points = sorted(
        {float(r["mass_percent"]) / 100: float(r["temperature_c"]) for r in rows}.items()
    )
    return [0.0, *(w for w, _ in points)], [0.0, *(t for _, t in points)]


def freezing_from_mass_fraction(mass_fraction: float) -> float:
    """Temperature in degC at which the first solid (ice, or hydrohalite above 23.3 %) appears."""
    return _straight(mass_fraction, *_freezing())


class _Conductivity:
    """kappa25(w) through Chambers & Stokes, carried to other temperatures by a fitted VTF law."""

    def __init__(self) -> None:
        rows = table("conductivity")
        at_25 = [
            (float(r["mass_percent"]), float(r["conductivity_ms_per_cm"]))
            for r in rows
            if r["source"] == "CSS25"
        ]
        saturated = {
            float(r["temperature_c"]): float(r["conductivity_ms_per_cm"])
            for r in rows
            if r["source"] == "SATNACL"
        }
        # Between the saturated values at 20 and 30 degC: the curve's last point at 25 degC.
        at_25.append((26.48, (saturated[20.0] + saturated[30.0]) / 2))
        w = np.array([0.0, *(x for x, _ in at_25)]) / 100
        # Per mass fraction, so that the dilute end is smooth; the first value is the limit.
        per_w = np.array(
            [at_25[0][1] / at_25[0][0] * 1.045 * 100, *(100 * k / x for x, k in at_25)]
        )
        self._at_25 = PchipInterpolator(w, per_w, extrapolate=True)
        self.law = self._fit(rows)

    def _fit(self, rows: tuple[dict[str, str], ...]) -> tuple[float, ...]:
        usable = [r for r in rows if r["source"] in {"CRC20", "CRCD20", "KOHL18", "SATNACL"}]
        w = np.array([float(r["mass_percent"]) for r in usable]) / 100
        t = np.array([float(r["temperature_c"]) for r in usable])
        logs = np.log([float(r["conductivity_ms_per_cm"]) for r in usable]) - np.log(self.at_25(w))
        # McCleskey's level is low, its ratio over temperature is good.
        warm = {
            r["mass_percent"]: float(r["conductivity_ms_per_cm"])
            for r in rows
            if r["source"] == "MCCL12" and r["temperature_c"] == "25"
        }
        ratios = [r for r in rows if r["source"] == "MCCL12"]
        w = np.concatenate([w, [float(r["mass_percent"]) / 100 for r in ratios]])
        t = np.concatenate([t, [float(r["temperature_c"]) for r in ratios]])
        logs = np.concatenate(
            [
                logs,
                [
                    np.log(float(r["conductivity_ms_per_cm"]) / warm[r["mass_percent"]])
                    for r in ratios
                ],
            ]
        )
        slopes = table("conductivity_temperature_coefficient_18c")
        sw = np.array([float(r["mass_percent"]) / 100 for r in slopes])
        sa = np.array([float(r["alpha_at_18c_per_c"]) for r in slopes])

        def misfit(p: Floats) -> Floats:
            slope = self._log_ratio(sw, np.full_like(sw, 18.5), p) - self._log_ratio(
                sw, np.full_like(sw, 17.5), p
            )
            return np.concatenate([(self._log_ratio(w, t, p) - logs) / 0.01, (slope - sa) / 0.0005])

        found = least_squares(
            misfit,
            np.array([500.0, 0.0, 0.0, 120.0, 0.0]),
            x_scale=[100.0, 1000.0, 5000.0, 20.0, 100.0],
        )
        return tuple(float(x) for x in found.x)

    @staticmethod
    def _log_ratio(w: Floats, t: Floats, p: Floats) -> Floats:
        b = p[0] + w * (p[1] + p[2] * w)
        zero = p[3] + p[4] * w
        return np.asarray(-b * (1 / (t + zero) - 1 / (25 + zero)), dtype=np.float64)

    def at_25(self, w: Floats) -> Floats:
        return np.asarray(self._at_25(w) * w, dtype=np.float64)

    def at(self, w: Floats, t: Floats) -> Floats:
        return np.asarray(self.at_25(w) * np.exp(self._log_ratio(w, t, np.array(self.law))))


@cache
def _conductivity() -> _Conductivity:
    return _Conductivity()


def conductivity_from_mass_fraction(mass_fraction: Floats, temperature_c: Floats) -> Floats:
    """Conductivity in mS/cm, as a probe without temperature compensation sees it.

    Valid 0-0.265 and 0 to 40 degC; no measured value below 0 degC is known, so colder is the law's
    own extrapolation. Source: the tables; see `brinesim.published`.
    """
    return _conductivity().at(np.asarray(mass_fraction), np.asarray(temperature_c))
