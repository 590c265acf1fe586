"""The scorecard: verdicts summed up, as a table, as plain values, as a picture."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from brinesim.fault_kinds import KINDS
from brinesim.scoring.aims import (
    FALSE_A_MONTH,
    FALSE_A_MONTH_ROUGH,
    MOST_TEXTS,
    TEXTS_A_WEEK,
    Reached,
    reached,
)
from brinesim.scoring.judging import SLIPS, Catch, Judged
from brinesim.truth import AT_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How a quantity was spread over the runs, by rank: nothing is fitted. Seconds."""

    count: int
    least: float
    five_percent: float
    median: float
    ninety_five_percent: float
    most: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One kind of fault over all its runs."""

    scenario: str
    kind: str
    alarm: str
    """The alarm that caught it most often; where none did, the one that should have."""
    caught: int
    of: int
    delay: Spread | None
    lead: Spread | None
    room: Spread | None
    """From truly wrong to the harm."""
    by_sensor: dict[str, tuple[int, int]]
    """Of how many faults of each sensor how many were caught."""
    before_harm: int
    """How many of those in which harm was due were alarmed before it."""
    harms: int
    known: int = 0
    """How many were known of before: their alarm was active already."""
    at_limit: int = 0
    """How many of those not caught were off their band by less than `AT_LIMIT`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The whole score."""

    config: str
    sensors: tuple[str, ...]
    rough: bool
    """Was every ailment doubled?"""
    runs: int
    rows: tuple[Row, ...]
    aims: tuple[Reached, ...]
    unwatched: tuple[str, ...]
    """Kinds of fault that no alarm is meant to tell."""
    quiet_days: float
    false_alarms: dict[str, int]
    """In runs without a fault, by alarm."""
    false_in_fault_runs: dict[str, int]
    other_alarms: dict[str, int]
    slips_noticed: int
    salt_wanted: int
    """Raisings about salt while the hopper truly wanted some, besides a fault's own."""
    tests_asked: int
    wear_noticed: int
    brine_noticed: int
    """Raisings about a probe that had truly fouled by use."""
    texts_quiet: int
    """Texts about alarms, in runs without a fault."""
    lines_quiet: int
    """Texts about no alarm, the daily lines, in runs without a fault."""
    repeats_quiet: int
    """More texts that told of the same again."""
    texts_fault_runs: int
    repeats_fault_runs: int
    fault_days: float
    texts_about: dict[str, int]
    """Those in runs without a fault, by alarm; of a person's slip by themselves."""
    texts_by_scenario: dict[str, tuple[int, float]]
    """The same by scenario, each with its depot-days."""
    most_texts: int
    """The most texts that one person was sent within ten minutes, in any run."""
    wet_noticed: int
    came_to_nothing: dict[str, int] = field(default_factory=dict)
    """How many faults of each scenario never made the depot wrong, and are not counted."""
    code: dict[str, int] = field(default_factory=dict)
    """How many runs are of each state of the code; of cards that didn't say it, under ""."""

    @property
    def false_per_month(self) -> float:
        """False alarms a depot-month of 30 days, from the runs without a fault."""
        return 30 * sum(self.false_alarms.values()) / self.quiet_days if self.quiet_days else 0.0

    @property
    def texts_per_week(self) -> float:
        """Texts about alarms a depot-week, from the runs without a fault."""
        return 7 * self.texts_quiet / self.quiet_days if self.quiet_days else 0.0

    @property
    def texts_per_week_without_slips(self) -> float:
        """The same without those of a pump that somebody ran against a closed valve: by a person's
        mistake, which is a fault all the same.
        """
        others = self.texts_quiet - self.texts_about.get(SLIPS, 0)
        return 7 * others / self.quiet_days if self.quiet_days else 0.0


def spread(values: Sequence[float]) -> Spread | None:
    """The spread of some values by nearest rank; None where there are none."""
    if not values:
        return None
    ordered = sorted(values)

    def rank(share: float) -> float:
        return ordered[min(len(ordered) - 1, max(0, math.ceil(share * len(ordered)) - 1))]

    return Spread(
        count=len(ordered),
        least=ordered[0],
        five_percent=rank(0.05),
        median=rank(0.5),
        ninety_five_percent=rank(0.95),
        most=ordered[-1],
    )


