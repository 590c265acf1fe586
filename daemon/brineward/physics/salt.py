"""Sodium chloride as a substance: molar masses, and mass fraction to molality and back."""

MOLAR_MASS_NACL_KG_PER_MOL = 0.05844277
"""IUPAC 2013 standard atomic weights, conventional values."""
MOLAR_MASS_WATER_KG_PER_MOL = 0.01801528
GAS_CONSTANT_J_PER_MOL_K = 8.314462618
"""CODATA 2018, exact."""
ZERO_CELSIUS_K = 273.15


def molality_from_mass_fraction(mass_fraction: float) -> float:
    """Moles of salt per kilogram of water; mass fraction in [0, 1)."""
    return mass_fraction / (1.0 - mass_fraction) / MOLAR_MASS_NACL_KG_PER_MOL


def mass_fraction_from_molality(molality: float) -> float:
    """The mass fraction of a solution of this molality, mol/kg, from 0 up."""
    salt_kg = molality * MOLAR_MASS_NACL_KG_PER_MOL
    return salt_kg / (1.0 + salt_kg)
