"""`brineward report`: a page, a sum, or a sentence that says what is wrong."""

import pytest

from brineward.commands.main import main
from reports.made import RECORDED, play, settings_with

SPAN = ("--since", "2026-01-20", "--until", "2026-01-24")


@pytest.fixture(scope="module")
def config(tmp_path_factory):
    """A config whose journal holds a night."""
    folder = tmp_path_factory.mktemp("report")
    settings = settings_with(folder / "a.journal", folder)
    play(settings, RECORDED / "closed-valve.csv")
    return str(settings.file)


def test_the_sum_is_printed_where_no_file_is_named(config, capsys):
    """Heading, stretch, how it went, and the totals."""
    assert main(["report", config, "week", *SPAN]) == 0
    said = capsys.readouterr().out
    assert "Tern Hollow: Week from Tue 20 January 2026" in said
    assert "1 alarm: 1 not acknowledged." in said


def test_a_file_is_written_in_the_form_that_its_name_says(config, tmp_path, capsys):
    """A page, with the alarm on it."""
    out = tmp_path / "week.html"
    assert main(["report", config, "week", *SPAN, "-o", str(out)]) == 0
    assert "written to" in capsys.readouterr().out
    assert "closed" in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--depot", "nowhere"), "'nowhere' is not a depot of this config"),
        (("--until", "2026-01-20"), "--until needs --since"),
        (("--since", "soon"), "is not a time"),
        (("-o", "week.doc"), "ends in none of"),
    ],
)
def test_what_can_t_be_done_is_a_sentence(config, capsys, words, said):
    """Exit code 2, no traceback."""
    assert main(["report", config, "week", *words]) == 2
    assert said in capsys.readouterr().err
