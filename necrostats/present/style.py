"""Colours, lines, markers, sizes and drawing settings of every figure."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import matplotlib

WIDTHS = {"column": 3.35, "page": 7.0}  # inches: one column and the full page of a journal
INK = "#1A1A1A"
QUIET = "#5F5F5F"
RULE = "#D5D5D5"
BACKDROP = "#C4C4C4"
TEXT = 7.5
SMALL = 6.8
LINE = 0.145  # inches from one line of text to the next
PRINT_DPI = 300
SCREEN_DPI = 192


@dataclass(frozen=True, kw_only=True)
class Style:
    """How one group or cause looks: told apart by colour, by line and by marker."""

    colour: str
    line: object
    marker: str


STYLES = (
    Style(colour="#0072B2", line="-", marker="o"),
    Style(colour="#D55E00", line=(0, (5, 1.6)), marker="s"),
    Style(colour="#009E73", line=(0, (5, 1.4, 1.2, 1.4)), marker="^"),
    Style(colour="#CC79A7", line=(0, (1.6, 1.2)), marker="D"),
    Style(colour="#000000", line=(0, (8, 1.5, 1.2, 1.5, 1.2, 1.5)), marker="v"),
)
MOST_STYLES = len(STYLES)


def style_at(place: int) -> Style:
    """The style of the cause at this place in its order; beyond the last the styles come round again."""
    return STYLES[place % MOST_STYLES]


def style_among(groups: list, group: object) -> Style:
    """The style of a group among its groups; more groups than styles all look alike, told apart by their rows."""
    return STYLES[groups.index(group)] if len(groups) <= MOST_STYLES else STYLES[0]


SETTINGS = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.labelsize": TEXT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.fonttype": "path",
    "svg.hashsalt": "necrostats",
    "pdf.fonttype": 42,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with these settings and no others; whatever the reader's own settings are, they are the same afterwards."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(SETTINGS)
        yield
