"""What every drawing is made with: text measured and broken to a width, a pen, and scales with round ticks.

The pen writes at inches from the top left, and keeps labels from lying on each other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Drawing
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.font_manager import findfont as find_font
from matplotlib.lines import Line2D
from matplotlib.textpath import text_to_path
from matplotlib.ticker import MaxNLocator

from necrostats.present import numbers
from necrostats.present.style import LINE, QUIET, RULE, SMALL, TEXT

_NUMBER = re.compile("n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}[0-9,]+")
_NO_GLYPH = "\N{REPLACEMENT CHARACTER}"


@cache
def _font(bold: bool) -> FontProperties:
    return FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")


@cache
def _glyphs(bold: bool) -> frozenset[int]:
    return frozenset(get_font(find_font(_font(bold))).get_charmap())


def drawable(text: str) -> str:
    """A text with a placeholder for each character that the font cannot draw."""
    return "".join(each if each == "\n" or ord(each) in _glyphs(False) else _NO_GLYPH for each in text)


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """The width in inches of the widest line of a text at a size in points."""
    font = _font(bold).copy()
    font.set_size(size)
    lines = [line for line in drawable(text).split("\n") if line]
    return max((text_to_path.get_text_width_height_descent(line, font, False)[0] for line in lines), default=0) / 72


def _pieces(word: str, width: float, size: float, bold: bool) -> list[str]:
    """A word cut where it is too long for a line."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and width_of(pieces[-1] + letter, size, bold=bold) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def wrapped(text: str, width: float, size: float, *, bold: bool = False, most: int = 3) -> str:
    """A text broken into at most so many lines, none wider than so many inches.

    What is left over becomes "…", except a number at the end ("n = 17"), which always stays.
    """
    lines = [""]
    for word in text.split(" "):
        for piece in _pieces(word, width, size, bold):
            longer = f"{lines[-1]} {piece}".strip()
            if lines[-1] and width_of(longer, size, bold=bold) > width:
                lines.append(piece)
            else:
                lines[-1] = longer
    return drawable("\n".join(lines if len(lines) <= most else _shortened(lines, most, width, size, bold)))


def _shortened(lines: list[str], most: int, width: float, size: float, bold: bool) -> list[str]:
    last = lines[-1].split(" ")[-1]
    number = [last] if _NUMBER.fullmatch(last) and most > 1 else []
    kept = lines[: most - len(number)]
    end = kept[-1].rstrip(" ,")
    while end and width_of(f"{end}…", size, bold=bold) > width:
        end = end[:-1]
    return [*kept[:-1], f"{end}…", *number]


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


_STEPS = [1, 2, 2.5, 5, 10]
_DIGITS = ((1, 1.5, 2, 3, 4, 5, 6, 8), (1, 2, 3, 5), (1, 2, 5), (1, 3), (1,))
_WIDEST = 10.0  # a logarithmic scale reaches no further than this many times beyond its outermost estimates


@dataclass(frozen=True, kw_only=True)
class Scale:
    """From low to high. `factor` turns a share into per cent when ticks are written."""

    label: str
    low: float
    high: float
    log: bool = False
    factor: float = 1.0
    reference: float | None = None

    def clipped(self, value: float) -> float:
        """A value moved to the nearer end where it lies beyond the scale; NaN stays NaN."""
        return value if math.isnan(value) else min(max(value, self.low), self.high)

    def tick_label(self, tick: float) -> str:
        """A tick as it is written."""
        text = f"{tick * self.factor:.6g}"
        return text.replace("-", numbers.MINUS)

    def ticks_within(self, width: float) -> list[float]:
        """The densest round ticks, at most 7, that do not touch each other on so many inches."""
        choices = [_log_ticks(self.low, self.high, digits) for digits in _DIGITS] if self.log else self._linear()
        fitting = [ticks for ticks in choices if 2 <= len(ticks) <= 7 and self._apart(ticks, width)]
        return list(fitting[0] if fitting else min(choices, key=len))

    def _linear(self) -> list[tuple[float, ...]]:
        return [_linear_ticks(self.low, self.high, self.factor, most) for most in (5, 4, 3, 2, 1)]

    def _place(self, value: float) -> float:
        """Where a value lies between the ends, 0 to 1."""
        low, high, at = (math.log(each) if self.log else each for each in (self.low, self.high, value))
        return (at - low) / (high - low)

    def _apart(self, ticks: tuple[float, ...], width: float) -> bool:
        half = [width_of(self.tick_label(tick), SMALL) / 2 for tick in ticks]
        at = [self._place(tick) * width for tick in ticks]
        return all(at[i + 1] - at[i] > half[i] + half[i + 1] + 0.08 for i in range(len(ticks) - 1))


