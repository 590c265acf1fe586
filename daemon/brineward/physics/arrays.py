"""Many readings at once, for history and plots; the only module here that needs numpy.

The same curve as `inversion`, value by value within 1e-9, which a test holds. A refused reading is
masked: it has no number. Work goes in blocks that stay in a processor's cache, through one set of
scratch rows, since fetching fresh memory costs more than the arithmetic.

The search starts from a table: root of mass fraction over a scaled root of conductivity, by
fifths of a kelvin and by that root. It is so near that one step of Cauchy's does for most values.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from brineward.physics.conductivity import WARMEST_C
from brineward.physics.conductivity_coefficients import LEVEL, OFFSET_K, STEEPNESS
from brineward.physics.inversion import Isotherm
from brineward.physics.liquid_lines import most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Masked = np.ma.MaskedArray[tuple[int, ...], np.dtype[np.float64]]

_A0, _A1, _A2, _A3, _A4, _A5 = LEVEL
_D0, _D1, _D2 = STEEPNESS
_FROM_25 = 25.0 + OFFSET_K
_BLOCK = 8192
_STEPS = 60
_NEAR = 1e-6
_NEAR_AFTER_TABLE = 4e-4
"""A first step this small leaves less than 1e-9: the digits treble."""
_COLUMNS = 96
_SPARE_COLUMNS = 16
_PER_KELVIN = 5


class _Start(NamedTuple):
    """Where the search starts, see the module's text; and saturation by the same rows."""

    scale: tuple[float, float, float]
    base: Floats
    slope: Floats
    most: Floats
    most_slope: Floats


def mass_fractions_from_conductivity(conductivity_s_per_m: Floats, temperature_c: Floats) -> Masked:
    """Mass fractions of the liquids that conduct so much: `mass_fraction_from_conductivity`.

    Two arrays of one shape, S/m and degC. Masked where the scalar function refuses; within 1e-6
    of saturation in mass fraction the two may differ on that.
    Valid, Uncertainty and Source: as the scalar function.
    Raises: ValueError where the shapes differ.
    """
    shape = np.shape(conductivity_s_per_m)
    if np.shape(temperature_c) != shape:
        raise ValueError(f"{shape} conductivities need as many temperatures, not {temperature_c}")
    conducts = np.ascontiguousarray(conductivity_s_per_m, dtype=np.float64).ravel()
    warm = np.ascontiguousarray(temperature_c, dtype=np.float64).ravel()
    found, refused = np.empty(conducts.size), np.empty(conducts.size, dtype=np.bool_)
    scratch, places = np.empty((8, _BLOCK)), np.empty((2, _BLOCK), dtype=np.intp)
    with np.errstate(all="ignore"):
        for begin in range(0, conducts.size, _BLOCK):
            part = slice(begin, begin + _BLOCK)
            count = conducts[part].size
            found[part], refused[part] = _block(
                conducts[part], warm[part], scratch[:, :count], places[:, :count]
            )
    return np.ma.MaskedArray(found.reshape(shape), mask=refused.reshape(shape))


def _block(
    conducts: Floats, warm: Floats, scratch: Floats, places: npt.NDArray[np.intp]
) -> tuple[Floats, Flags]:
    # Least and greatest are quick to find, and not a number in, not a number out.
    if warm.min() >= EUTECTIC_C and warm.max() <= WARMEST_C and conducts.min() > 0.0:
        return _liquid(conducts, warm, scratch, places)
    sane = (warm >= EUTECTIC_C) & (warm <= WARMEST_C) & (conducts >= 0.0)
    pure = conducts == 0.0
    known = sane & ~pure
    found, refused = _liquid(
        np.where(known, conducts, 1.0), np.where(sane, warm, 25.0), scratch, places
    )
    found[pure] = 0.0
    return found, (refused & ~pure) | ~sane


def _liquid(
    conducts: Floats, warm: Floats, scratch: Floats, places: npt.NDArray[np.intp]
) -> tuple[Floats, Flags]:
    start = _start()
    s, x, target, c1, c2, *_ = scratch
    row = places[0]
    _seek_start(conducts, warm, scratch, places)
    np.subtract(warm, 25.0, out=c1)
    np.add(warm, OFFSET_K, out=c2)
    c2 *= _FROM_25
    c1 /= c2
    np.multiply(c1, _D2, out=c2)
    c2 += _A2
    np.log(conducts, out=target)
    np.multiply(c1, _D0, out=x)
    target -= x
    target -= _A0
    c1 *= _D1
    c1 += _A1
    step = _step(s, c1, c2, target, scratch[5:])
    s -= step
    np.abs(step, out=step)
    step /= s
    # The largest is not a number where one is not, which is not below either.
    if not step.max() < _NEAR_AFTER_TABLE:
        far = np.flatnonzero(~(step < _NEAR_AFTER_TABLE))
        s[far] = _searched(s[far], c1[far], c2[far], target[far])
    s *= s
    np.multiply(start.most_slope.take(row, out=x, mode="clip"), warm, out=x)
    x += start.most.take(row, out=target, mode="clip")
    refused = s <= x
    return s, np.logical_not(refused, out=refused)


