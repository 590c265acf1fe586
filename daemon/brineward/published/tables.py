"""The tables as rows: units are turned into SI here, once, and the source stays with each row."""

import csv
from collections.abc import Mapping
from importlib import resources
from typing import NamedTuple


class Source(NamedTuple):
    """Where a row comes from."""

    id: str
    cited_as: str
    """By author or book and year, short enough for a picture's legend."""
    source: str
    how_known: str


class ConductivityRow(NamedTuple):
    """One published conductivity: S/m."""

    source: str
    mass_fraction: float
    temperature_c: float
    conductivity_s_per_m: float


class ConductivityCoefficientRow(NamedTuple):
    """One published temperature coefficient of conductivity at 18 degC: 1/K."""

    source: str
    mass_fraction: float
    coefficient_per_k: float


class DensityRow(NamedTuple):
    """One published density: kg/m3."""

    source: str
    mass_fraction: float
    temperature_c: float
    density_kg_per_m3: float


class FreezingRow(NamedTuple):
    """One published point of the line where a solid (ice, hydrohalite) first appears on cooling."""

    source: str
    mass_fraction: float
    temperature_c: float
    solid_phase: str


class SolubilityRow(NamedTuple):
    """One published saturation: the most salt that stays dissolved."""

    source: str
    temperature_c: float
    mass_fraction: float


class HydrometerRow(NamedTuple):
    """One line of a hydrometer table, on the scale (reference temperatures) that it names."""

    source: str
    scale: str
    mass_fraction: float
    salometer_degrees: float
    specific_gravity: float


def sources() -> Mapping[str, Source]:
    """Every source by its id, as the tables cite it."""
    return {line["id"]: Source(**line) for line in _lines("sources")}


def conductivity_rows() -> tuple[ConductivityRow, ...]:
    """Every published conductivity; the table's mS/cm become S/m."""
    return tuple(
        ConductivityRow(
            line["source"],
            float(line["mass_percent"]) / 100.0,
            float(line["temperature_c"]),
            float(line["conductivity_ms_per_cm"]) / 10.0,
        )
        for line in _lines("conductivity")
    )


def conductivity_coefficient_rows() -> tuple[ConductivityCoefficientRow, ...]:
    """Every published temperature coefficient of conductivity at 18 degC."""
    return tuple(
        ConductivityCoefficientRow(
            line["source"],
            float(line["mass_percent"]) / 100.0,
            float(line["alpha_at_18c_per_c"]),
        )
        for line in _lines("conductivity_temperature_coefficient_18c")
    )


def density_rows() -> tuple[DensityRow, ...]:
    """Every published density."""
    return tuple(
        DensityRow(
            line["source"],
            float(line["mass_percent"]) / 100.0,
            float(line["temperature_c"]),
            float(line["density_kg_per_m3"]),
        )
        for line in _lines("density")
    )


def freezing_rows() -> tuple[FreezingRow, ...]:
    """Every published point of the ice and hydrohalite lines, the eutectic among them."""
    return tuple(
        FreezingRow(
            line["source"],
            float(line["mass_percent"]) / 100.0,
            float(line["temperature_c"]),
            line["solid_phase"],
        )
        for line in _lines("freezing")
    )


def solubility_rows() -> tuple[SolubilityRow, ...]:
    """Every published saturation, of hydrohalite below 0.1 degC and of halite above."""
    return tuple(
        SolubilityRow(
            line["source"],
            float(line["temperature_c"]),
            float(line["saturation_mass_percent"]) / 100.0,
        )
        for line in _lines("solubility")
    )


def hydrometer_rows() -> tuple[HydrometerRow, ...]:
    """Every line of the hydrometer tables."""
    return tuple(
        HydrometerRow(
            line["source"],
            line["scale"],
            float(line["mass_percent"]) / 100.0,
            float(line["salometer_degrees"]),
            float(line["specific_gravity"]),
        )
        for line in _lines("hydrometer")
    )


def _lines(table: str) -> list[dict[str, str]]:
    text = resources.files(__package__).joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
