"""What a mode changes, in words: which alarms are quiet in it, and what is watched beside."""

from collections.abc import Iterator, Mapping

from brineward.alarms.record import AlarmRecord
from brineward.alarms.registry import alarms_at, site_of
from brineward.plant.plan import DepotPlan
from brineward.readings.modes import Mode
from brineward.wording.gsm import SEGMENT_SEPTETS, septets, to_gsm

BESIDES: Mapping[Mode, str] = {
    Mode.LAID_UP: "texts if there is liquid, a fill or a running pump",
    Mode.DRAINING: "texts if a tank fills",
    Mode.STANDING_BY: "texts if a pump runs",
    Mode.STORM_WATCH: "pumps may run at any hour",
}
"""What a mode changes besides the alarms that are quiet in it."""


def quiet_at(plan: DepotPlan, mode: Mode) -> list[AlarmRecord]:
    """The alarms of this depot that are quiet in a mode, the gravest first."""
    found = {one.record.id: one.record for one in alarms_at(site_of(plan))}
    return [record for record in found.values() if mode in record.quiet_in]


def mode_sentences(plan: DepotPlan, mode: Mode, *, single_batch: bool = False) -> Iterator[str]:
    """What is watched and what is quiet in a mode, sentence by sentence, whole."""
    quiet = [record.title.lower() for record in quiet_at(plan, mode)]
    if quiet:
        yield f"No texts of: {', '.join(quiet)}. All else is watched."
    else:
        yield "All is watched."
    if mode in BESIDES:
        yield f"{BESIDES[mode][0].upper()}{BESIDES[mode][1:]}."
    if single_batch:
        yield "One batch: texts if it refills after that."


def mode_text(plan: DepotPlan, mode: Mode, *, single_batch: bool = False, head: str = "") -> str:
    """The same in one segment, the gravest quiet alarms named, the others counted."""
    head = head or f"{plan.name} is {_said(mode)} now"
    quiet = [record.title.lower() for record in quiet_at(plan, mode)]
    batch = " One batch: texts if it refills." if single_batch else ""
    besides = BESIDES.get(mode, "")
    ends = [f" {besides[0].upper()}{besides[1:]}.{batch}" if besides else batch, batch, ""]
    for end in ends:
        for named in range(len(quiet), -1, -1):
            text = to_gsm(f"{head}. {_quiet(quiet, named)}{end}")
            if septets(text) <= SEGMENT_SEPTETS and (named >= min(1, len(quiet)) or not end):
                return text
    return to_gsm(f"{head}.")


def _quiet(quiet: list[str], named: int) -> str:
    if not quiet:
        return "All is watched."
    left = len(quiet) - named
    if named == 0:
        return f"No texts of {left} alarms. All else is watched."
    more = f" and {left} more" if left else ""
    return f"No texts of: {', '.join(quiet[:named])}{more}. All else is watched."


def _said(mode: Mode) -> str:
    return f"on {mode.value}" if mode is Mode.STORM_WATCH else mode.value


def scheduled_text(plan: DepotPlan, mode: Mode) -> str:
    """That the schedule has set a mode, and what that changes."""
    return mode_text(plan, mode, head=f"{plan.name} is {_said(mode)} from today, by its schedule")


def unwatched_text(plan: DepotPlan) -> str:
    """That a laid-up depot has fallen silent, so that nobody watches it."""
    return (
        f"{plan.name} is laid up and silent: nothing is watched there now. Rain in the "
        "containment can lift an empty tank: check on site after rain."
    )
