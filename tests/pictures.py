"""What can be held of a picture without looking at it: its texts, and that none lies on another."""

from collections.abc import Iterator
from itertools import combinations

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

TOUCH = 1.0
"""Boxes that meet by less than this many pixels only touch."""


def axes_of(figure: Figure) -> Iterator[Axes]:
    """Every axes of a figure, those inside and beside others too."""
    for axes in figure.axes:
        yield axes
        yield from axes.child_axes


def legend_texts(axes: Axes) -> list[str]:
    """What a legend says, line by line."""
    legend = axes.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


def overlapping(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts of which one lies on the other; a legend counts as one text."""
    return [(one, other) for (one, a), (other, b) in combinations(_boxes(figure), 2) if _meet(a, b)]


def cut_off(figure: Figure) -> list[str]:
    """Texts that reach out of the picture."""
    whole = figure.bbox
    return [
        name
        for name, box in _boxes(figure)
        if box.x0 < -TOUCH
        or box.y0 < -TOUCH
        or box.x1 > whole.x1 + TOUCH
        or box.y1 > whole.y1 + TOUCH
    ]


def _boxes(figure: Figure) -> list[tuple[str, Bbox]]:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found: list[tuple[str, Bbox]] = []
    legends = [axes.get_legend() for axes in axes_of(figure)]
    of_legends = set()
    for legend in legends:
        if legend is not None:
            of_legends |= {id(text) for text in legend.findobj(Text)}
            name = "legend: " + ", ".join(text.get_text() for text in legend.get_texts())
            found.append((name, legend.get_window_extent(renderer)))
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip() and id(text) not in of_legends:
            box = text.get_window_extent(renderer)
            if _shown(text, box, figure):
                found.append((text.get_text(), box))
    return found


def _shown(text: Text, box: Bbox, figure: Figure) -> bool:
    """Ticks beyond an axis' limits are made, but never drawn."""
    for axes in axes_of(figure):
        for axis, low, high, at in (
            (axes.xaxis, axes.bbox.x0, axes.bbox.x1, (box.x0 + box.x1) / 2),
            (axes.yaxis, axes.bbox.y0, axes.bbox.y1, (box.y0 + box.y1) / 2),
        ):
            labels = axis.get_ticklabels(which="both")
            if any(label is text for label in labels):
                return axis.get_visible() and low - 1.0 <= at <= high + 1.0
    return True


def _meet(a: Bbox, b: Bbox) -> bool:
    return min(a.x1, b.x1) - max(a.x0, b.x0) > TOUCH and min(a.y1, b.y1) - max(a.y0, b.y0) > TOUCH
