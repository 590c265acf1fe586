"""The pictures of the docs: every line named, every unit told, no text on another."""

from pathlib import Path

import pytest
from matplotlib.figure import Figure

from brineward.fitting import percent_per_degree, season_table
from brineward.published import sources
from pictures import axes_of, cut_off, legend_texts, overlapping


@pytest.fixture(scope="module")
def rule() -> Figure:
    """What a fixed percent per degree makes of brine."""
    return percent_per_degree.picture()


@pytest.fixture(scope="module")
def seasons() -> Figure:
    """Three seasons: as full of lines as a thousand, and as full of texts."""
    return season_table.picture(season_table.readings_of(3), 3)


def test_no_text_lies_on_another(rule: Figure, seasons: Figure) -> None:
    """Legends, titles and ticks have room of their own, and none is cut off."""
    for figure in (rule, seasons):
        assert overlapping(figure) == []
        assert cut_off(figure) == []


def test_axes_say_their_units(rule: Figure, seasons: Figure) -> None:
    """Degrees and percent are told which; the rule's picture has both scales of degrees."""
    assert [axes.get_xlabel() for axes in rule.axes] == ["brine, degC"] * 2
    assert [axes.get_xlabel() for axes in axes_of(rule)].count("brine, degF") == 2
    assert rule.axes[0].get_ylabel() == "what the rule shows, % by mass"
    assert rule.axes[1].get_ylabel() == "percent per degC"
    assert all(axes.get_xlabel().startswith("brine, degC") for axes in seasons.axes)
    assert seasons.axes[1].get_ylabel().startswith("half of the 95 % interval, % by mass")


def test_what_was_measured_names_who_measured_it(rule: Figure) -> None:
    """The points cite their source by name and year."""
    cited = sources()["KOHL18"].cited_as
    assert any(text.startswith(cited) for text in legend_texts(rule.axes[1]))


def test_every_group_of_seasons_is_in_the_legend_once(seasons: Figure) -> None:
    """In words that say since when and how far, as the doc's table does."""
    (legend,) = seasons.legends
    said = [text.get_text() for text in legend.get_texts()]
    assert sorted(said) == sorted(["aim: 94 to 98 %", *season_table.LEGEND.values()])


def test_the_programs_draw_them(tmp_path: Path) -> None:
    """`python -m brineward.fitting.percent_per_degree -o FILE` writes the picture."""
    file = tmp_path / "rule.png"
    percent_per_degree.main(["-o", str(file)])
    assert file.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
