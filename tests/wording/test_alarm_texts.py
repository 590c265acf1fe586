"""What people read of each alarm: golden texts, one segment each, and nothing unsafe asked for.

The golden file is rewritten with BRINEWARD_WRITE_GOLDEN=1 in the environment; read it then.
"""

import os
import re
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.alarms.record import AlarmRecord
from brineward.alarms.registry import CATALOGUE
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, HOUR, instant_from_rfc3339
from brineward.telling.wording import Wording
from brineward.wording.gsm import septets
from brineward.wording.operator_units import in_units
from brineward.wording.segment import segment
from depots import START, plan
from wording.case_texts import booked, example, long_names, texts
from wording.every_alarm import EVERY_ALARM, Case

GOLDEN = Path(__file__).with_name("alarm_texts.txt")
PLANS = {
    "US units, replies": example(us=True, replies=True),
    "US units, no replies": example(us=True, replies=False),
    "metric, replies": example(us=False, replies=True),
    "metric, no replies": example(us=False, replies=False),
}
LONG = {"long names, replies": long_names(replies=True), "long names": long_names(replies=False)}
IN_GOLDEN = ("US units, replies", "metric, no replies")
"""Between them each unit and both ways to take an alarm; the rest are tested by their rules."""


def all_texts() -> Iterator[str]:
    """Each alarm's texts, as the golden file has them."""
    for name in IN_GOLDEN:
        its = PLANS[name]
        yield f"== {name}"
        for case in EVERY_ALARM:
            yield ""
            yield case.name
            for kind, text in texts(its, case).items():
                yield f"  {kind}: {text}"
            words = booked(its, case).words(START)
            pieces = (words.headline, words.how_bad, words.time_left, words.detail)
            yield f"  (log: {', '.join(piece for piece in pieces if piece)})"
        yield ""
        yield f"  summary: {segment(Wording(its).summary(list(range(7, 12)), START - HOUR, START))}"
        yield ""


def test_golden_texts() -> None:
    """Every text of every alarm, word for word, as somebody has read and approved it."""
    found = "\n".join(all_texts())
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        GOLDEN.write_text(found, encoding="utf-8")
    assert found == GOLDEN.read_text(encoding="utf-8")


def test_every_alarm_of_the_catalogue_has_golden_texts() -> None:
    """A new alarm without a text that somebody has read fails here."""
    assert {case.alarm for case in EVERY_ALARM} == set(CATALOGUE)


def response_of(its: DepotPlan, case: Case) -> str:
    """What the alarm's text asks for."""
    own = booked(its, case).words(START).response
    return in_units(own or CATALOGUE[case.alarm].text_response, its.us_units)


CASES = [
    pytest.param(its, case, id=f"{name}-{case.name}")
    for name, its in {**PLANS, **LONG}.items()
    for case in EVERY_ALARM
]
ORDINARY = [one for one in CASES if not str(one.id).startswith("long")]


@pytest.mark.parametrize(("its", "case"), CASES)
def test_each_is_one_segment_with_what_the_decision_hangs_on(its: DepotPlan, case: Case) -> None:
    """At most 160 septets, with its number, what to do and how to take it, whole, again or not."""
    code = f"{its.short}12"
    for kind, text in texts(its, case).items():
        assert septets(text) <= 160
        assert code in text
        if kind in ("cleared", "taken"):
            continue
        assert text.startswith(code)
        assert response_of(its, case) in text
        asks = its.duty.replies and CATALOGUE[case.alarm].taken_by_reply
        assert bool(re.search(rf"Reply {code}( to take it\.)?$", text)) is asks


@pytest.mark.parametrize("page", [True, False])
@pytest.mark.parametrize(("its", "case"), CASES)
def test_while_no_reply_is_heard_each_says_how_else_it_is_taken(
    its: DepotPlan, case: Case, page: bool
) -> None:
    """Within the segment, beside the whole of what to do, whoever is called and how often."""
    unheard = replace(its.duty, replies=False, replies_fail=True, page=page)
    its = replace(its, duty=unheard)
    how = "Take it on the page" if page else f"Run brineward take {its.short}12"
    for kind, text in texts(its, case).items():
        assert septets(text) <= 160
        if kind not in ("cleared", "taken"):
            assert response_of(its, case) in text
            assert (how in text) is CATALOGUE[case.alarm].taken_by_reply