def _seek_start(
    conducts: Floats, warm: Floats, scratch: Floats, places: npt.NDArray[np.intp]
) -> None:
    """Leaves the roots to start from in the first scratch row, the table's rows in `places`."""
    start = _start()
    s, x, other, *_ = scratch
    row, place = places
    np.sqrt(conducts, out=x)
    np.multiply(warm, start.scale[2], out=s)
    s += start.scale[1]
    s *= warm
    s += start.scale[0]
    x *= s
    np.subtract(warm, EUTECTIC_C, out=s)
    s *= _PER_KELVIN
    s += 0.5
    np.copyto(row, s, casting="unsafe")
    # Far above saturation there is no root, and the last column is as good as any.
    np.multiply(x, _COLUMNS, out=s)
    np.minimum(s, _COLUMNS + _SPARE_COLUMNS - 1, out=s)
    np.copyto(place, s, casting="unsafe")
    place += row * (_COLUMNS + _SPARE_COLUMNS)
    start.slope.take(place, out=s, mode="clip")
    s *= x
    s += start.base.take(place, out=other, mode="clip")
    s *= x


def _searched(s: Floats, c1: Floats, c2: Floats, target: Floats) -> Floats:
    scratch = np.empty((3, s.size))
    for _ in range(_STEPS):
        step = _step(s, c1, c2, target, scratch)
        s = s - step
        if not (np.abs(step) > _NEAR * s).any():
            break
    return s


def _step(s: Floats, c1: Floats, c2: Floats, target: Floats, scratch: Floats) -> Floats:
    """To the nearer root of the parabola with the curve's value, slope and bend at `s`.

    Value, slope and bend are all of them halved, which leaves the root where it is.
    """
    value, slope, bend = scratch
    np.multiply(s, _A5, out=value)
    np.multiply(s, 2.5 * _A5, out=slope)
    np.multiply(s, 10 * _A5, out=bend)
    value += _A4
    slope += 2 * _A4
    bend += 6 * _A4
    scratch *= s
    value += _A3
    slope += 1.5 * _A3
    bend += 3 * _A3
    scratch *= s
    value += c2
    slope += c2
    bend += c2
    value *= s
    value += c1
    value *= s
    value -= target
    value *= 0.5
    slope *= s
    return _finished_step(s, c1, value, slope, bend)


def _finished_step(s: Floats, c1: Floats, value: Floats, slope: Floats, bend: Floats) -> Floats:
    other = c1 * 0.5
    slope += other
    np.log(s, out=other)
    value += other
    np.divide(1.0, s, out=other)
    slope += other
    other *= other
    bend -= other
    bend *= value
    bend *= 2.0
    value *= 2.0
    np.multiply(slope, slope, out=other)
    other -= bend
    np.maximum(other, 0.0, out=other)
    np.sqrt(other, out=other)
    slope += other
    value /= slope
    return value


@cache
def _start() -> _Start:
    warm = EUTECTIC_C + np.arange(round((WARMEST_C - EUTECTIC_C) * _PER_KELVIN) + 2) / _PER_KELVIN
    most = np.array([most_liquid(min(float(t), WARMEST_C)) for t in warm])
    isotherms = [Isotherm(float(t), float(m)) for t, m in zip(warm, most, strict=True)]
    saturated = np.exp([isotherm.most_log / 2.0 for isotherm in isotherms])
    scale = np.polynomial.polynomial.polyfit(warm, 1.0 / saturated, 2)
    edges = np.arange(_COLUMNS + _SPARE_COLUMNS + 1) / _COLUMNS
    edges[0] = 1e-6
    ratio = np.empty((warm.size, edges.size))
    for i, (t, isotherm) in enumerate(zip(warm, isotherms, strict=True)):
        scaled = edges / float(np.polynomial.polynomial.polyval(t, scale))
        logs = np.minimum(2.0 * np.log(scaled), isotherm.most_log)
        ratio[i] = [isotherm.mass_fraction(float(y)) ** 0.5 for y in logs] / edges
    slope = np.diff(ratio, axis=1) / np.diff(edges)
    base = ratio[:, :-1] - slope * edges[:-1]
    most_slope = np.gradient(most, warm)
    return _Start(
        (float(scale[0]), float(scale[1]), float(scale[2])),
        base.ravel(),
        slope.ravel(),
        most - most_slope * warm + 1e-12,
        most_slope,
    )
