"""What people read of each alarm: golden texts, one segment each, and nothing unsafe asked for.

The golden file is written anew with BRINEWARD_WRITE_GOLDEN=1 in the environment; read it then.
"""

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from brineward.alarms.catalogue import CATALOGUE
from brineward.wording.alarm_texts import (
    clock_time,
    over_text,
    raised_text,
    sentence,
    summary_text,
    taken_text,
)
from hypothesis import given
from hypothesis import strategies as st

from brineward.alarms.condition import Verdict
from brineward.plant.plan import DepotPlan, Duty
from brineward.readings.instants import DAY, HOUR, MINUTE, instant_from_rfc3339
from brineward.wording.gsm import septets
from depots import START, plan
from wording.every_alarm import EVERY_ALARM

GOLDEN = Path(__file__).with_name("alarm_texts.txt")
LONG = "Wexmoor County Upper Tern Hollow North Yard"
PEOPLE = {"yard": "Yard lead", "dispatch": "Dispatch desk"}
PLANS = {
    "US units": plan(us_units=True, duty=replace(plan().duty, names=PEOPLE)),
    "metric, replies": plan(
        zone=ZoneInfo("America/Chicago"), duty=replace(plan().duty, names=PEOPLE, replies=True)
    ),
    "long names, replies": plan(
        name=LONG,
        short="WXTH",
        us_units=True,
        duty=Duty(
            on_call=("yard",), names={"yard": "The lead of the upper north yard"}, replies=True
        ),
    ),
    "long names": plan(
        name=LONG,
        short="WXTH",
        duty=Duty(on_call=("yard",), names={"yard": "The lead of the upper north yard"}),
    ),
}


def raised(its: DepotPlan, alarm: str, source: str, verdict: Verdict, **more: object) -> str:
    """The first text of an alarm, raised three minutes ago."""
    times = {"number": 12, "since": START - 3 * MINUTE, "now": START}
    return raised_text(its, CATALOGUE[alarm], source, verdict, **{**times, **more})


def all_texts() -> Iterator[str]:
    """Each alarm's texts in all plans, as the golden file has them."""
    for name, its in PLANS.items():
        yield f"== {name}"
        for alarm, sort, source, verdict in EVERY_ALARM:
            record = CATALOGUE[alarm]
            yield ""
            yield f"{alarm}{', ' if sort else ''}{sort}"
            yield f"  {raised(its, alarm, source, verdict)}"
            later = {"number": 12, "since": START - 3 * MINUTE, "now": START + 26 * HOUR}
            yield f"  {over_text(its, record, source, verdict, **later)}"
            yield f"  {taken_text(its, record, source, verdict, number=12, by='Dispatch desk')}"
            yield f"  ({sentence(its, record, source, verdict)})"
        yield ""
        codes = [f"{its.short}{number}" for number in range(7, 12)]
        yield f"  {summary_text(its, codes=codes, since=START - HOUR, now=START)}"
        yield ""


def test_golden_texts() -> None:
    """Every text of every alarm, word for word, as somebody has read and approved it."""
    found = "\n".join(all_texts())
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        GOLDEN.write_text(found, encoding="utf-8")
    assert found == GOLDEN.read_text(encoding="utf-8")


def test_every_alarm_of_the_catalogue_has_golden_texts() -> None:
    """A new alarm without a text that somebody has read fails here."""
    assert {alarm for alarm, *_ in EVERY_ALARM} == set(CATALOGUE)


CASES = [
    pytest.param(its, alarm, source, verdict, id=f"{name}-{alarm}-{sort}")
    for name, its in PLANS.items()
    for alarm, sort, source, verdict in EVERY_ALARM
]


@pytest.mark.parametrize(("its", "alarm", "source", "verdict"), CASES)
def test_each_is_one_segment_with_what_the_decision_hangs_on(
    its: DepotPlan, alarm: str, source: str, verdict: Verdict
) -> None:
    """At most 160 septets, with its number, what to do and how to take it, whole, again or not."""
    for again in (False, True):
        body = raised(its, alarm, source, verdict, again=again)
        assert septets(body) <= 160
        assert body.startswith(f"{its.short}12")
        assert ("AGAIN" in body) is again
        assert CATALOGUE[alarm].text_response in body
        how = "Reply" if its.duty.replies else "[Tt]ake"
        assert re.search(rf"{how} {its.short}12( to take it\.)?$", body)