@pytest.mark.parametrize(("its", "case"), ORDINARY)
def test_with_ordinary_names_nothing_of_weight_is_left_out(its: DepotPlan, case: Case) -> None:
    """Where to drive to, what is wrong, how bad and how long there is are in the first text."""
    text, words = texts(its, case)["raised"], booked(its, case).words(START)
    assert "Tern Hollow:" in text
    assert words.headline in text
    assert words.how_bad[1:] in text
    # Where what it may be, or that it is at the limit already, takes the room: both say "now".
    left_out = case.sort.startswith("by level") or case.sort == "at the limit"
    assert words.time_left[1:] in text or left_out


@pytest.mark.parametrize(("its", "case"), ORDINARY)
def test_each_is_in_sentences(its: DepotPlan, case: Case) -> None:
    """Each begins with a capital after a stop, and none is broken off."""
    for text in texts(its, case).values():
        for _, after in re.findall(r"([.?!]) (\S+)", text):
            assert not after[0].islower(), text
        assert not re.search(r"\b(over|stands?|told|believable|till|by eye)\b", text), text
        assert "  " not in text


def test_a_second_person_and_a_second_text_are_named_as_that() -> None:
    """Who is called second knows that nobody has it; who is called again, that it still is so."""
    said = texts(PLANS["US units, replies"], EVERY_ALARM[0])
    assert said["again"].startswith("TH12 NOW, still not taken, ")
    assert said["returned"].startswith("TH12 NOW, active again, ")
    assert said["to the second"].startswith("TH12 NOW, not taken yet, ")
    assert said["cleared"].startswith("TH12 cleared, ")
    assert said["taken"].startswith("Dispatch desk has TH12, ")


def test_a_value_that_reads_as_its_limit_is_at_the_limit() -> None:
    """ "37 F (limit 37)" makes one ask whether that is an alarm at all."""
    for case in EVERY_ALARM:
        if case.sort == "at the limit":
            for its in PLANS.values():
                assert "At the limit, " in texts(its, case)["raised"]


@pytest.mark.parametrize("record", CATALOGUE.values(), ids=CATALOGUE.keys())
def test_nobody_is_asked_for_what_is_unsafe(record: AlarmRecord) -> None:
    """No opening of a valve, no entering or climbing of a tank, no power reset unseen."""
    texts = [getattr(record, field) for field in ("response", "text_response", "text_afterwards")]
    for sentence in re.split(r"(?<=[.;:])\s", " ".join(texts)):
        words = sentence.lower()
        if re.search(r"\bopen (a|the) valve", words) or re.search(
            r"\b(climb|enter|leans?)\b", words
        ):
            assert re.search(r"\b(never|do not|don't|nobody)\b", words), sentence
        if "reset" in words:
            assert re.search(
                r"no reset|reset nothing|sees it dry", words
            ) or "Seen dry: " in " ".join(texts)
        if "clean" in words and "probe" in words:
            assert "pump out" in " ".join(texts), sentence
        if re.search(r"\blook (at|for)\b", words):
            assert "from outside" in words, sentence
        if "drain" in words:
            kept_in = re.search(r"\b(no|not)\b.*\byard or (a )?drain\b", words)
            assert "water lines" in words or "stop draining" in words or kept_in, sentence
        if "flame" in words:
            assert "no flame" in words, sentence
        assert "bypass" not in words
        assert "relieve" not in words


def test_whoever_is_sent_to_a_sensor_knows_what_to_look_at() -> None:
    """The sensor and its cable, from outside and with panels shut, and what it measures where there
    is room; "go look" says none of that."""
    roomy = CATALOGUE["sensor-implausible"].text_response
    assert "what it measures" in roomy
    for its in PLANS.values():
        for case in (one for one in EVERY_ALARM if one.alarm == "sensor-implausible"):
            asked = response_of(its, case).lower()
            for words in ("sensor", "cable", "from outside", "open no panel"):
                assert words in asked


def test_a_pump_against_a_closed_valve_is_stopped_at_the_panel_and_left_to_cool() -> None:
    """In the text, in the full response, and still when it has cleared."""
    record = CATALOGUE["closed-valve"]
    assert record.text_response.startswith("Stop it at the PANEL. Stay away until cold.")
    assert record.response.startswith("Shut the pump off at the panel, not at the pump, and let it")
    assert "Never open a valve on a hot pump" in record.response
    assert "keep away" in record.text_afterwards
    for text in (record.text_response, record.text_afterwards):
        assert re.search("open no valve", text, re.IGNORECASE)


@pytest.mark.parametrize("its", PLANS.values(), ids=PLANS)
def test_where_either_of_two_pumps_may_be_the_one_both_are_to_be_stopped(its: DepotPlan) -> None:
    """Of "it" the hot one would be left running as often as not."""
    case = next(one for one in EVERY_ALARM if one.sort == "one of two")
    for kind in ("raised", "again", "returned"):
        text = texts(its, case)[kind]
        assert "Stop both at the PANEL. Stay away until cold. Open NO valve." in text
        assert "Stop it" not in text


