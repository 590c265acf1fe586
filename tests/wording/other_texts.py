"""Every text besides an alarm's own, as the code makes it for the example depot."""

from collections.abc import Iterator
from dataclasses import replace

from brineward.alarms.condition import Site
from brineward.alarms.registry import site_of
from brineward.book.booked_alarm import BookedAlarm
from brineward.book.chatter import OFTEN
from brineward.book.life import Hold
from brineward.book.life_table import Letter
from brineward.page.words import say
from brineward.plant.plan import DepotPlan, Duty
from brineward.readings.entries import Delivery
from brineward.readings.instants import DAY, HOUR, MINUTE
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.readings.values import Reading
from brineward.telling import wording as telling_wording
from brineward.telling.handover_words import begins_text, ends_text
from brineward.telling.health import health_text, weekly_test_text
from brineward.telling.mode_words import mode_text, scheduled_text, unwatched_text
from brineward.telling.several_words import several_text
from brineward.telling.wording import COMES_AND_GOES, GRAVER, Wording
from brineward.watch.unwatched import Blind
from brineward.wording.segment import segment
from depots import START
from engine.scripted import Script, World, text_of, with_sensors
from wording.case_texts import booked
from wording.every_alarm import BEGAN, EVERY_ALARM, NUMBER, Case

Texts = Iterator[tuple[str, str]]


def why_again() -> list[str]:
    """Why an alarm is told again, in every way that there is."""
    ours = vars(telling_wording)
    return sorted(value for name, value in ours.items() if name.isupper() and name != "OFTEN")


def case_of(alarm: str) -> Case:
    """The first case of an alarm."""
    return next(case for case in EVERY_ALARM if case.alarm == alarm)


def told_again_texts(plan: DepotPlan) -> Texts:
    """One alarm for each reason to tell it again."""
    for why in why_again():
        one = got_worse(plan) if why == GRAVER else booked(plan, case_of("sensor-silent"))
        for place in range(OFTEN if why == COMES_AND_GOES else 0):
            one.life.chatter.raised(BEGAN + place * 10 * MINUTE)
        at = START + HOUR // 2
        yield why, segment(Wording(plan).raised(one, NUMBER, at, known=why))


def got_worse(plan: DepotPlan) -> BookedAlarm:
    """Lost mains in the mild, and then it freezes outdoors."""
    case = next(one for one in EVERY_ALARM if one.name == "mains-lost, in frost")
    one = booked(plan, case)
    one.life.priority = Priority.HIGH
    return one


def unheard_texts(plan: DepotPlan) -> Texts:
    """An alarm while no reply is heard: how it is taken then, with a page and without."""
    one = booked(plan, case_of("sensor-silent"))
    for page in (True, False):
        duty = replace(plan.duty, replies=False, replies_fail=True, page=page)
        notice = Wording(replace(plan, duty=duty)).raised(one, NUMBER, START, known="")
        yield "there is a page" if page else "there is none", segment(notice)
        its = replace(plan, duty=replace(duty, replies=True, replies_one_way=True))
        said = booked(its, case_of("replies-unheard"))
        notice = Wording(replace(plan, duty=duty)).raised(said, NUMBER, START, known="")
        yield f"that itself, {'with' if page else 'without'} a page", segment(notice)
        several = booked(plan, case_of("dangers-unwatched"))
        notice = Wording(replace(plan, duty=duty)).raised(several, NUMBER, START, known="")
        yield f"dangers unwatched, {'with' if page else 'without'} a page", segment(notice)


def handled_texts(plan: DepotPlan) -> Texts:
    """What people did with an alarm, and what is left to do."""
    wording, one = Wording(plan), booked(plan, case_of("closed-valve"))
    one.life.shelved = Hold(by="dispatch", since=START, until=START + HOUR)
    yield "shelved, to the others", segment(wording.held_back(one, NUMBER, "dispatch", START))
    broken = removed(plan, "sensor-silent", "waits for a new cable")
    notice = wording.held_back(broken, NUMBER, "dispatch", START)
    yield "put out of service, to the others", segment(notice)
    caused = booked(plan, case_of("shelter-freezing"))
    yield "held back by its cause, to a siren", segment(wording.waits(caused, NUMBER, START))
    later = START + 7 * DAY
    yield "out of service, each week", segment(wording.reminder([broken], later))
    both = [broken, removed(plan, "heater-failed", "element on order")]
    yield "several out of service, each week", segment(wording.reminder(both, later))
    latched = booked(plan, case_of("uplift"))
    latched.life.become(Letter.F)
    yield "its condition has gone and it must be reset", segment(wording.reset_wanted(latched, 12))
    by_command = Wording(mute(plan)).reset_wanted(latched, 12)
    yield "the same, where nobody can reply", segment(by_command)
    yield "old readings came in at once", segment(wording.summary([12], START - HOUR, START))
    several = wording.summary(list(range(3, 12)), START - HOUR, START)
    yield "old readings came in at once, several alarms", segment(several)


def removed(plan: DepotPlan, alarm: str, why: str) -> BookedAlarm:
    """An alarm that somebody put out of service."""
    one = booked(plan, case_of(alarm))
    one.life.out_of_service = Hold(by="dispatch", since=START, why=why)
    return one