def card_of(
    judged: Sequence[Judged], *, config: str, sensors: tuple[str, ...], rough: bool = False
) -> Card:
    """Sum up the verdicts."""
    groups: dict[tuple[str, str, str], list[Catch]] = {}
    for run in judged:
        for catch in run.catches:
            groups.setdefault((catch.scenario, catch.kind, catch.alarm), []).append(catch)
    troubled = [run for run in judged if _is_troubled(run)]
    quiet = [run for run in judged if not _is_troubled(run)]
    return Card(
        config=config,
        sensors=sensors,
        rough=rough,
        runs=len(judged),
        rows=tuple(_row(key, catches) for key, catches in groups.items()),
        aims=reached([c for run in judged for c in run.catches], sensors=sensors),
        unwatched=tuple(name for name, kind in KINDS.items() if not kind.alarm),
        quiet_days=sum(run.days for run in quiet),
        false_alarms=_counted(alarm for run in quiet for alarm in run.false_alarms),
        false_in_fault_runs=_counted(alarm for run in troubled for alarm in run.false_alarms),
        other_alarms=_counted(
            f"{alarm} in {run.scenario}" for run in troubled for alarm in run.other_alarms
        ),
        slips_noticed=sum(run.slips_noticed for run in judged),
        salt_wanted=sum(run.salt_wanted for run in judged),
        tests_asked=sum(run.tests_asked for run in judged),
        wear_noticed=sum(run.wear_noticed for run in judged),
        brine_noticed=sum(run.brine_noticed for run in judged),
        texts_quiet=sum(run.texts for run in quiet),
        lines_quiet=sum(run.lines for run in quiet),
        repeats_quiet=sum(run.repeats for run in quiet),
        texts_fault_runs=sum(run.texts for run in troubled),
        repeats_fault_runs=sum(run.repeats for run in troubled),
        fault_days=sum(run.days for run in troubled),
        texts_about=_summed(run.texts_about for run in quiet),
        texts_by_scenario={
            name: (
                sum(run.texts for run in quiet if run.scenario == name),
                sum(run.days for run in quiet if run.scenario == name),
            )
            for name in dict.fromkeys(run.scenario for run in quiet)
        },
        most_texts=max((run.most_texts for run in judged), default=0),
        wet_noticed=sum(run.wet_noticed for run in judged),
        came_to_nothing=_summed(_nothing_of(run) for run in judged),
        code=_counted(run.code for run in judged),
    )


def _is_troubled(run: Judged) -> bool:
    return bool(run.faults or run.catches or run.other_alarms)


def _counted(alarms: Any) -> dict[str, int]:
    return dict(sorted(Counter(alarms).items()))


def _summed(counts: Iterable[dict[str, int]]) -> dict[str, int]:
    return dict(sum((Counter(one) for one in counts), Counter[str]()).most_common())


def _nothing_of(run: Judged) -> dict[str, int]:
    # Verdicts of long ago don't say how many faults there were.
    left = run.faults - len(run.catches)
    return {run.scenario: left} if left > 0 else {}


def _row(key: tuple[str, str, str], catches: Sequence[Catch]) -> Row:
    due = [c for c in catches if c.harm_was_due]
    leads = [c.lead_seconds for c in due if c.lead_seconds is not None]
    of_sensors: dict[str, list[bool]] = {}
    for catch in sorted(catches, key=lambda c: c.sensor):
        if catch.sensor:
            of_sensors.setdefault(catch.sensor, []).append(catch.caught)
    return Row(
        scenario=key[0],
        kind=key[1],
        alarm=by[0][0] if (by := Counter(c.by for c in catches if c.by).most_common(1)) else key[2],
        caught=sum(c.caught for c in catches),
        of=len(catches),
        delay=spread([c.delay_seconds for c in catches if c.delay_seconds is not None]),
        lead=spread(leads),
        room=spread([c.room_seconds for c in due if c.room_seconds is not None]),
        by_sensor={name: (sum(told), len(told)) for name, told in of_sensors.items()},
        before_harm=sum(lead > 0 for lead in leads),
        harms=len(due),
        known=sum(c.known for c in catches),
        at_limit=sum(
            not c.caught and c.most_off is not None and c.most_off < AT_LIMIT for c in catches
        ),
    )


