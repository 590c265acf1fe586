"""The history of one probe's tests as a picture; the only part of the command with matplotlib."""

from pathlib import Path
from typing import Any

from brineward.commands.calibrate_history import History
from brineward.commands.calibrate_lines import KEPT
from brineward.physics.salinity import COVERAGE
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import SECOND, local_from_instant

REMEDY = "the picture needs matplotlib, which is not installed: pip install 'brineward[plots]'"


class NotDrawn(Exception):
    """The picture can't be drawn or written; the text says why."""


def draw(history: History, plan: DepotPlan, file: Path) -> None:
    """Draw it into a file whose ending says what kind.

    Raises: NotDrawn.
    """
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415 - optional, only for the picture
    except ModuleNotFoundError as missing:
        raise NotDrawn(REMEDY) from missing
    figure = Figure(figsize=(9.0, 7.5 if history.per_degree else 4.5), layout="constrained")
    # Any, whose types know no date on an axis.
    both: Any = figure.subplots(2 if history.per_degree else 1, squeeze=False)
    axes: Any = both[0][0]
    if history.per_degree:
        _draw_per_degree(both[1][0], history, plan)
    days = [local_from_instant(time, plan.zone) for time, _ in history.course]
    middle = [factor.log_factor * 100.0 for _, factor in history.course]
    reach = [COVERAGE * factor.standard_uncertainty * 100.0 for _, factor in history.course]
    axes.fill_between(
        days,
        [m - r for m, r in zip(middle, reach, strict=True)],
        [m + r for m, r in zip(middle, reach, strict=True)],
        color="tab:blue",
        alpha=0.2,
        label="95 % interval, at today's temperature",
    )
    axes.plot(days, middle, color="tab:blue", linewidth=1.0, label="estimate")
    for odd, colour, label in ((False, "black", "test"), (True, "tab:red", "test set aside")):
        chosen = [
            (local_from_instant(test.at, plan.zone), test.log_factor * 100.0)
            for test in history.tests
            if test.log_factor is not None and (test.finding not in KEPT) is odd
        ]
        if chosen:
            at, off = zip(*chosen, strict=True)
            axes.plot(at, off, "o", color=colour, label=label)
    _draw_stands(axes, history, plan)
    axes.axhline(0.0, color="0.6", linewidth=0.8)
    axes.set(
        ylabel="true conductivity above what the probe reads, %",
        title=f"{plan.name}, {history.vessel}: what the tests say of the probe",
    )
    axes.legend(fontsize=8)
    axes.tick_params(axis="x", labelrotation=20)
    try:
        figure.savefig(file, dpi=120)
    except (OSError, ValueError) as refusal:  # no such folder, no room, an unknown kind of picture
        raise NotDrawn(f"{file} can't be drawn: {refusal}") from refusal


def _draw_stands(axes: Any, history: History, plan: DepotPlan) -> None:
    """What standing brine and fills say beside the tests."""
    stands = history.stands
    if stands.told:
        at, told = zip(*stands.told, strict=True)
        axes.plot(
            [local_from_instant(one, plan.zone) for one in at],
            [one * 100.0 for one in told],
            ".",
            color="tab:green",
            markersize=4,
            label="observation of standing brine",
        )
    film = () if stands.film is None else (round(stands.film.began * SECOND),)
    for marks, colour, line, label in (
        (stands.changes, "tab:orange", ":", "changed, as standing brine showed"),
        (
            stands.tied,
            "tab:green",
            (0, (1, 4)),
            "begins to stand, after a known fill",
        ),
        (film, "tab:red", "--", "a film began to grow, about"),
    ):
        for place, mark in enumerate(marks):
            axes.axvline(
                local_from_instant(mark, plan.zone),
                color=colour,
                linestyle=line,
                linewidth=1.0,
                label=label if place == 0 else None,
            )


def _draw_per_degree(axes: Any, history: History, plan: DepotPlan) -> None:
    """How conductivity goes with temperature, as this depot has shown it, beside the curve."""
    unit, each = ("degF", 100.0 / 1.8) if plan.us_units else ("degC", 100.0)
    at = [
        one.temperature_c * 1.8 + 32.0 if plan.us_units else one.temperature_c
        for one in history.per_degree
    ]
    axes.errorbar(
        at,
        [one.shown * each for one in history.per_degree],
        yerr=[(one.high - one.shown) * each for one in history.per_degree],
        fmt="o",
        color="tab:blue",
        label="as shown here, with its 95 % interval",
    )
    axes.plot(
        at,
        [one.by_curve * each for one in history.per_degree],
        color="0.4",
        label="by the curve alone",
    )
    axes.set(xlabel=f"brine, {unit}", ylabel=f"conductivity, % per {unit}")
    axes.legend(fontsize=8)