def _finite(values: Iterable[float]) -> list[float]:
    return [float(value) for value in values if numbers.known(value) and math.isfinite(value)]


def _linear_ticks(low: float, high: float, factor: float, most: int) -> tuple[float, ...]:
    """Round ticks from low to high, in `most` steps or fewer."""
    ticks = MaxNLocator(most, steps=_STEPS).tick_values(low * factor, high * factor) / factor
    spare = (high - low) * 1e-9
    return tuple(float(tick) for tick in ticks if low - spare <= tick <= high + spare)


def _rounded_out(low: float, high: float, factor: float) -> tuple[float, float]:
    """The nearest round ticks beyond both ends."""
    ticks = MaxNLocator(5, steps=_STEPS).tick_values(low * factor, high * factor) / factor
    return float(ticks[0]), float(ticks[-1])


def from_zero(values: Iterable[float], *, label: str, factor: float = 1.0, most: float = math.inf) -> Scale:
    """A linear scale from 0 to just above the largest value, and never beyond `most`."""
    high = max(_finite(values), default=0) or min(most, 1.0)
    return Scale(label=label, low=0.0, high=min(_rounded_out(0, high, factor)[1], most), factor=factor)


def whole_percent(label: str) -> Scale:
    """A share on the whole way from 0 to 100 %."""
    return Scale(label=label, low=0.0, high=1.0, factor=100)


def around_zero(values: Iterable[float], *, label: str, factor: float = 1.0) -> Scale:
    """A linear scale that holds every value and 0, with a reference line at 0."""
    found = [0.0, *_finite(values)]
    low, high = min(found), max(found)
    if low == high:
        low, high = -1 / factor, 1 / factor
    low, high = _rounded_out(low, high, factor)
    return Scale(label=label, low=low, high=high, factor=factor, reference=0.0)


def around_values(values: Iterable[float], *, label: str) -> Scale:
    """A linear scale that holds every value, wherever it lies."""
    found = _finite(values) or [0.0, 1.0]
    low, high = min(found), max(found)
    spare = (high - low) * 0.04 or max(abs(low) * 0.1, 1.0)
    low, high = _rounded_out(0.0 if 0 <= low < high * 0.6 else low - spare, high + spare, 1.0)
    return Scale(label=label, low=low, high=high)


def _log_ticks(low: float, high: float, digits: tuple[float, ...]) -> tuple[float, ...]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return tuple(digit * 10.0**power for power in powers for digit in digits if low <= digit * 10.0**power <= high)


def logarithmic(
    estimates: Iterable[float], limits: Iterable[float], *, label: str, reference: float | None = None
) -> Scale:
    """A logarithmic scale for positive values; limits that lie absurdly far out are cut."""
    middle = [value for value in _finite(estimates) if value > 0] + ([reference] if reference else [])
    middle = middle or [1.0, 100.0]
    least, most = min(middle) / _WIDEST, max(middle) * _WIDEST
    found = middle + [min(max(float(value), least), most) for value in limits if numbers.known(value)]
    low, high = min(found) / 1.15, max(found) * 1.15
    if high / low < 4:
        low, high = low / math.sqrt(4 * low / high), high * math.sqrt(4 * low / high)
    return Scale(label=label, low=low, high=high, log=True, reference=reference)
