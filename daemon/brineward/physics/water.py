"""Density of pure water at one atmosphere."""

COLDEST_C = -22.0
WARMEST_C = 100.0
FRESH_KG_PER_M3 = 1000.0
"""Of the water that brine is made of, wherever its mass is said as a volume or the other way round:
within 0.1 % from 0 to 15 degC (Kell, as below)."""


def water_density(temperature_c: float) -> float:
    """The density of air-free water, kg/m3.

    Valid: 0 to 100 degC; carried on to -22 degC as a base for brine only.
    Uncertainty: 0.001 % from 0 to 40 degC.
    Raises: ValueError outside that range.
    Source: Kell, J. Chem. Eng. Data 20 (1975) 97.
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise ValueError(f"water's density is not known at {temperature_c} degC")
    t = temperature_c
    powers = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return powers / (1.0 + 16.879850e-3 * t)