def span_text(seconds: float) -> str:
    """A span of time to two figures or so: `40 s`, `12 min`, `3.1 h`, `2.0 d`."""
    size = abs(seconds)
    for limit, unit, form in (
        (100, 1, "{:.0f} s"),
        (6000, 60, "{:.0f} min"),
        (172_800, 3600, "{:.1f} h"),
    ):
        if size < limit:
            return form.format(seconds / unit)
    return f"{seconds / 86400:.1f} d"


def table(card: Card) -> str:
    """The card as lines to read."""
    lines = [
        f"{card.runs} runs, config {card.config}, {len(card.sensors)} sensors"
        + (", rough: every ailment doubled" if card.rough else ""),
        "of code " + _listed({name or "that was not named": n for name, n in card.code.items()}),
        "",
        f"{'scenario':21} {'alarm':20} {'caught':>8}   to alarm from truly wrong      before harm",
        f"{'':54}{'median':>8} {'95 %':>8} {'worst':>8}{'in time':>10} {'median':>8} {'least':>8}",
    ]
    for row in card.rows:
        delay = (
            [row.delay.median, row.delay.ninety_five_percent, row.delay.most] if row.delay else []
        )
        lead = [row.lead.median, row.lead.least] if row.lead else []
        cells = "".join(f" {span_text(v):>8}" for v in delay) if delay else " " + f"{'-':>8} " * 3
        leads = "".join(f" {span_text(v):>8}" for v in lead) if lead else f" {'-':>8} {'-':>8}"
        harm = f"{row.before_harm}/{row.harms}" if row.harms else "-"
        name = f"{row.scenario:21} {row.alarm:20} {row.caught:>4}/{row.of:<3}"
        lines.append(f"{name}  {cells.rstrip():27}  {harm:>8}{leads}")
    quiet = (
        f"Without a fault, {card.quiet_days:.0f} depot-days: "
        f"{card.false_per_month:.2f} false alarms a depot-month, "
        f"{card.texts_per_week:.2f} texts a depot-week, "
        f"{card.texts_per_week_without_slips:.2f} without those of people's slips"
        f" ({card.repeats_quiet} repeats and {card.lines_quiet} daily lines besides)"
    )
    troubled = (
        f"In runs with a fault, {card.fault_days:.0f} depot-days: {card.texts_fault_runs} texts "
        f"({card.repeats_fault_runs} repeats besides); "
        "before the fault: "
    )
    return "\n".join(
        [
            *lines,
            "",
            quiet + (": " if card.false_alarms else "") + _listed(card.false_alarms),
            f"their texts, by alarm: {_listed(card.texts_about) or 'none'}",
            "a week of each: "
            + ", ".join(f"{n} {7 * c / d:.1f}" for n, (c, d) in card.texts_by_scenario.items()),
            troubled + (_listed(card.false_in_fault_runs) or "no alarm"),
            "during or after it, other alarms than its own: "
            + (_listed(card.other_alarms) or "none"),
            f"slips of people (valve opened late) that raised an alarm: {card.slips_noticed}",
            f"rain or melt water in the containment that raised an alarm: {card.wet_noticed}",
            f"salt truly low, halved or not enough for the weekend, and told: {card.salt_wanted}",
            f"a test by hand asked for: {card.tests_asked}",
            f"a probe that had fouled by use, and told: {card.wear_noticed}",
            f"brine truly off its band, at its limit or freezing, and told: {card.brine_noticed}",
            *_known_lines(card),
            *_at_limit_lines(card),
            "faults that came to nothing, and are not counted: "
            + (_listed(card.came_to_nothing) or "none"),
            *_sensor_lines(card),
            "no alarm watches these faults: " + (", ".join(card.unwatched) or "none"),
            "",
            *_aim_lines(card),
            "",
            "sensors: " + ", ".join(card.sensors),
        ]
    )


def _known_lines(card: Card) -> list[str]:
    """Which were counted as caught though nothing new was said."""
    known = {row.scenario + " " + row.kind: row.known for row in card.rows if row.known}
    return [f"known of already, its alarm active from before: {_listed(known)}"] if known else []


