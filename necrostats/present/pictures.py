"""Figures for print: so many millimetres wide, as PNG, TIFF, SVG with text as text, or PDF with its fonts inside."""

from __future__ import annotations

import io

import matplotlib
from matplotlib.figure import Figure as Drawing
from matplotlib.text import Text
from PIL import Image

from necrostats.errors import unknown_choice
from necrostats.present.figures import Figure, smaller
from necrostats.present.print_style import PAGE_MM, PrintStyle, check_dpi, check_millimetres
from necrostats.present.style import PRINT_DPI, drawing

MM_PER_INCH = 25.4
_HOW = {
    "png": {"metadata": {"Software": None}},
    "tiff": {},
    "svg": {"metadata": {"Date": None, "Creator": None, "Format": None, "Type": None}},
    "pdf": {"metadata": {"CreationDate": None, "Creator": None, "Producer": None}},
}
KINDS = tuple(_HOW)


def picture(
    figure: Figure,
    kind: str,
    *,
    width_mm: float = PAGE_MM,
    dpi: int = PRINT_DPI,
    style: PrintStyle | None = None,
) -> bytes:
    """A figure as "png", "tiff", "svg" or "pdf", drawn for this width: the same bytes on every run.

    85 mm is one column and 178 mm the page of most journals. `dpi` is that of png and tiff. ChoiceError for a kind, a
    width or a resolution that cannot be.
    """
    if kind not in _HOW:
        raise unknown_choice("kind of picture", kind, KINDS)
    inches, dots, look = check_millimetres(width_mm) / MM_PER_INCH, check_dpi(dpi), style or PrintStyle()
    written = io.BytesIO()
    with drawing():
        matplotlib.rcParams.update({"svg.fonttype": "none", "font.sans-serif": [look.drawn_font]})
        sheet = figure.redraw(inches) if figure.redraw else figure.fig
        _restyle(sheet, look)
        sheet.savefig(written, format=kind, dpi=dots, **_HOW[kind])
    if kind == "tiff":
        return _opaque(written, dots)
    return smaller(written.getvalue()) if kind == "svg" else written.getvalue()


def _opaque(written: io.BytesIO, dots: int) -> bytes:
    """The same tiff without a channel of transparency, which printers refuse."""
    made = io.BytesIO()
    Image.open(written).convert("RGB").save(made, format="tiff", compression="tiff_lzw", dpi=(dots, dots))
    return made.getvalue()


def _restyle(sheet: Drawing, look: PrintStyle) -> None:
    for text in sheet.findobj(Text):
        text.set_text(look.text(text.get_text()))
        text.set_fontfamily(look.drawn_font)
