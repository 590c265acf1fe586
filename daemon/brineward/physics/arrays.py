"""Mass fractions of a million readings at once, for history and plots; needs numba.

The same curve as `inversion`, value by value within 1e-9, which a test holds. A refused reading is
masked. Work goes in blocks that stay in a processor's cache, in short loops that a processor can
do several values of at a time: where to start (a table), a logarithm (numpy's), and one step of
Cauchy's on the curve itself, in closed form. What one step can't settle (a reading next to a line,
or none at all) is then done one by one.

The table holds the root of mass fraction over a scaled root of conductivity, by half kelvin and by
that root, and is read linearly both ways.
"""

from functools import cache
from math import log, sqrt

import numpy as np
import numpy.typing as npt

from brineward.physics.compiled import compiled
from brineward.physics.compiled_inversion import (
    A0,
    A1,
    A2,
    A3,
    A4,
    A5,
    D0,
    D1,
    D2,
    FROM_25,
    curve,
    mass_fraction,
    most_liquid,
    root,
)
from brineward.physics.conductivity import WARMEST_C
from brineward.physics.conductivity_coefficients import OFFSET_K
from brineward.physics.phase_coefficients import EUTECTIC_C

Floats = npt.NDArray[np.float64]
Pair = tuple[Floats, Floats]
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int32]
Scale = tuple[float, float, float]
Masked = np.ma.MaskedArray[tuple[int, ...], np.dtype[np.float64]]

_BLOCK = 8192
_PER_KELVIN = 2
_ROWS = round((WARMEST_C - EUTECTIC_C) * _PER_KELVIN) + 3
_PER_ROOT = 512
_COLUMNS = _PER_ROOT + 24
"""The scaled root of saturated brine's conductivity goes up to 1.03."""
_SETTLED = 3e-4
"""A first step this small, relative, leaves less than 1e-9: the digits treble."""
_NEAR_SATURATION = 1e-9


def mass_fractions_from_conductivity(conductivity_s_per_m: Floats, temperature_c: Floats) -> Masked:
    """Mass fractions of the liquids that conduct so much: `mass_fraction_from_conductivity`.

    Two arrays of one shape, S/m and degC. Masked where the scalar function refuses.
    Valid, Uncertainty and Source: as the scalar function.
    Raises: ValueError where the shapes differ.
    """
    shape = np.shape(conductivity_s_per_m)
    if np.shape(temperature_c) != shape:
        raise ValueError(f"{shape} conductivities need as many temperatures, not {temperature_c}")
    conducts = np.array(conductivity_s_per_m, dtype=np.float64, order="C", copy=None).ravel()
    warm = np.array(temperature_c, dtype=np.float64, order="C", copy=None).ravel()
    found, doubtful = np.empty(conducts.size), np.empty(conducts.size, dtype=np.bool_)
    scratch, places = np.empty((2, _BLOCK)), np.empty(_BLOCK, dtype=np.int32)
    scale, table = _start()
    with np.errstate(all="ignore"):
        for begin in range(0, conducts.size, _BLOCK):
            part = slice(begin, begin + _BLOCK)
            readings, s, unsettled = (conducts[part], warm[part]), found[part], doubtful[part]
            down, across = steps = scratch[0, : s.size], scratch[1, : s.size]
            _seek_place(readings, scale, s, steps, places[: s.size])
            _look_up(table, places[: s.size], down, across, s)
            # What was looked up makes room for what comes next.
            ratio, warmth = steps
            _divide(readings, s, ratio, warmth)
            np.log(ratio, out=ratio)
            _step(readings[1], ratio, warmth, s, unsettled)
            if unsettled.any():
                _settle(*readings, s, unsettled)
    return np.ma.MaskedArray(found.reshape(shape), mask=doubtful.reshape(shape))


@compiled
def _seek_place(readings: Pair, scale: Scale, s: Floats, steps: Pair, places: Places) -> None:
    """Scaled roots of conductivity, and where in the table they are: never outside of it."""
    conducts, warm = readings
    down, across = steps
    for i in range(s.size):
        t = warm[i]
        x = sqrt(conducts[i]) * (scale[0] + t * (scale[1] + t * scale[2]))
        row, column = (t - EUTECTIC_C) * _PER_KELVIN, x * _PER_ROOT
        # Written so that what is not a number comes inside too.
        row = row if row < _ROWS - 2.0 else _ROWS - 2.0
        row = row if row > 0.0 else 0.0
        column = column if column < _COLUMNS - 2.0 else _COLUMNS - 2.0
        column = column if column > 0.0 else 0.0
        whole_row, whole_column = np.int32(row), np.int32(column)
        s[i], down[i], across[i] = x, row - whole_row, column - whole_column
        places[i] = whole_row * _COLUMNS + whole_column


