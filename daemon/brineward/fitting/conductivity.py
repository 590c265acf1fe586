"""Fits the conductivity curve of sodium chloride brine to the published values.

    python -m brineward.fitting.conductivity            prints the fit
    python -m brineward.fitting.conductivity --write    and writes the coefficients module

The form and its physics are told in `brineward.physics.conductivity`, what the rows weigh in
`brineward.fitting.conductivity_rows`, and how well it predicts in `brineward.fitting.validation`.
"""

import sys
from collections.abc import Sequence
from pathlib import Path

from brineward.fitting.conductivity_rows import Floats, observations, relative_errors
from brineward.fitting.forms import CHOSEN, LEVEL_TERMS, LIMIT, curve, fitted_unknowns
from brineward.physics import conductivity_coefficients


def coefficients_text(unknowns: Floats) -> str:
    """The source of the coefficients module, to ten digits."""
    digits = [float(f"{value:.10g}") for value in unknowns]
    level = "\n".join(f"    {value!r}," for value in (*LIMIT, *digits[:LEVEL_TERMS]))
    steepness = "\n".join(f"    {value!r}," for value in digits[LEVEL_TERMS:-1])
    return (
        '"""Coefficients of the conductivity curve.\n\n'
        "Written by `python -m brineward.fitting.conductivity --write`; not by hand.\n"
        '"""\n\n'
        f"LEVEL = (\n{level}\n)\n"
        f"STEEPNESS = (\n{steepness}\n)\n"
        f"OFFSET_K = {digits[-1]!r}\n"
    )


def main(arguments: Sequence[str]) -> None:
    """Fit, print each row's error, and write the coefficients where asked to."""
    observed = observations()
    unknowns = fitted_unknowns(CHOSEN, observed)
    errors = relative_errors(curve(CHOSEN, unknowns), observed.rows)
    for row, error in zip(observed.rows, errors, strict=True):
        sys.stdout.write(
            f"{row.source:8} {row.mass_fraction * 100:7.3f} % {row.temperature_c:5.1f} degC "
            f"{row.conductivity_s_per_m:8.4f} S/m {error * 100:+6.2f} %\n"
        )
    text = coefficients_text(unknowns)
    sys.stdout.write(text)
    if "--write" in arguments:
        Path(conductivity_coefficients.__file__).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
