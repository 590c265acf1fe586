"""Every text of the system on one page of the docs, as the phone shows it; the page is current.

It is written anew with BRINEWARD_WRITE_GOLDEN=1 in the environment; read it then.
"""

import os
from collections.abc import Iterator
from dataclasses import replace
from zoneinfo import ZoneInfo

from brineward.alarms.registry import CATALOGUE, site_of
from brineward.plant.plan import DepotPlan, Duty
from brineward.readings.instants import DAY, MINUTE
from brineward.readings.modes import Mode
from brineward.telling.handover_words import begins_text, ends_text
from brineward.telling.health import health_text, weekly_test_text
from brineward.telling.mode_words import mode_text
from brineward.telling.several_words import several_text
from brineward.wording.gsm import septets
from checkout import ROOT
from depots import START
from engine.scripted import Script, World, text_of, with_sensors
from wording.case_texts import example, texts
from wording.every_alarm import EVERY_ALARM

PAGE = ROOT / "daemon" / "docs" / "texts.md"
CHICAGO = ZoneInfo("America/Chicago")


def the_plan() -> DepotPlan:
    """The example depot, where people can reply."""
    its = example(us=True, replies=True)
    return replace(its, zone=CHICAGO)


def handover_texts(plan: DepotPlan) -> Iterator[tuple[str, str]]:
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


def set_time_texts(plan: DepotPlan) -> Iterator[tuple[str, str]]:
    """The daily line and the weekly test, as the telling would say them."""
    yield "daily line", an_hours_line(7.0)
    yield "daily line, an alarm is active", an_hours_line(-3.0)
    yield "daily line, nothing has been read", health_text(site_of(plan), (), START)
    yield "weekly test", weekly_test_text(plan)


def an_hours_line(shelter: float) -> str:
    """The daily line after an hour of a small depot with its tank half full, in US units."""
    duty = Duty(on_call=("yard",), replies=True, daily_minutes=19 * 60)
    names = ("level", "cond", "temp", "shelter")
    its = replace(with_sensors(*names, duty=duty), us_units=True)
    script = Script(its, world=World(shelter=shelter)).run(3700)
    (line,) = script.texts("news")
    return text_of(line)


def texts_of_several(plan: DepotPlan) -> Iterator[tuple[str, str]]:
    """What is told of alarms together, where an hour had no room for a text each."""
    names = ("main tank loses brine", "broker is not reached", "part of the watch has stopped")
    named = [(f"TH{number}", name) for number, name in enumerate(names, 12)]
    yield "nobody has them", several_text(plan, calling=named)
    yield "one is left", several_text(plan, calling=named[:1], gone=["TH13"], in_hand=["TH14"])
    yield "all are seen to", several_text(plan, gone=["TH12", "TH13"], in_hand=["TH14"])
    yield "one waits to be reset", several_text(plan, to_reset=["TH12"], gone=["TH13"])


def page() -> str:
    """The whole page."""
    plan = the_plan()
    lines = [
        "# Every text, as the phone shows it",
        "",
        "Made from the code by `BRINEWARD_WRITE_GOLDEN=1 pytest tests/wording`.",
        "At the depot of `config/tern-hollow.toml`, in US units, where people can reply.",
        "",
        "## Alarms",
    ]
    told = ""
    for case in EVERY_ALARM:
        if case.alarm != told:
            told = case.alarm
            lines += ["", f"### {CATALOGUE[told].title} (`{told}`)"]
        lines += ["", f"{case.name}:", ""]
        lines += [f"- {kind}: `{text}`" for kind, text in texts(plan, case).items()]
    lines += ["", "## When duty is handed over", ""]
    lines += [f"- {what}: `{text}`" for what, text in handover_texts(plan)]
    lines += ["", "## When there were too many texts in an hour", ""]
    lines += [f"- {what}: `{text}`" for what, text in texts_of_several(plan)]
    lines += ["", "## At set times", ""]
    lines += [f"- {what}: `{text}`" for what, text in set_time_texts(plan)]
    lines += ["", "## When a mode is set", ""]
    lines += [f"- {mode.value}: `{mode_text(plan, mode)}`" for mode in Mode]
    return "\n".join(lines) + "\n"


def test_the_page_is_current() -> None:
    """Whoever reads the docs reads what phones show."""
    found = page()
    if os.environ.get("BRINEWARD_WRITE_GOLDEN"):
        PAGE.write_text(found, encoding="utf-8")
    assert PAGE.read_text(encoding="utf-8") == found


def test_each_text_of_a_handover_is_one_segment_and_whole() -> None:
    """Also with names as long as one may call them and many alarms."""
    plan = the_plan()
    long = replace(
        plan,
        name="Wexmoor County Upper Tern Hollow North Yard",
        duty=replace(plan.duty, names={"yard": "The lead of the upper north yard"}),
    )
    codes = [f"WXTH{number}" for number in range(100, 130)]
    said = [
        *(text for _, text in handover_texts(plan)),
        begins_text(long, START, START + 20 * DAY, active=codes, had=""),
        ends_text(long, "yard", active=codes, kept=codes),
    ]
    for text in said:
        assert 0 < septets(text) <= 160
        assert "on call now" in text
    assert "and 26 more" in said[-1]
