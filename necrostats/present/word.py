"""What goes into a Word document: paragraphs, tables whose head repeats on each page, figures with their description.

Figures for print are so many millimetres wide, as PNG, TIFF, SVG with text as text, or PDF with its fonts inside.
"""

from __future__ import annotations

import datetime
import io
import zipfile
from itertools import groupby

import docx
import matplotlib
from docx.document import Document
from docx.enum.section import WD_ORIENT
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm, Pt
from matplotlib.figure import Figure as Drawing
from matplotlib.text import Text
from PIL import Image

from necrostats.errors import unknown_choice
from necrostats.present.figures import Figure, smaller
from necrostats.present.style import PAGE_MM, PRINT_DPI, PrintStyle, check_dpi, check_millimetres, drawing
from necrostats.present.tables import Table
from necrostats.visible import visible

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


ALWAYS = datetime.datetime(2000, 1, 1)
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)
A4 = (Mm(210), Mm(297))
MARGIN = Mm(16)
MOST_SIGNS_UPRIGHT = 118
LEAST_SIGNS, MOST_SIGNS = 5, 34
TEXT_POINTS, TABLE_POINTS = 10, 8
_HEADINGS = {0: 18, 1: 14, 2: 11}


class WordFile:
    """A document that grows from top to bottom, in one style; `saved` gives the same bytes on every run."""

    def __init__(self, *, title: str, style: PrintStyle, mark: str = "") -> None:
        self.style = style
        self.document: Document = docx.Document()
        self._set_up(title, mark)

    def _set_up(self, title: str, mark: str) -> None:
        about = self.document.core_properties
        about.title, about.comments, about.keywords = visible(title), "", mark
        about.author, about.last_modified_by, about.language = "", "", "en-GB"
        about.created, about.modified, about.revision = ALWAYS, ALWAYS, 1
        for language in self.document.styles.element.iter(qn("w:lang")):
            language.set(qn("w:val"), "en-GB")
        for name in ("Normal", "Title", *(f"Heading {level}" for level in (1, 2))):
            _set_font(self.document.styles[name], self.style.font)
        self.document.styles["Normal"].font.size = Pt(TEXT_POINTS)
        self.document.styles["Normal"].paragraph_format.space_after = Pt(6)
        for level, points in _HEADINGS.items():
            look = self.document.styles[f"Heading {level}" if level else "Title"]
            look.font.size, look.font.color.rgb = Pt(points), None
        self._lay_out(wide=False)
        foot = self.document.sections[0].footer.paragraphs[0]
        foot.add_run(visible(mark)).font.size = Pt(TABLE_POINTS)

    def _lay_out(self, *, wide: bool) -> None:
        section = self.document.sections[-1]
        width, height = A4[::-1] if wide else A4
        section.orientation = WD_ORIENT.LANDSCAPE if wide else WD_ORIENT.PORTRAIT
        section.page_width, section.page_height = width, height
        section.left_margin = section.right_margin = section.top_margin = section.bottom_margin = MARGIN

    def turn(self, *, wide: bool) -> None:
        """Go on upright, or on a page turned on its side; nothing happens where it is so already."""
        is_wide = self.document.sections[-1].orientation == WD_ORIENT.LANDSCAPE
        if is_wide != wide:
            self.document.add_section()
            self._lay_out(wide=wide)

    def heading(self, text: str, level: int = 1) -> None:
        """A heading; level 0 is the title."""
        self.document.add_heading(self.style.text(visible(text)), level)

    def paragraph(self, text: str, *, bold: str = "", small: bool = False, keep_with_next: bool = False) -> None:
        """A paragraph of plain text, after a bold opening if one is given."""
        written = self.document.add_paragraph()
        written.paragraph_format.keep_with_next = keep_with_next
        for part, is_bold in ((bold, True), (text, False)):
            if part:
                run = written.add_run(self.style.text(visible(part)))
                run.bold = is_bold
                run.font.size = Pt(TABLE_POINTS) if small else None

    def table(self, shown: Table, name: str = "") -> None:
        """A table under its caption, its notes below; its head is repeated on every page it reaches."""
        self.turn(wide=is_wide(shown))
        self.paragraph(shown.caption, bold=f"{name} " if name else "", keep_with_next=True)
        self.document.paragraphs[-1].paragraph_format.space_before = Pt(TEXT_POINTS)
        rows = [tuple(shown.frame.columns), *shown.frame.itertuples(index=False, name=None)]
        made = self.document.add_table(rows=len(rows), cols=len(rows[0]))
        made.autofit = False
        grid = [list(row.cells) for row in made.rows]
        section = self.document.sections[-1]
        _set_widths(made, grid, _signs(shown), section.page_width - section.left_margin - section.right_margin)
        _describe(made, name or shown.caption, shown.caption)
        numbers = [
            place >= shown.row_heads and heading not in shown.words for place, heading in enumerate(shown.frame.columns)
        ]
        for line, cells, row in zip(made.rows, grid, rows, strict=True):
            _unbroken(line)
            for cell, text, number in zip(cells, row, numbers, strict=True):
                self._cell(cell, text, number=number)
        _head(made.rows[0], grid[0])
        _rules(made, grid[0])
        if shown.row_heads > 1:
            _join_runs([cells[0] for cells in grid[1:]], [row[0] for row in rows[1:]])
        for note in shown.notes:
            self.paragraph(note, small=True)

    def _cell(self, cell, text: str, *, number: bool) -> None:
        paragraph = cell.paragraphs[0]
        paragraph.paragraph_format.space_after = Pt(1)
        paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT if number else WD_ALIGN_PARAGRAPH.LEFT
        run = paragraph.add_run(self.style.text(visible(str(text))))
        run.font.size = Pt(TABLE_POINTS)

    def figure(self, drawn: Figure, name: str = "", *, width_mm: float = PAGE_MM, dpi: int = PRINT_DPI) -> None:
        """A figure with its alternative text, and its caption below."""
        self.turn(wide=False)
        image = picture(drawn, "png", width_mm=width_mm, dpi=dpi, style=self.style)
        shape = self.document.add_picture(io.BytesIO(image), width=min(Mm(width_mm), A4[0] - 2 * MARGIN))
        self.document.paragraphs[-1].paragraph_format.keep_with_next = True
        about = shape._inline.docPr
        about.set("descr", self.style.text(visible(" ".join(drawn.alt.split()))))
        about.set("name", visible(name) or "Figure")
        self.paragraph(drawn.caption, bold=f"{name} " if name else "")

    def saved(self) -> bytes:
        """The document as a docx file."""
        written = io.BytesIO()
        self.document.save(written)
        return undated(written.getvalue())