def several_texts(plan: DepotPlan) -> Texts:
    """Several alarms in one text: there were more within the hour than a person gets."""
    ids = ("closed-valve", "shelter-freezing", "tank-leak", "sensor-silent", "salt-low") * 2
    what = [booked(plan, case_of(one)).words(START).headline for one in ids]
    calling = [(plan.code(12 + place), said) for place, said in enumerate(what)]
    for count in (1, 2, 10):
        yield f"{count} that nobody has", several_text(plan, calling=calling[:count])
    yield "all are seen to", several_text(plan, gone=["TH12", "TH13"], in_hand=["TH14"])
    yield "one waits to be reset", several_text(plan, to_reset=["TH12"], gone=["TH13"])
    yield "some of each", several_of_each(plan, calling)
    yield "1 that nobody has, nobody can reply", several_text(mute(plan), calling=calling[:1])
    yield "some of each, nobody can reply", several_of_each(mute(plan), calling)


def several_of_each(plan: DepotPlan, calling: list[tuple[str, str]]) -> str:
    """One that nobody has, and what became of others."""
    return several_text(
        plan, calling=calling[:1], in_hand=["TH3"], gone=["TH4", "TH5"], to_reset=["TH6"]
    )


def handover_texts(plan: DepotPlan) -> Texts:
    """What both read when duty goes from one to the next."""
    week = START + 7 * DAY
    yield "to who begins", begins_text(plan, START, week, active=[], had="")
    one = begins_text(plan, START, week, active=["TH12"], had="")
    yield "to who begins, an alarm that nobody has", one
    had = "Dispatch desk has TH12."
    yield (
        "to who begins, an alarm that somebody has",
        begins_text(plan, START, START + 600 * MINUTE, active=[], had=had),
    )
    yield "to who ends", ends_text(plan, "yard", active=[], kept=[])
    yield "to who ends, an alarm that nobody has", ends_text(plan, "yard", active=["TH12"], kept=[])
    yield "to who ends and has an alarm", ends_text(plan, "yard", active=[], kept=["TH12"])


def set_time_texts(plan: DepotPlan) -> Texts:
    """The daily line and the weekly test, as the telling would say them."""
    yield "daily line", an_hours_line(7.0)
    yield "daily line, an alarm is active", an_hours_line(-3.0)
    yield "daily line, nothing has been read", health_text(site_of(plan), (), START)
    yield "daily line, texts to somebody fail", health_of_trouble(plan)
    routine = numbered(booked(plan, case_of("batch-untested")), 13)
    yield "daily line, with routine work", health_text(site_of(plan), [routine], START)
    salt = numbered(booked(plan, case_of("salt-half")), 14)
    grave = booked(plan, case_of("closed-valve"))
    both = health_text(
        site_of(plan),
        [grave, routine, salt, removed(plan, "uplift", "level is being mended")],
        START,
    )
    yield "daily line, with an alarm, routine work and one out of service", both
    held = health_text(
        fresh(plan), [routine, removed(plan, "uplift", "level is being mended")], START
    )
    yield "daily line, one out of service", held
    yield "daily line, nothing but routine work", health_text(fresh(plan), [routine], START)
    yield "weekly test", weekly_test_text(plan)
    yield "weekly test, nobody can reply", weekly_test_text(mute(plan))


def numbered(one: BookedAlarm, number: int) -> BookedAlarm:
    """The same under another number."""
    one.life.number = number
    return one


def fresh(plan: DepotPlan) -> Site:
    """The depot with one reading, just now."""
    site = site_of(plan)
    site.trackers.take(
        site.trackers.sensors["main-level"], Reading(plan.id, "main-level", START, 1.5, START)
    )
    return site


def mute(plan: DepotPlan) -> DepotPlan:
    """The depot where nobody can reply."""
    return replace(plan, duty=replace(plan.duty, replies=False))


def health_of_trouble(plan: DepotPlan) -> str:
    """The daily line where a person gets no texts and dangers are unwatched."""
    site = site_of(plan)
    failed = Delivery(
        depot=plan.id, time=START, text="x", number=0, person="yard", outcome="dead", why="403"
    )
    site.watch.reach["yard"].delivered(failed)
    for danger in ("overflow", "closed valve", "tank leak"):
        blind = Blind(danger, Priority.HIGH, "main level is silent", ("main-level",), START)
        site.watch.unwatched.note(danger, blind)
    return health_text(site, (), START)


def an_hours_line(shelter: float) -> str:
    """The daily line after an hour of a small depot with its tank half full, in US units."""
    duty = Duty(on_call=("yard",), replies=True, daily_minutes=19 * 60)
    names = ("level", "cond", "temp", "shelter")
    its = replace(with_sensors(*names, duty=duty), us_units=True)
    script = Script(its, world=World(shelter=shelter)).run(3700)
    (line,) = script.texts("news")
    return text_of(line)


def mode_texts(plan: DepotPlan) -> Texts:
    """What a mode changes, set by a person or the schedule."""
    for mode in Mode:
        yield mode.value, mode_text(plan, mode)
    yield "filling up, one batch", mode_text(plan, Mode.FILLING_UP, single_batch=True)
    name = "Wexmoor County Upper Tern Hollow North Yard and Wash Bay, Old Quarry Road by the Bridge"
    named = replace(plan, name=f"{name} at Mill End")
    yield "laid up, a depot of a long name", mode_text(named, Mode.LAID_UP)
    yield "by its schedule", scheduled_text(plan, Mode.LAID_UP)
    yield "laid up, and silent", unwatched_text(plan)


def page_code_texts() -> Texts:
    """The code that signs a phone in."""
    yield "a code that was asked for", say("sign_in.text", code="123456")