def _at_limit_lines(card: Card) -> list[str]:
    """Which were not caught, but were no further off than a test by hand could show."""
    found = {row.scenario + " " + row.kind: row.at_limit for row in card.rows if row.at_limit}
    off = f"{100 * AT_LIMIT:.1f} %"
    return [f"not caught, never {off} off its band: {_listed(found)}"] if found else []


def _sensor_lines(card: Card) -> list[str]:
    """How many of each sensor's faults were caught, where they are of several sensors."""
    return [
        f"{row.scenario}, by sensor: "
        + ", ".join(f"{name} {told}/{of}" for name, (told, of) in row.by_sensor.items())
        for row in card.rows
        if len(row.by_sensor) > 1
    ]


def _aim_lines(card: Card) -> list[str]:
    lines = [f"{'aim':66} {'wanted':>8} {'reached':>18}"]
    for aim in card.aims:
        share = f"{100 * aim.in_time / aim.of:.1f} %"
        got = f"{aim.in_time}/{aim.of}  {share:>7}"
        met = "" if aim.met else "   missed"
        lines.append(f"{aim.title:66} {f'{100 * aim.share:.0f} %':>8} {got:>18}{met}")
    if card.quiet_days:
        false, texts = card.false_per_month, card.texts_per_week_without_slips
        most_false = FALSE_A_MONTH_ROUGH if card.rough else FALSE_A_MONTH
        most_texts = None if card.rough else TEXTS_A_WEEK
        lines += [
            _bound("false alarms a depot-month, all alarms together", false, most_false),
            _bound("texts a depot-week without a fault or a slip", texts, most_texts),
        ]
    met = "" if card.most_texts <= MOST_TEXTS else "   missed"
    title = "texts to one person within ten minutes, at most"
    lines.append(f"{title:66} {MOST_TEXTS:>8} {card.most_texts:>18}{met}")
    return lines


def _bound(title: str, found: float, bound: float | None) -> str:
    """What was reached; without a bound it is no aim, and has no verdict."""
    wanted = "-" if bound is None else f"<{bound:g}"
    met = "" if bound is None or found < bound else "   missed"
    return f"{title:66} {wanted:>8} {f'{found:.2f}':>18}{met}"


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{alarm} {count}" for alarm, count in counts.items())


def as_values(card: Card, judged: Sequence[Judged]) -> dict[str, Any]:
    """The card and every verdict behind it, as plain values for JSON."""
    return {
        **asdict(card),
        "false_per_month": card.false_per_month,
        "texts_per_week": card.texts_per_week,
        "texts_per_week_without_slips": card.texts_per_week_without_slips,
        "verdicts": [asdict(run) for run in judged],
    }


def draw_card(card: Card, judged: Sequence[Judged], target: Path) -> None:
    """Every fault's time to alarm, a dot a run, and how many were caught, as a PNG.

    Raises: OSError where the file can't be written.
    """
    # matplotlib is half a second of import that the table does without.
    from matplotlib.figure import Figure  # noqa: PLC0415 - an extra

    figure = Figure(figsize=(10, 1.5 + 0.36 * max(4, len(card.rows))), layout="constrained")
    axes = figure.subplots()
    axes.set_xscale("symlog", linthresh=1)
    for place, row in enumerate(card.rows):
        minutes = [
            c.delay_seconds / 60
            for run in judged
            for c in run.catches
            if c.scenario == row.scenario and c.kind == row.kind and c.delay_seconds is not None
        ]
        axes.plot(minutes, [place] * len(minutes), "o", ms=4, alpha=0.5, color="#2b5c8a")
        if row.delay:
            axes.plot([row.delay.median / 60], [place], "|", ms=16, mew=2, color="#a8323e")
    axes.set_yticks(range(len(card.rows)), [f"{r.scenario}  {r.caught}/{r.of}" for r in card.rows])
    axes.set_ylim(len(card.rows) - 0.4, -0.6)
    axes.axvline(0, color="#7a7a7a", lw=0.8)
    axes.set_xlabel("minutes from truly wrong to the alarm (below 0: foretold)")
    axes.set_title(
        f"{card.runs} runs; {card.false_per_month:.2f} false alarms a depot-month, "
        f"{card.texts_per_week:.2f} texts a depot-week without a fault"
    )
    axes.grid(alpha=0.25)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.savefig(target, dpi=110)
