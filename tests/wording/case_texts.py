"""The texts of a case of `every_alarm`, at the example depot or one of long names."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from zoneinfo import ZoneInfo

from brineward.alarms.registry import alarms_at, site_of
from brineward.book.booked_alarm import BookedAlarm
from brineward.book.life_table import Letter
from brineward.config.load import load_settings
from brineward.plant.plan import DepotPlan, Duty, Measure
from brineward.plant.rota import Rota
from brineward.readings.instants import HOUR
from brineward.readings.outputs import AlarmState
from brineward.telling.wording import NOT_TAKEN, RETURNED, STILL, Wording
from brineward.wording.segment import segment
from depots import START, sensor
from wording.every_alarm import BEGAN, CONFIG, NUMBER, Case


@cache
def example(*, us: bool, replies: bool) -> DepotPlan:
    """The example depot, with a density meter and the heater's supply: so it has every alarm."""
    its = next(iter(load_settings(CONFIG).depots.values()))
    meter = sensor("density", Measure.DENSITY, "main", low=900.0, high=1300.0)
    added = (
        sensor("mains-power", Measure.POWER, "mains"),
        sensor("heater-power", Measure.POWER, "heater"),
        sensor("main-level-2", Measure.LEVEL, "main", low=0.0, high=2.6),
        replace(sensor("hopper-water", Measure.FLOW, "hopper"), name="water meter"),
    )
    return replace(
        its,
        us_units=us,
        zone=ZoneInfo("America/Chicago"),
        sensors={**its.sensors, "density": meter, **{one.id: one for one in added}},
        duty=replace(its.duty, replies=replies, rota=Rota(people=its.duty.on_call, calendar=True)),
    )


def long_names(*, replies: bool) -> DepotPlan:
    """A depot, a person and letters as long as one may call them."""
    duty = Duty(
        on_call=("yard", "dispatch"),
        names={"yard": "The lead of the upper north yard", "dispatch": "Dispatch desk"},
        replies=replies,
        rota=Rota(people=("yard", "dispatch"), calendar=True),
    )
    name = "Wexmoor County Upper Tern Hollow North Yard"
    return replace(example(us=True, replies=replies), name=name, short="WXTH", duty=duty)


def booked(its: DepotPlan, case: Case) -> BookedAlarm:
    """The alarm of a depot as it is three minutes after it began."""
    [found] = [
        BookedAlarm(watch)
        for watch in alarms_at(site_of(its))
        if (watch.record.id, watch.condition.source) == (case.alarm, case.source)
    ]
    assert isinstance(case.finding, found.condition.finding)
    words = found.condition.words(case.finding, BEGAN)
    found.life.finding, found.life.since, found.life.number = case.finding, BEGAN, NUMBER
    found.life.past = words.past or words.headline
    found.life.become(Letter.B)
    assert found.life.state is AlarmState.UNACKNOWLEDGED
    return found


def texts(its: DepotPlan, case: Case, *, number: int = NUMBER) -> Mapping[str, str]:
    """Each kind of text about it: as it is first raised, and later on."""
    one, wording = booked(its, case), Wording(its)
    later = START + 26 * HOUR
    notices = {
        "raised": wording.raised(one, number, START, known=""),
        "again": wording.raised(one, number, START, known=STILL),
        "returned": wording.raised(one, number, START, known=RETURNED),
        "to the second": wording.raised(one, number, START, known=NOT_TAKEN),
        "cleared": wording.cleared(one, number, later),
        "taken": wording.taken(one, number, "dispatch", later),
    }
    return {kind: segment(notice) for kind, notice in notices.items()}
