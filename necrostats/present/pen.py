"""Writes on a drawing at inches from its top left corner, and keeps labels from lying on each other."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.lines import Line2D

from necrostats.present.labels import drawable, wrapped
from necrostats.present.style import LINE, QUIET, RULE, TEXT

CAPITAL = 0.73  # the height of a capital as a share of the size of its letters
_MARGIN, _MOST_LINES = 0.1, 12


class Pen:
    """Text, lines and axes on a drawing, all in inches; y runs down from the top."""

    def __init__(self, sheet: Drawing) -> None:
        self.sheet = sheet
        self.width, self.height = (float(inches) for inches in sheet.get_size_inches())

    def text(self, x: float, y: float, text: str, *, size: float = TEXT, **look) -> None:
        """A text with the baseline of its first line at y."""
        place = self.sheet.dpi_scale_trans
        for number, line in enumerate(drawable(text).split("\n") if text else ()):
            at = self.height - y - number * LINE
            self.sheet.text(x, at, line, transform=place, va="baseline", fontsize=size, **look)

    def middle(self, x: float, y: float, text: str, *, size: float = TEXT, **look) -> None:
        """A text with the middle of its capitals at y; several lines lie around it."""
        lines = text.count("\n")
        self.text(x, y + CAPITAL * size / 72 / 2 - lines * LINE / 2, text, size=size, **look)

    def line(self, x: tuple[float, float], y: tuple[float, float], *, colour: str = RULE, **look) -> None:
        """A straight line."""
        down = [self.height - each for each in y]
        look = {"linewidth": 0.5} | look
        self.sheet.add_artist(Line2D(x, down, color=colour, transform=self.sheet.dpi_scale_trans, **look))

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes whose frame lies exactly there."""
        bottom = self.height - top - height
        return self.sheet.add_axes((left / self.width, bottom / self.height, width / self.width, height / self.height))


def blank(width: float, height: float) -> Drawing:
    """An empty drawing of so many inches that no window or notebook knows of."""
    sheet = Drawing(figsize=(width, height))
    FigureCanvasAgg(sheet)
    return sheet


def words_alone(text: str, width: float) -> Drawing:
    """A drawing that holds only a sentence or a few, where there is nothing to draw."""
    lines = wrapped(text, width - 2 * _MARGIN, TEXT, most=_MOST_LINES)
    sheet = blank(width, LINE * (lines.count("\n") + 1) + 2 * _MARGIN)
    Pen(sheet).text(_MARGIN, _MARGIN, lines, color=QUIET)
    return sheet


def spread(wanted: list[float], sizes: list[float], low: float, high: float) -> list[float]:
    """Centres as near as can be to those wanted, in their order, none closer than half of both sizes.

    Neighbours that would overlap become one block around the mean of what they want; blocks stay within low and high
    where they fit.
    """
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    blocks: list[tuple[float, float, list[int]]] = []
    for place in order:
        centre, size, members = wanted[place], sizes[place], [place]
        while blocks and blocks[-1][0] + blocks[-1][1] / 2 > centre - size / 2:
            before = blocks.pop()
            centre = (before[0] * len(before[2]) + centre * len(members)) / (len(before[2]) + len(members))
            size, members = before[1] + size, before[2] + members
        centre = max(min(centre, high - size / 2), low + size / 2)
        blocks.append((centre, size, members))
    return _centres(_pushed_down(blocks, high), sizes)


def _pushed_down(blocks: list[tuple[float, float, list[int]]], high: float) -> list[tuple[float, float, list[int]]]:
    """Blocks moved down, the topmost first, where holding them inside has made them overlap."""
    moved = []
    for centre, size, members in reversed(blocks):
        centre = min(centre, high - size / 2)
        high = centre - size / 2
        moved.append((centre, size, members))
    return moved


def _centres(blocks: list[tuple[float, float, list[int]]], sizes: list[float]) -> list[float]:
    centres = [0.0] * len(sizes)
    for centre, size, members in blocks:
        at = centre - size / 2
        for member in members:
            centres[member] = at + sizes[member] / 2
            at += sizes[member]
    return centres
