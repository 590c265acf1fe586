"""What a text asks for, where a finding has a response of its own or a record's is for the cold."""

import re

import pytest

from brineward.alarms.registry import CATALOGUE
from brineward.wording.gsm import septets
from brineward.wording.operator_units import in_units
from depots import START
from wording.case_texts import booked, example
from wording.every_alarm import EVERY_ALARM, Case

ITS = example(us=True, replies=True)
COLD = ("shelter-freezing", "heater-failed", "mains-lost")


def asked(case: Case) -> str:
    """What its text asks for."""
    own = booked(ITS, case).words(START).response
    return in_units(own or CATALOGUE[case.alarm].text_response, ITS.us_units)


def named(alarm: str) -> dict[str, str]:
    """What is asked for in each sort of an alarm."""
    return {case.sort: asked(case) for case in EVERY_ALARM if case.alarm == alarm}


@pytest.mark.parametrize("case", EVERY_ALARM, ids=lambda case: case.name)
def test_each_is_short_and_resets_nothing_unseen(case: Case) -> None:
    """Whichever finding it is: a tripped outlet is reset by whoever sees it dry, or by nobody."""
    said = asked(case)
    assert septets(said) <= 80
    if "reset" in said:
        assert "Seen dry: all off, reset once" in said or "reset nothing" in said


@pytest.mark.parametrize("alarm", COLD)
def test_fuel_is_forbidden_and_not_said_to_be_missing(alarm: str) -> None:
    """ "No fuel heater" can be read as that there is none."""
    for sort, said in named(alarm).items():
        assert re.search(r"(never burn|burn no) fuel", said, re.IGNORECASE), sort
        assert "no fuel heater" not in said.lower()


def test_a_heater_that_may_not_have_tripped_is_not_reset() -> None:
    """Without power: all off, reset once, then an electrician. Not running: plug and thermostat."""
    said = named("heater-failed")
    for sort in ("no power", "no power, nothing measured"):
        assert "Seen dry: all off, reset once; again: electrician." in said[sort]
    for sort in ("does not run", "no current"):
        assert "reset" not in said[sort]
        assert "Dry: check plug, thermostat; else electrician." in said[sort]
    assert all(one.startswith("Wet: keep off.") for one in said.values())


def test_in_frost_lost_mains_ask_first_for_the_lines() -> None:
    """They freeze within hours; the pump's switch is next."""
    said = named("mains-lost")
    for sort in ("in frost", "likely"):
        assert "Drain water lines. Never burn fuel inside. PANEL dry: pump off." in said[sort]
    assert "Frost: drain water lines, never burn fuel." in said[""]


def test_a_forecast_of_a_freeze_begins_with_when() -> None:
    """ "46 F (limit 37)" reads as if all were fine."""
    for case in EVERY_ALARM:
        if case.alarm in ("shelter-freezing", "heater-failed"):
            seconds = getattr(case.finding, "seconds_to_zero", None)
            words = booked(ITS, case).words(START)
            if seconds and (case.finding.value or 0.0) > 0.0:
                assert words.how_bad.startswith("32 F in "), case.name
                assert "limit" not in f"{words.how_bad} {words.time_left}"


@pytest.mark.parametrize("alarm", ["fill-weak", "water-left-on"])
def test_the_fill_pump_is_stopped_at_the_panel_before_the_water_is_shut(alarm: str) -> None:
    """ "THEN water" may be heard as to let it in."""
    for said in named(alarm).values():
        assert said.startswith("Fill pump off (PANEL), THEN shut water.")
