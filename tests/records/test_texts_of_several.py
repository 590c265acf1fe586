"""What is read of a text that told of several alarms at once."""

from pathlib import Path

from brineward.journal import Journal
from brineward.readings.entries import Tick
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    Notice,
    NoticeKind,
    Priority,
    Step,
    TextDue,
)
from brineward.records import Records
from brineward.records.night import night_of
from brineward.records.short_texts import more_text, who_text
from depots import DEPOT, START, plan

DO = "Open NO valve"


def raised(number: int) -> AlarmChanged:
    """A pump against a closed valve."""
    return AlarmChanged(
        time=START,
        depot=DEPOT,
        alarm="closed-valve",
        source="pump",
        number=number,
        before=AlarmState.NORMAL,
        state=AlarmState.UNACKNOWLEDGED,
        priority=Priority.MEDIUM,
        value=None,
        limit=None,
        unit="",
        sentence="the pump runs against a closed valve, its casing at 140 F in some 10 min",
    )


def text(kind: NoticeKind, number: int, person: str, *also: int) -> TextDue:
    """A text of one alarm or of several."""
    return TextDue(
        id=f"{number}-{kind}-{person}",
        time=START + MINUTE,
        depot=DEPOT,
        number=number,
        person=person,
        kind=kind,
        priority=Priority.MEDIUM,
        notice=Notice(kind=kind, plain="as it was told", also=also),
    )


def kept(*texts: TextDue) -> Journal:
    """A journal of two alarms and these texts."""
    journal = Journal.open(Path(":memory:"))
    journal.commit([Step(Tick(time=START + MINUTE), (raised(1), raised(2), *texts))])
    return journal


def test_each_alarm_that_a_text_named_knows_of_it() -> None:
    """Who asks who knows of the second of them reads the person; of a third, nobody was told."""
    with kept(text("several", 1, "yard", 2)) as journal:
        records = Records(journal.handle)
        found = [[one.id for one in records.texts.about(DEPOT, number)] for number in (1, 2, 3)]
        assert found == [["1-several-yard"], ["1-several-yard"], []]
        assert "Texted: Yard lead." in who_text(plan(), records, 2, START + HOUR)


def test_more_says_what_to_do_to_who_has_read_of_it_among_several_alone() -> None:
    """The text named it without room for that. Whoever had a text of its own gets the numbers,
    and what to do only where there is room."""
    with kept(text("several", 1, "yard", 2), text("raised", 2, "dispatch")) as journal:
        records, now = Records(journal.handle), START + 2 * MINUTE
        assert DO in more_text(plan(), records, 2, now, person="yard")
        assert DO not in more_text(plan(), records, 2, now, person="dispatch")


def test_the_story_of_a_night_names_them_all() -> None:
    """One text, one line, each code in it."""
    with kept(text("several", 1, "yard", 2)) as journal:
        night = night_of(plan(), Records(journal.handle), START - HOUR, START + HOUR)
    said = [line.sentence for line in night.lines if line.about == "text"]
    assert said == ["Yard lead was texted once about TH1 and TH2; not sent yet."]
