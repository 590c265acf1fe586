"""Mode doubtful: the plant plainly does otherwise than the mode that it is set to; asked once."""

from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.mode_fit import Doubt, What
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="mode-doubtful",
    title="MODE DOUBTFUL",
    place=64,
    priority=Priority.LOW,
    cause="The season has changed and nobody said so; or the plant does what nobody meant: water "
    "left on, a pump left running, a tank that has run empty.",
    consequence="Alarms that should be watched are quiet in the wrong mode, or water and pump run "
    "where nobody looks.",
    response="Set the mode that the depot is used in, by a text such as TH IN SERVICE or by "
    "`brineward mode`. If the mode is right, look what it does, from outside: stop the pump at the "
    "panel, then shut the water at its supply.",
    text_response="Not sure? Go and look first.",
    respond_within="the same day",
    on_delay_seconds=60.0,
    off_delay_seconds=300.0,
    basis="In this mode: laid up, a tank fills for 10 minutes or a pump runs for 5; being drained, "
    "a tank fills for 30 minutes, longer than it is flushed; standing by, a pump runs for 10; with "
    "brine wanted, all tanks have been empty for two days. Asked once a mode (common practice, no "
    "source, for the times). Medium where the depot is laid up, since most is quiet then.",
    suppressed_by=("depot-silent", "link-lost"),
)

_MEANT = {
    "fills": Mode.IN_SERVICE,
    "runs": Mode.IN_SERVICE,
    "all-empty": Mode.LAID_UP,
}
"""What it looks as if it was used for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubtful(Finding):
    """What it does, in which mode."""

    mode: str
    what: What
    place: str
    """The tank or pump; empty where it is all tanks."""
    began: Instant


class ModeDoubtful(Condition[Doubtful]):
    """What the plant does, against its mode."""

    def __init__(self, site: Site) -> None:
        self._fit, self._mode = site.trackers.mode_fit, site.trackers.mode
        self._short, self._replies = site.plan.short, site.plan.duty.replies
        after = (*self._fit.sensors, self._mode)
        super().__init__(site, "depot", Doubtful, judged_after=after)

    def at_rest(self) -> bool:
        """There is no doubt."""
        return self._fit.doubt is None

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there one, in this mode?"""
        doubt = self._fit.doubt
        if doubt is None or self._fit.of != self._mode.since:
            return CLEAR
        return Verdict(True, self._finding(doubt))

    def _finding(self, doubt: Doubt) -> Doubtful:
        mode = self._mode.mode
        return Doubtful(
            mode=mode.value,
            what=doubt.what,
            place=doubt.source,
            began=doubt.since,
            priority=Priority.MEDIUM if mode is Mode.LAID_UP else None,
        )

    def words(self, finding: Doubtful, now: Instant) -> Words:
        """What it is set to, what it does, and how to set it right."""
        meant = _MEANT.get(finding.what, Mode.IN_SERVICE).value
        how = f"Reply {self._short} {meant.upper()}" if self._replies else f"Set it to {meant}"
        does, did = "all tanks are empty", "all tanks were empty"
        if finding.place:
            name, fills = self.units.name_of(finding.place), finding.what == "fills"
            does, did = (
                (f"{name} fills", f"{name} filled") if fills else (f"{name} runs", f"{name} ran")
            )
        return Words(
            f"set to {finding.mode}, but {does}",
            time_left=f"{meant}? {how}",
            past=f"{did} while {finding.mode}",
            since=finding.began,
        )


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [ModeDoubtful(site)] if site.trackers.mode_fit.sensors else [],
)
