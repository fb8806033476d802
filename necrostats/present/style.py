"""How everything looks: colours, lines and sizes of a drawing, and of a document in print."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import matplotlib
from matplotlib import font_manager

from necrostats.errors import ChoiceError

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


_SPACED_PER_CENT = re.compile(r"(?<=\d)[ \N{NO-BREAK SPACE}]%")
DRAWN_BY_DEFAULT = "DejaVu Sans"
COLUMN_MM, PAGE_MM = 85, 178
MOST_MM, MOST_DPI = 500, 2400


@dataclass(frozen=True, kw_only=True)
class PrintStyle:
    """`font` by its family name; `percent_space`: "62 %" or, without, "62%"."""

    font: str = DRAWN_BY_DEFAULT
    percent_space: bool = True

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[^\W_][\w .+-]{0,60}", self.font):
            raise ChoiceError(
                f'"{self.font}" is not the name of a font. Write its family, such as Arial or Times New Roman.'
            )

    def text(self, written: str) -> str:
        """A text in this style; a number and its per cent sign are never parted by a line break."""
        return _SPACED_PER_CENT.sub("\N{NO-BREAK SPACE}%" if self.percent_space else "%", written)

    @property
    def drawn_font(self) -> str:
        """The font of figures: the one asked for where it is installed, else that which comes along."""
        return self.font if self.font in font_manager.get_font_names() else DRAWN_BY_DEFAULT

    @property
    def remark(self) -> str:
        """A sentence where figures cannot be drawn in the font that was asked for; else nothing."""
        if self.drawn_font == self.font:
            return ""
        return f"{self.font} is not installed here: figures are drawn in {self.drawn_font}."


def check_millimetres(width_mm: float) -> float:
    """The width as given; ChoiceError for one no page has."""
    if isinstance(width_mm, bool) or not 20 <= width_mm <= MOST_MM:
        raise ChoiceError(
            f"width_mm is {width_mm}: give {COLUMN_MM} (column), {PAGE_MM} (page), or another from 20 to {MOST_MM}."
        )
    return float(width_mm)


def check_dpi(dpi: int) -> int:
    """The dots per inch as given; ChoiceError for a number no printer has."""
    if isinstance(dpi, bool) or int(dpi) != dpi or not 50 <= dpi <= MOST_DPI:
        raise ChoiceError(f"dpi is {dpi}: a whole number from 50 to {MOST_DPI} is needed.")
    return int(dpi)
