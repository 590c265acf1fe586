"""`brineward curves`: the reference plot."""

import argparse
import builtins
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from brineward.commands import curves
from brineward.published import conductivity_rows


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
    """The file is a picture with something on it, and its name is told."""
    file = tmp_path / "curves.png"
    code, out, err = told(capsys, "-o", str(file))
    assert (code, err) == (0, "")
    assert str(file) in out
    picture = imread(file)
    assert picture.shape[0] > 500
    assert picture.std() > 0.05


def test_every_published_conductivity_is_on_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No row is left off, whatever it says of the curve."""
    drawn: list[Figure] = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, *_, **__: drawn.append(figure))
    told(capsys, "-o", str(tmp_path / "curves.png"))
    points = {
        (round(x, 6), round(y, 6))
        for collection in drawn[0].axes[0].collections
        for x, y in collection.get_offsets().tolist()
    }
    assert {
        (round(100 * row.mass_fraction, 6), round(10 * row.conductivity_s_per_m, 6))
        for row in conductivity_rows()
    } <= points


def test_without_matplotlib_the_remedy_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence with what to install, no traceback."""
    real = builtins.__import__

    def refusing(name: str, *rest: Any, **named: Any) -> Any:
        if name.startswith("matplotlib"):
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", refusing)
    code, out, err = told(capsys, "-o", str(tmp_path / "curves.png"))
    assert (code, out) == (2, "")
    assert "pip install 'brineward[plots]'" in err


@pytest.mark.parametrize("name", ["no-such-folder/curves.png", "curves.nonsense"])
def test_where_it_cannot_be_drawn_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    """A missing folder or an unknown kind of picture is one sentence."""
    code, out, err = told(capsys, "-o", str(tmp_path / name))
    assert (code, out) == (2, "")
    assert "can't be drawn" in err
