"""`brineward curves`: the reference plot."""

import argparse
import sys
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from brineward.commands import curves
from brineward.commands.curves_picture import picture
from brineward.published import conductivity_rows, freezing_rows, solubility_rows, sources
from pictures import cut_off, legend_texts, overlapping


@pytest.fixture(scope="module")
def figure() -> Figure:
    """The picture, drawn once."""
    return picture()


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    parser = argparse.ArgumentParser()
    curves.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["curves", *words])
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_picture_is_drawn_where_it_was_asked_for(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The file is a picture with something on it, and its name is printed."""
    file = tmp_path / "curves.png"
    code, out, err = told(capsys, "-o", str(file))
    assert (code, err) == (0, "")
    assert str(file) in out
    picture = imread(file)
    assert picture.shape[0] > 500
    assert picture.std() > 0.05


def test_every_published_conductivity_is_on_it(figure: Figure) -> None:
    """No row is left off, whatever it says of the curve."""
    points = {
        (round(x, 6), round(y, 6))
        for collection in figure.axes[0].collections
        for x, y in collection.get_offsets().tolist()
    }
    assert {
        (round(100 * row.mass_fraction, 6), round(10 * row.conductivity_s_per_m, 6))
        for row in conductivity_rows()
    } <= points


def test_every_published_saturation_lies_in_the_band_that_is_drawn(figure: Figure) -> None:
    """The small picture shows the scatter that the line's uncertainty was taken from."""
    (inset,) = [axes for axes in figure.axes[1].child_axes if axes.collections]
    band, *scattered = inset.collections
    shape = band.get_paths()[0]
    points = [point for one in scattered for point in one.get_offsets().tolist()]
    warm = [point for point in points if 0.1 < point[1] < 40.0]
    assert len(warm) >= 15
    assert all(shape.contains_point(point) for point in warm)


def test_sources_are_named_as_people_know_them(figure: Figure) -> None:
    """The legends cite author or book and year, never a table's id."""
    said = legend_texts(figure.axes[0]) + legend_texts(figure.axes[1])[3:]
    drawn = {row.source for row in (*conductivity_rows(), *freezing_rows(), *solubility_rows())}
    assert sorted(said) == sorted(sources()[source].cited_as for source in drawn)
    assert "Chambers, Stokes & Stokes 1956" in said


def test_axes_say_their_units(figure: Figure) -> None:
    """Whoever reads a number off knows what it is; degrees are given in both scales."""
    left, right = figure.axes[:2]
    assert left.get_xlabel() == right.get_xlabel() == "sodium chloride, % by mass"
    assert left.get_ylabel() == "conductivity, mS/cm"
    assert right.get_ylabel() == "temperature, degC"
    assert "temperature, degF" in [axes.get_ylabel() for axes in right.child_axes]


def test_no_text_lies_on_another(figure: Figure) -> None:
    """Labels, legends and ticks have room of their own, and none is cut off."""
    assert overlapping(figure) == []
    assert cut_off(figure) == []


def test_without_matplotlib_the_remedy_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence with the very command to run, and no traceback."""
    monkeypatch.delitem(sys.modules, "brineward.commands.curves_picture", raising=False)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    code, out, err = told(capsys, "-o", str(tmp_path / "curves.png"))
    assert (code, out) == (2, "")
    assert err.endswith(f": {sys.executable} -m pip install matplotlib\n")


@pytest.mark.parametrize("name", ["no-such-folder/curves.png", "curves.nonsense"])
def test_where_it_cannot_be_drawn_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    """A missing folder or an unknown kind of picture is one sentence."""
    code, out, err = told(capsys, "-o", str(tmp_path / name))
    assert (code, out) == (2, "")
    assert "can't be drawn" in err
