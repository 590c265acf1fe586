"""Line leaks: a load takes more from the tank than the meter in the hose counts."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.load_balance import LoadBalance
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="line-leak",
    title="LOADING LINE LEAKS",
    place=29,
    priority=Priority.MEDIUM,
    danger="line leak",
    cause="The line between tank and meter leaks while the pump runs, brine goes off by another "
    "hose, or the meter reads low.",
    consequence="Brine runs into the ground or about the truck with each load, and the driver's "
    "count is wrong.",
    response="Load no more until it is found: shut the pump off at the panel, then its valve. See "
    "from outside whether the ground along the line and the hose is wet. A dry line: have the "
    "meter checked. Keep away from wet electrics.",
    text_response="Pump off (PANEL), then shut valve. See if ground by line is wet.",
    respond_within="before the next load",
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="The volume drawn by the tank's level, with what the fill brings meanwhile, against the "
    "meter. Of each load 3 % for the meter, its zero, 2 % for the tank's shape, 15 % of the fill "
    "and a minute of its beginning are allowed (common practice, no source). What is missing "
    "beyond that is summed from load to load (Page, Biometrika 41, 1954), and must be five times "
    "what the level's noise makes of a load, in two loads at least. A load is not judged if "
    "another pump drew from the tank during it or in the minutes before and after.",
    suppressed_by=("depot-silent", "link-lost"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLeak(Finding):
    """What is missing, `value` m3, in so many loads."""

    began: Instant
    loads: int
    drawn_m3: float
    metered_m3: float


class LineLeaks(Condition[LineLeak]):
    """Loads take more from the tank than the meter counts, beyond all doubt of both."""

    def __init__(self, site: Site, balance: LoadBalance) -> None:
        self._balance = balance
        pump = balance.pump
        super().__init__(
            site, pump.pump.id, LineLeak, judged_after=(balance.level.sensor,), unit="m3"
        )

    def at_rest(self) -> bool:
        """Nothing is missing that counts."""
        return not self._balance.losing

    def judge(self, now: Instant, active: bool) -> Verdict:
        """What do the last loads say?"""
        balance = self._balance
        if not balance.losing:
            return CLEAR
        missing = balance.missing
        finding = LineLeak(
            value=round(missing.drawn_m3 - missing.metered_m3, 4),
            unit="m3",
            began=missing.since,
            loads=missing.loads,
            drawn_m3=missing.drawn_m3,
            metered_m3=missing.metered_m3,
        )
        return Verdict(True, finding)

    def words(self, finding: LineLeak, now: Instant) -> Words:
        """How much is missing, and in how many loads."""
        lost, drawn, metered = (
            self.units.volume(one or 0.0)
            for one in (finding.value, finding.drawn_m3, finding.metered_m3)
        )
        return Words(
            f"{self.name} line leaks?",
            f"{lost} missing in {finding.loads} loads",
            detail=f"tank gave {drawn}, meter counted {metered}",
            past=f"{self.name} line may have leaked",
            since=finding.began,
        )


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    for pump in plan.pumps.values():
        wanted = (
            (Measure.FLOW, pump.id, "a flow in its hose"),
            (Measure.RUNNING, pump.id, "a running switch on the pump"),
            (Measure.LEVEL, pump.draws_from, f"a level in {pump.draws_from}"),
        )
        found = [(plan.sensor_of(measure, at), helps) for measure, at, helps in wanted]
        lacks = [helps for sensor, helps in found if sensor is None]
        lacks += [
            f"a running switch on {other.id}, which draws from {pump.draws_from} too"
            for other in plan.pumps.values()
            if other.id != pump.id
            and other.draws_from == pump.draws_from
            and plan.sensor_of(Measure.RUNNING, other.id) is None
        ]
        if lacks:
            yield Coverage(RECORD.id, pump.id, "blind", (), " and ".join(lacks))
        else:
            by = tuple(sensor.id for sensor, _ in found if sensor is not None)
            yield Coverage(RECORD.id, pump.id, "covered", by)
    if not plan.pumps:
        helps = "the pump in the config, a flow in its hose and a running switch on it"
        yield Coverage(RECORD.id, "any pump", "blind", (), helps)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [LineLeaks(site, one) for one in site.trackers.load_balances],
    coverage=_coverage,
)
