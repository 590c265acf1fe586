"""How fast a pump heats the brine in it against a closed valve.

All of the pump's power becomes heat in the liquid of its casing. Left out: the casing's own metal,
which takes up some of that heat, and what it gives off to the air. Both make the real pump slower,
so a time from here errs early.
"""

from math import exp, isfinite, log, sqrt

from brineward.physics.density import COLDEST_C, WARMEST_C, density

HOTTEST_C = 100.0
MOST_MASS_FRACTION = 0.27

_WATER = (4217.4356, -5.6181625, 1.2992528, -0.11535353, 4.14964e-3)
"""J/(kg K) for the powers 0, 1, 3/2, 2 and 5/2 of degC."""
_SALT_1, _SALT_2, _SALT_3 = -0.0693559668993322, -0.0782134167486952, 3.84798479408635
_SALT_4, _SALT_5, _SALT_6 = -11.2762109247072, 8.73187698542672, 1.81245930472755


def specific_heat(mass_fraction: float, temperature_c: float) -> float:
    """The specific heat of brine, J/(kg K); 3,323 at 23.3 % and 10 degC.

    Valid: mass fraction 0 to 0.27 (fitted up to 0.261), temperature -21.1 to 100 degC; below
    0 degC the value at 0 degC.
    Uncertainty: 0.7 % from 0 to 40 degC, 1.5 % down to -15 degC (by Melinder's tables, CoolProp's
    INCOMP::MNA).
    Raises: ValueError outside that range.
    Source: brine: Laliberte, J. Chem. Eng. Data 54 (2009) 1725; water in it: Popiel & Wojtkowiak,
    Heat Transfer Engineering 19 (1998) 87 (from memory; IAPWS-95 agrees within 0.1 %).
    """
    if not 0.0 <= mass_fraction <= MOST_MASS_FRACTION:
        raise ValueError(f"a mass fraction of {mass_fraction} is outside 0 to {MOST_MASS_FRACTION}")
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(
            f"brine's specific heat is known from {COLDEST_C:.1f} to {HOTTEST_C:.0f} degC, not at"
            f" {temperature_c} degC"
        )
    t = max(temperature_c, 0.0)
    a, b, c, d, e = _WATER
    root = sqrt(t)
    water = a + t * (b + c * root + t * (d + e * root))
    if mass_fraction == 0.0:
        return water
    warmth = _SALT_2 * t + _SALT_3 * exp(0.01 * t) + _SALT_4 * mass_fraction
    salt = 1000.0 * (_SALT_1 * exp(warmth) + _SALT_5 * exp(_SALT_6 * log(mass_fraction)))
    return (1.0 - mass_fraction) * water + mass_fraction * salt


def heating_k_per_s(
    shut_off_power_w: float, liquid_m3: float, mass_fraction: float, temperature_c: float
) -> float:
    """How fast the liquid in a pump warms against a closed valve, K/s; 5 L and 1.5 kW: 0.077.

    Power and volume above 0 (at most 1 MW and 10 m3), the rest as `specific_heat`.
    Raises: ValueError outside that range.
    """
    if not (isfinite(shut_off_power_w) and 0.0 < shut_off_power_w <= 1e6):
        raise ValueError(f"a pump's shut-off power is above 0 W, not {shut_off_power_w}")
    if not (isfinite(liquid_m3) and 0.0 < liquid_m3 <= 10.0):
        raise ValueError(f"a pump's casing holds more than 0 m3, not {liquid_m3}")
    capacity = liquid_m3 * _heat_per_m3_k(mass_fraction, temperature_c)
    return shut_off_power_w / capacity


def seconds_to_temperature(
    shut_off_power_w: float,
    liquid_m3: float,
    mass_fraction: float,
    temperature_c: float,
    limit_c: float,
) -> float:
    """The seconds until the liquid in the pump is as hot as the limit; 0 where it is already.

    5 L of 23.3 % brine at 10 degC with 1.5 kW reach 60 degC in 11 minutes. Errs early, see the
    module's text: 4.6 kJ/K of steel (10 kg) beside 5 L of brine would give a quarter more.

    Valid: as `heating_k_per_s`, limit up to 100 degC.
    Uncertainty: of the brine's part 1 % up to 50 degC; beyond that its density is taken as at
    50 degC, which is 1.5 % too heavy at 80 degC.
    Raises: ValueError outside that range.
    """
    if not temperature_c < limit_c <= HOTTEST_C:
        heating_k_per_s(shut_off_power_w, liquid_m3, mass_fraction, temperature_c)
        if limit_c <= temperature_c:
            return 0.0
        raise ValueError(f"a pump's liquid is followed up to {HOTTEST_C:.0f} degC, not {limit_c}")
    # Nearly straight over temperature, so Simpson's rule is as good as exact.
    first, middle, last = (
        1.0 / heating_k_per_s(shut_off_power_w, liquid_m3, mass_fraction, at_c)
        for at_c in (temperature_c, (temperature_c + limit_c) / 2.0, limit_c)
    )
    return (limit_c - temperature_c) * (first + 4.0 * middle + last) / 6.0


def _heat_per_m3_k(mass_fraction: float, temperature_c: float) -> float:
    heavy = density(mass_fraction, min(temperature_c, WARMEST_C))
    return heavy * specific_heat(mass_fraction, temperature_c)