WET = {
    case.sort: response_of(PLANS["US units, replies"], case)
    for case in EVERY_ALARM
    if case.alarm == "containment-wet"
}


def test_each_valve_that_is_to_be_shut_is_said_to_be_shut() -> None:
    """Beside a wet containment "valve" alone may be its drain, and opened."""
    assert "THEN shut tank valve" in CATALOGUE["tank-leak"].text_response
    named = [text for text in WET.values() if "valve" in text]
    assert named
    for text in named:
        assert re.search(r"ump off \(PANEL\), THEN shut (its|tank) valve\.", text)


@pytest.mark.parametrize(("sort", "text"), WET.items())
def test_nobody_steps_into_a_wet_containment_or_lets_brine_out_of_it(sort: str, text: str) -> None:
    """Whatever it may be from; and rain has no pump to stop and no valve to shut."""
    assert text.startswith("Stay out. ")
    if sort in ("rain", "water", "at its rim"):
        assert "edge" in text
        assert not re.search(r"pump off|valve", text)
    if sort != "water":
        assert re.search(r"(No brine|If salty, not) to yard", text)


def test_a_tank_that_a_pump_fills_is_not_shut_against_it() -> None:
    """The pump first: a valve shut on a running pump is the other danger."""
    record = CATALOGUE["overflow-ahead"]
    assert record.response.lower().index("stop the pump") < record.response.lower().index(
        "then shut"
    )
    assert record.text_response.startswith("Fill pump off (PANEL), THEN shut water.")


def test_the_time_is_the_depots_with_the_day_where_it_is_another() -> None:
    """Local wall clock; yesterday's evening has its day."""
    clock_time = plan(zone=ZoneInfo("America/Chicago")).units.clock_time
    now = instant_from_rfc3339("2026-03-08T12:00:00Z")
    assert clock_time(now, now) == "07:00"
    assert clock_time(now - 6 * HOUR, now) == "00:00"
    assert clock_time(now - 8 * HOUR, now) == "Sat 22:00"
    assert clock_time(now - 400 * DAY, now).endswith("06:00")


def test_a_day_of_the_week_is_never_that_of_another_week() -> None:
    """ "Since Sun 12:00" of three weeks ago would be read as of last Sunday."""
    clock_time = plan().units.clock_time
    now = instant_from_rfc3339("2026-03-08T12:00:00Z")
    assert clock_time(now - 6 * DAY, now) == "Mon 12:00"
    assert clock_time(now - 7 * DAY, now) == "Mar 1 12:00"
    assert clock_time(now - 21 * DAY, now) == "Feb 15 12:00"
    assert clock_time(now + 7 * DAY, now) == "Mar 15 12:00"


def with_words(case: Case, words: str) -> Case:
    """The finding with other words in each of its texts."""
    free = {
        one.name: words
        for one in fields(case.finding)
        if isinstance(getattr(case.finding, one.name), str)
        and one.name not in ("unit", "valve", "beside")
    }
    changed: Any = replace(case.finding, **free)
    return case._replace(finding=changed)


@given(
    name=st.text(min_size=1, max_size=80),
    words=st.text(max_size=300),
    number=st.integers(1, 10**6),
    case=st.sampled_from(EVERY_ALARM),
    replies=st.booleans(),
)
def test_whatever_the_names_it_is_one_segment_that_asks_for_the_same(
    name: str, words: str, number: int, case: Case, *, replies: bool
) -> None:
    """Names and sentences from outside of any length and script never break or drop a text, nor
    cut what it asks for: "do not open the" is another thing.
    """
    its = example(us=True, replies=replies)
    vessels = {vessel.id: replace(vessel, name=name) for vessel in its.vessels.values()}
    sensors = {one.id: replace(one, name=name) for one in its.sensors.values()}
    duty = replace(its.duty, names=dict.fromkeys(its.duty.on_call, name))
    its = replace(its, name=name, vessels=vessels, sensors=sensors, duty=duty)
    worded = with_words(case, words)
    said = texts(its, worded, number=number)
    for kind, text in said.items():
        assert 0 < septets(text) <= 160
        assert f"TH{number}" in text
        if kind not in ("cleared", "taken"):
            assert response_of(its, worded) in text
    summary = Wording(its).summary([number] * 40, START, START)
    assert 0 < septets(segment(summary)) <= 160
