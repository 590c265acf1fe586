"""The check of pictures itself: it finds texts that lie on one another or reach out."""

from matplotlib.figure import Figure

from pictures import cut_off, overlapping


def _figure(*places: tuple[float, float]) -> Figure:
    figure = Figure(figsize=(4.0, 3.0))
    axes = figure.subplots()
    axes.set_axis_off()
    for number, (x, y) in enumerate(places):
        axes.text(x, y, f"label {number}")
    return figure


def test_labels_on_one_another_are_found() -> None:
    """A picture with a collision fails, one without passes."""
    assert overlapping(_figure((0.1, 0.1), (0.1, 0.8))) == []
    assert overlapping(_figure((0.1, 0.1), (0.15, 0.12))) == [("label 0", "label 1")]


def test_a_label_that_reaches_out_is_found() -> None:
    """Half a word at the edge is no label."""
    assert cut_off(_figure((0.1, 0.1))) == []
    assert cut_off(_figure((1.1, 0.1))) == ["label 0"]
