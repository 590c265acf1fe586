"""Salt under half: the hopper has used half of its last filling, so the next batch is tested."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.salt_low import known_salt, salt_coverage, salt_unknown
from brineward.plant.hopper_salt import HALF, HopperSalt
from brineward.plant.probes import Probe
from brineward.plant.salt_balance import SaltBalance
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="salt-half",
    title="SALT UNDER HALF",
    place=55,
    priority=Priority.LOW,
    cause="Loads have used half of what was last filled into the hopper.",
    consequence="A lower bed gives weaker brine: the strength known from the last test may no "
    "longer hold.",
    response="Test the next batch by hydrometer, with the sample's temperature, and record "
    "it. Fill the hopper when salt is at hand, from outside: nobody leans in or climbs in.",
    text_response="Test the next batch by hydrometer, or fill the hopper from outside.",
    respond_within="the next batch",
    on_delay_seconds=600.0,
    off_delay_seconds=60.0,
    basis="Half of the bed as it was after the last filling, once a filling: once the hopper is "
    "under half the strength is tested again (common practice, no source). A hand test or a "
    "filling of {0.1 m} or more clears it.",
    routine=True,
    suppressed_by=("salt-low", "depot-silent", "link-lost"),
    quiet_in=(Mode.DRAINING, Mode.LAID_UP),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderHalf(Finding):
    """How high the bed is, of the height that it had when filled; m."""

    full_m: float
    full_kg: float | None = None
    """What there was after the last delivery, by the salt balance, where no sensor sees the bed."""


class SaltUnderHalf(Condition[UnderHalf]):
    """The bed is under half of what it was filled to, and no test was made since."""

    def __init__(
        self, site: Site, salt: HopperSalt | SaltBalance, probes: tuple[Probe, ...]
    ) -> None:
        self._salt = salt
        self._probes = probes
        after = (salt.sensor, *probes)
        super().__init__(site, salt.vessel.id, UnderHalf, judged_after=after, unit="m", side=-1)

    def at_rest(self) -> bool:
        """It is over half."""
        return not self._salt.halved

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Under half, and not tested since?"""
        salt = self._salt
        if salt.bed_m is None or not salt.known(now):
            return salt_unknown(salt)
        if not salt.halved or any(_tested_since(probe, salt.halved) for probe in self._probes):
            return CLEAR
        finding = UnderHalf(
            value=round(salt.bed_m, 3),
            limit=round(HALF * salt.full_m, 3),
            unit="m",
            full_m=round(salt.full_m, 3),
            full_kg=salt.left_at_first if isinstance(salt, SaltBalance) else None,
        )
        return Verdict(True, finding)

    def words(self, finding: UnderHalf, now: Instant) -> Words:
        """The bed now, and what it was filled to."""
        full = f"{self.units.level(finding.value or 0.0)}, was {self.units.level(finding.full_m)}"
        if finding.full_kg is not None:
            full = f"by records, was {self.units.amount_of_salt(finding.full_kg)}"
        past = f"{self.name} salt was under half"
        return Words(f"{self.name} salt under half", full, past=past)


def _tested_since(probe: Probe, since: Instant) -> bool:
    return bool(probe.records) and probe.records[-1].at >= since


def _conditions(site: Site) -> Iterator[SaltUnderHalf]:
    probes = tuple(site.trackers.probes.values())
    for salt in known_salt(site):
        yield SaltUnderHalf(site, salt, probes)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=salt_coverage(RECORD))