@compiled
def _look_up(table: Floats, places: Places, down: Floats, across: Floats, s: Floats) -> None:
    """From scaled roots of conductivity to roots of mass fraction, in place."""
    for i in range(s.size):
        # Unsigned, or each look into the table would first ask whether to count from its end.
        here = np.uint32(places[i])
        below = np.uint32(here + _COLUMNS)
        cool, warmer = table[here], table[below]
        cool += across[i] * (table[np.uint32(here + 1)] - cool)
        warmer += across[i] * (table[np.uint32(below + 1)] - warmer)
        s[i] *= cool + down[i] * (warmer - cool)


@compiled
def _divide(readings: Pair, s: Floats, ratio: Floats, warmth: Floats) -> None:
    """Conductivity over the root's square, and the curve's warmth, by one division for both."""
    conducts, warm = readings
    for i in range(s.size):
        absolute, square = warm[i] + OFFSET_K, s[i] * s[i]
        inverse = 1.0 / (absolute * square)
        ratio[i] = conducts[i] * (inverse * absolute)
        warmth[i] = 1.0 / FROM_25 - inverse * square


@compiled
def _step(warm: Floats, ratio: Floats, warmth: Floats, s: Floats, unsettled: Flags) -> None:
    """One step of Cauchy's from a root `s`, with `ratio` now a logarithm; then squared.

    Value, slope and bend are of the curve over the logarithm of the root: no division for them.
    The nearer root of their parabola is written as a series: no square root for it.
    """
    for i in range(s.size):
        r, h, t = s[i], warmth[i], warm[i]
        c1, c2 = r * (A1 + h * D1), r * r * (A2 + h * D2)
        c3, c4 = r * r * r * A3, r * r * r * r * A4
        c5 = c4 * r * (A5 / A4)
        value = A0 + h * D0 - ratio[i] + c1 + c2 + c3 + c4 + c5
        slope = 2.0 + c1 + 2.0 * c2 + 3.0 * c3 + 4.0 * c4 + 5.0 * c5
        bend = c1 + 4.0 * c2 + 9.0 * c3 + 16.0 * c4 + 25.0 * c5
        per_slope = 1.0 / slope
        straight = value * per_slope
        bent = 0.5 * straight * bend * per_slope
        step = straight * (1.0 + bent * (1.0 + bent * (2.0 + bent * 5.0)))
        r *= 1.0 - step * (1.0 - 0.5 * step)
        s[i] = r * r
        settled = (abs(step) < _SETTLED) & (r * r < most_liquid(t) - _NEAR_SATURATION)
        unsettled[i] = not (settled & (t >= EUTECTIC_C) & (t <= WARMEST_C))


@compiled
def _settle(conducts: Floats, warm: Floats, found: Floats, unsettled: Flags) -> None:
    for i in range(found.size):
        if unsettled[i]:
            found[i] = mass_fraction(conducts[i], warm[i])
            unsettled[i] = np.isnan(found[i])


@cache
def _start() -> tuple[Scale, Floats]:
    """Scale of the root of conductivity as a parabola in temperature, and the table."""
    warm = EUTECTIC_C + np.arange(_ROWS) / _PER_KELVIN
    most_logs = np.array([curve(t, most_liquid(t)).most_log for t in warm.tolist()])
    scale = np.polynomial.polynomial.polyfit(warm, np.exp(-most_logs / 2.0), 2)
    c0, c1, c2 = (float(c) for c in scale)
    return (c0, c1, c2), _table(warm, c0 + warm * (c1 + warm * c2))


@compiled
def _table(warm: Floats, scaled: Floats) -> Floats:
    table = np.empty(_ROWS * _COLUMNS)
    for row in range(_ROWS):
        at = curve(warm[row], most_liquid(warm[row]))
        for column in range(_COLUMNS):
            x = column / _PER_ROOT if column else 1e-6
            log_conductivity = 2.0 * log(x / scaled[row])
            table[row * _COLUMNS + column] = root(at, min(log_conductivity, at.most_log)) / x
    return table