def _signs(shown: Table) -> list[int]:
    """How many signs wide each column of a table wants to be: its longest cell, and no word of its head broken."""
    cells = [max(map(len, map(str, shown.frame[name])), default=0) for name in shown.frame.columns]
    heads = [max(map(len, name.split()), default=0) + 2 for name in shown.frame.columns]
    return [max(LEAST_SIGNS, head, min(MOST_SIGNS, cell)) for head, cell in zip(heads, cells, strict=True)]


def is_wide(shown: Table) -> bool:
    """Whether a table needs the page turned on its side."""
    return sum(_signs(shown)) + 2 * len(shown.frame.columns) > MOST_SIGNS_UPRIGHT


def _set_widths(made, grid: list[list], signs: list[int], room: int) -> None:
    shares = [each + 2 for each in signs]
    widths = [int(room * share / sum(shares)) for share in shares]
    for column, width in zip(made.columns, widths, strict=True):
        column._gridCol.w = width
    for cells in grid:
        for cell, width in zip(cells, widths, strict=True):
            cell.width = width


def undated(content: bytes) -> bytes:
    """The same zip file with one day for every file in it."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            about = zipfile.ZipInfo(name, _FIRST_DAY)
            about.compress_type, about.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            new.writestr(about, old.read(name))
    return made.getvalue()


def _set_font(look, font: str) -> None:
    look.font.name = font
    fonts = look.element.get_or_add_rPr().get_or_add_rFonts()
    for name in list(fonts.attrib):
        if name.endswith("Theme"):
            del fonts.attrib[name]
    for kind in ("w:ascii", "w:hAnsi", "w:cs", "w:eastAsia"):
        fonts.set(qn(kind), font)


def _element(name: str, **values: str):
    made = OxmlElement(name)
    for key, value in values.items():
        made.set(qn(f"w:{key}"), value)
    return made


def _describe(made, name: str, text: str) -> None:
    """The title and the alternative text of a table."""
    about = made._tbl.tblPr
    about.append(_element("w:tblCaption", val=name))
    about.append(_element("w:tblDescription", val=text))


def _unbroken(row) -> None:
    """Keep a row on one page."""
    row._tr.get_or_add_trPr().append(_element("w:cantSplit"))


def _head(row, cells: list) -> None:
    """Repeat a row at the top of every page, in bold."""
    row._tr.get_or_add_trPr().append(_element("w:tblHeader"))
    for cell in cells:
        for run in cell.paragraphs[0].runs:
            run.bold = True


def _rules(made, heads: list) -> None:
    """A rule above, one below the head and one below the table."""
    borders = _element("w:tblBorders")
    for side in ("top", "bottom"):
        borders.append(_element(f"w:{side}", val="single", sz="8", space="0", color="1A1A1A"))
    borders.append(_element("w:insideH", val="single", sz="2", space="0", color="D5D5D5"))
    made._tbl.tblPr.append(borders)
    for cell in heads:
        edges = _element("w:tcBorders")
        edges.append(_element("w:bottom", val="single", sz="6", space="0", color="1A1A1A"))
        cell._tc.get_or_add_tcPr().append(edges)


def _join_runs(cells: list, firsts: list[str]) -> None:
    """Make one cell of each run of rows with the same first cell; the text stands in its first row."""
    place = 0
    for _, run in groupby(firsts):
        length = len(list(run))
        for offset in range(length if length > 1 else 0):
            cell = cells[place + offset]
            cell._tc.get_or_add_tcPr().append(_element("w:vMerge", **({} if offset else {"val": "restart"})))
            for piece in cell.paragraphs[0].runs if offset else ():
                piece.text = ""
        place += length
