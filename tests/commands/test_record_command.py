"""`brineward record`: entering, correcting, listing, and what is refused."""

import csv
import io
import json

import pytest

from brineward.commands.main import main
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.readings.outputs import Step
from reports.made import settings_with


@pytest.fixture
def settings(tmp_path):
    """The standard depot with an empty journal."""
    made = settings_with(tmp_path / "a.journal", tmp_path)
    with Journal.open(made.journal.path):
        pass
    return made


def enter(settings, *words: str) -> int:
    """As the yard lead."""
    return main(["record", str(settings.file), *words, "--by", "yard"])


def serve(settings) -> None:
    """What the service does with what waits."""
    engine = Engine(settings.depots)
    with Journal.open(settings.journal.path) as journal:
        waiting = journal.inbox.waiting()
        steps = [Step(entry, engine.step(entry)) for _, entry in waiting]
        journal.commit(steps, inbox_done=[number for number, _ in waiting])


def listed(settings, capsys, *words: str) -> list[dict]:
    """What --list --json prints."""
    capsys.readouterr()
    assert main(["record", str(settings.file), "--list", "--json", *words]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_record_has_its_number_before_and_after_the_service_has_it(settings, capsys):
    """Entered while no service runs it waits, and is listed all the same, under the same number."""
    assert enter(settings, "salt", "20", "tons") == 0
    assert "number 1: salt delivered, 20.00 tons." in capsys.readouterr().out
    enter(settings, "accepted")
    waiting = listed(settings, capsys)
    serve(settings)
    assert listed(settings, capsys) == waiting
    assert [(one["number"], one["kind"]) for one in waiting] == [(1, "salt"), (2, "batch")]
    assert waiting[0]["mass_kg"] == pytest.approx(40_000 * 0.45359237)  # a short ton: 2,000 lb


def test_a_correction_keeps_both_with_who_and_why(settings, capsys):
    """The list shows the earlier one as corrected."""
    enter(settings, "load 1200 gal truck 7", "--at", "2 h")
    assert enter(settings, "load 1100 gal truck 7", "--corrects", "1", "--why", "misread") == 0
    rows = listed(settings, capsys)
    assert [(one["corrects"], one["why"], one["replaced_by"]) for one in rows] == [
        (0, "", 2),
        (1, "misread", 0),
    ]
    main(["record", str(settings.file), "--list"])
    said = capsys.readouterr().out
    assert "(corrected by 2)" in said
    assert "[instead of 1: misread]" in said


def test_the_words_may_follow_the_options(settings, capsys):
    """As people type it; an option that is not known is still refused, and so is a word too many
    where no words belong."""
    words = ["record", str(settings.file), "--by", "yard", "salt 20", "tons"]
    assert main(words) == 0
    (row,) = listed(settings, capsys)
    assert (row["kind"], row["by"]) == ("salt", "yard")
    for wrong in ([*words, "--bogus"], ["loads", str(settings.file), "--json", "extra"]):
        with pytest.raises(SystemExit) as ended:
            main(wrong)
        assert ended.value.code == 2
        assert "unrecognized arguments" in capsys.readouterr().err


def test_a_correction_is_about_the_time_of_what_it_corrects(settings, capsys):
    """Last week's load stays last week's, unless --at says another time; a chain of them too."""
    enter(settings, "salt 20 tons", "--at", "3 d")
    enter(settings, "salt 2 tons", "--corrects", "1", "--why", "slip")
    enter(settings, "salt 3 tons", "--corrects", "2", "--why", "slip again")
    enter(settings, "salt 3 tons", "--corrects", "3", "--why", "a day later", "--at", "2 d")
    first, second, third, fourth = (one["at"] for one in listed(settings, capsys))
    assert first == second == third != fourth


def test_the_rows_of_csv_are_those_of_json(settings, capsys):
    """Read back by the standard library."""
    enter(settings, 'remark "hose, new"')
    rows = listed(settings, capsys)
    main(["record", str(settings.file), "--list", "--csv"])
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row["what"] == rows[0]["what"] == 'remark: "hose, new".'


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("load 12 truck 7",), 2, "small load"),
        (
            ("salt 5 tons", "--corrects", "9", "--why", "x"),
            1,
            "no number 9; the last is 0",
        ),
        (("salt 5 tons", "--corrects", "1"), 2, "--why"),
        (("strike",), 1, "Which number"),
        (("salt 5 tons", "--at", "2100-01-01"), 2, "still to come"),
        (("salt 5 tons", "--depot", "nowhere"), 2, "'nowhere' is not a depot of this config"),
    ],
)
def test_what_can_t_be_entered_is_said(settings, capsys, words, code, said):
    """In a sentence, and nothing is entered."""
    assert enter(settings, *words) == code
    assert said in capsys.readouterr().err
    assert listed(settings, capsys) == []


def test_who_is_not_on_call_enters_nothing(settings, capsys):
    """Somebody known to nobody."""
    assert main(["record", str(settings.file), "accepted", "--by", "nobody"]) == 2
    assert "not on call at Tern Hollow; say who enters it: --by " in capsys.readouterr().err
