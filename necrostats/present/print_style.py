"""How print looks, chosen once for a whole document: the font, and whether a space stands before the per cent sign."""

from __future__ import annotations

import re
from dataclasses import dataclass

from matplotlib import font_manager

from necrostats.errors import ChoiceError

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