@pytest.mark.parametrize(("alarm", "sort", "source", "verdict"), EVERY_ALARM)
@pytest.mark.parametrize("name", ["US units", "metric, replies"])
def test_with_ordinary_names_the_place_is_in_every_text(
    name: str, alarm: str, sort: str, source: str, verdict: Verdict
) -> None:
    """Where to drive to is never left out where the depot's name is of ordinary length."""
    del sort
    assert "Tern Hollow:" in raised(PLANS[name], alarm, source, verdict)


@pytest.mark.parametrize(("alarm", "sort", "source", "verdict"), EVERY_ALARM)
def test_with_ordinary_names_the_beginning_is_in_nearly_every_text(
    alarm: str, sort: str, source: str, verdict: Verdict
) -> None:
    """Since when is left out only where a probe's history takes the room."""
    del sort
    body = raised(PLANS["US units"], alarm, source, verdict)
    assert "Since 17:57." in body or alarm == "probe-drifted"


@pytest.mark.parametrize("record", CATALOGUE.values(), ids=CATALOGUE.keys())
def test_nobody_is_asked_for_what_is_unsafe(record: object) -> None:
    """No opening of a valve, no entering or climbing of a tank, no power reset unseen."""
    texts = [getattr(record, field) for field in ("response", "text_response", "text_afterwards")]
    for told in re.split(r"(?<=[.;:])\s", " ".join(texts)):
        words = told.lower()
        if re.search(r"\bopen (a|the) valve", words) or re.search(r"\b(climb|enter)\b", words):
            assert re.search(r"\b(never|do not|don't)\b", words), told
        if "reset" in words:
            assert "don't reset power unseen" in words or "sees it dry and sound" in words, told
        assert "bypass" not in words
        assert "relieve" not in words


def test_a_pump_against_a_closed_valve_is_stopped_and_left_to_cool() -> None:
    """In the text, in the full response, and still when it is over."""
    record = CATALOGUE["closed-valve"]
    assert record.text_response.startswith("STOP the pump")
    assert record.response.startswith("Stop the pump")
    for told in (record.text_response, record.text_afterwards):
        assert "keep away" in told
        assert "do NOT open the valve" in told or "Do NOT open the valve" in told


def test_the_time_is_the_depots_with_the_day_where_it_is_another() -> None:
    """Local wall clock; yesterday's evening has its day."""
    its = plan(zone=ZoneInfo("America/Chicago"))
    now = instant_from_rfc3339("2026-03-08T12:00:00Z")
    assert clock_time(its, now, now) == "07:00"
    assert clock_time(its, now - 6 * HOUR, now) == "00:00"
    assert clock_time(its, now - 8 * HOUR, now) == "Sat 22:00"
    assert clock_time(its, now - 400 * DAY, now).endswith("06:00")


@given(
    name=st.text(min_size=1, max_size=80),
    source=st.text(min_size=1, max_size=60),
    told=st.text(max_size=300),
    number=st.integers(1, 10**6),
    case=st.tuples(st.sampled_from(EVERY_ALARM), st.booleans()),
)
def test_whatever_the_names_it_is_one_segment(
    name: str,
    source: str,
    told: str,
    number: int,
    case: tuple[tuple[str, str, str, Verdict], bool],
) -> None:
    """Names and sentences from outside of any length and script never break or drop a text."""
    (alarm, _, _, verdict), replies = case
    facts = {**verdict.facts, "told": told, "bad": told}
    its = plan(name=name, duty=replace(plan().duty, names={source: name}, replies=replies))
    shown = verdict._replace(facts=facts)
    body = raised(its, alarm, source, shown, number=number)
    assert 0 < septets(body) <= 160
    assert f"TH{number}" in body
    for other in (
        over_text(its, CATALOGUE[alarm], source, shown, number=number, since=START, now=START),
        taken_text(its, CATALOGUE[alarm], source, shown, number=number, by=name),
        summary_text(its, codes=[told] * 40, since=START, now=START),
    ):
        assert 0 < septets(other) <= 160
