"""Troubles of the watch's own machine, as the service reports them: what their alarms share."""

from collections.abc import Callable, Iterator
from typing import Final

from brineward.alarms.condition import Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import Instant

TROUBLE_SOURCE: Final = "watch"


class ServiceTroubled(Condition[Explained]):
    """One trouble, by the id of its alarm.

    `apart`: what follows the first colon of the service's sentence is for a log and the status, and
    not for a text.
    """

    def __init__(self, site: Site, trouble: str, past: str, *, apart: bool = False) -> None:
        self._trouble, self._past, self._apart = trouble, past, apart
        self._troubles = site.watch.troubles
        super().__init__(site, TROUBLE_SOURCE, Explained, judged_after=(self._troubles,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it there?"""
        return Verdict.explained(self._troubles.sentence(self._trouble))

    def words(self, finding: Explained, now: Instant) -> Words:
        """The service's own sentence."""
        if not self._apart:
            return Words(finding.why, past=self._past)
        head, _, why = finding.why.partition(": ")
        return Words(f"{head[:1].lower()}{head[1:]}", detail=why.rstrip("."), past=self._past)


def troubled(
    record: AlarmRecord, past: str, *, apart: bool = False
) -> Callable[[Site], Iterator[ServiceTroubled]]:
    """The condition of an alarm that has its trouble's name, at the depot that keeps house."""

    def conditions(site: Site) -> Iterator[ServiceTroubled]:
        if site.keeps_house:
            yield ServiceTroubled(site, record.id, past, apart=apart)

    return conditions
