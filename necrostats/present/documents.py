"""Documents for print: any table or figure of a result as a file, and a case series as one Word document.

The document of a case series is held block by block, so that a draft made from it can be checked against it; each part
of a series is its table or figure, or a sentence that says why it is not there.
"""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from necrostats.errors import ChoiceError, ReportError, unknown_choice
from necrostats.measures.abstract import CaseSeries, reporting_checklist
from necrostats.present import numbers
from necrostats.present.case_series_texts import OPEN, Abstract, abstract, reviewer_questions
from necrostats.present.figures import Figure, chart, written
from necrostats.present.style import DRAWN_BY_DEFAULT, PAGE_MM, PRINT_DPI, PrintStyle
from necrostats.present.tables import Table, table
from necrostats.present.word import KINDS, WordFile, is_wide, picture
from necrostats.present.wording import cautions
from necrostats.present.workbooks import csv_of, workbook
from necrostats.results import Listing, Result
from necrostats.shown import framed

PARTS = {
    "flow": "",
    "cases": "patients are listed one by one only where they are fewer than a rate needs",
    "baseline": "",
    "baseline_by_group": "no groups were asked for",
    "necrosectomies": "",
    "ends": "resolution",
    "ends_by_group": "no groups were asked for",
    "sessions": "resolution",
    "sessions_by_group": "no groups were asked for",
    "time": "resolution",
    "time_by_group": "no groups were asked for",
    "recurrence": "resolution",
    "scan_schedule": "resolution",
    "sensitivity": "resolution",
    "events": "events",
    "events_by_group": "no groups were asked for",
    "grades": "events",
    "deaths": "",
    "follow_up": "",
    "differences": "no groups were asked for",
}
"""Each part, and why it may not be there: a figure that needs a record, or a reason in words."""


@dataclass(frozen=True, kw_only=True)
class NotThere:
    """Stands where a part of a case series would be."""

    reason: str

    def __str__(self) -> str:
        return self.reason

    def __repr__(self) -> str:
        return self.reason

    def _repr_html_(self) -> str:
        return framed(f"<p>{html.escape(self.reason)}</p>")


def _absent(series: CaseSeries, part: str) -> NotThere:
    name, why = part.replace("_", " "), PARTS[part]
    if why in series.lacking:
        return NotThere(reason=f"Not shown ({name}): it needs {series.lacking[why]}, not recorded here.")
    grouped = why == "no groups were asked for"
    if part == "cases" or (grouped and not series.by):
        return NotThere(reason=f"Not shown ({name}): {why}.")
    return NotThere(reason=f"Not shown ({name}): too few patients for it ({series.patients}).")


def _named(part: str) -> str:
    """The part by its name; ChoiceError for one off the list."""
    if part not in PARTS:
        raise unknown_choice("part of a case series", part, PARTS)
    return part


@table.register(CaseSeries)
def _(series: CaseSeries, *, part: str = "", **options) -> Table | NotThere:
    """The table of a part; without one, that chosen for print."""
    name = _named(part or series.table_for_print())
    return table(series.results[name], **options) if name in series.results else _absent(series, name)


@chart.register(CaseSeries)
def _(series: CaseSeries, *, part: str = "", **options) -> Figure | NotThere:
    """The figure of a part; without one, that chosen for print."""
    name = part or series.figure_for_print()
    if not name:
        return NotThere(reason="No figure is chosen for print: no result has one.")
    found = series.results.get(_named(name))
    return _absent(series, name) if found is None or isinstance(found, Listing) else chart(found, **options)


OF_TABLES = ("docx", "xlsx", "csv")
NAME = "case_series_abstract"
FIGURE_KINDS = ("pdf", "svg", "tiff", "png")
FIGURE_DPI = 600
TITLE = "Case series: abstract, tables and figure"


@dataclass(frozen=True, kw_only=True)
class Heading:
    """A heading of the document; level 0 is its title."""

    text: str
    level: int = 1


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """A paragraph, after a bold opening if there is one; `source` says where its numbers come from."""

    text: str
    source: str
    opening: str = ""


@dataclass(frozen=True, kw_only=True)
class TableBlock:
    """A numbered table."""

    table: Table
    name: str
    source: str


@dataclass(frozen=True, kw_only=True)
class FigureBlock:
    """A numbered figure."""

    figure: Figure
    name: str
    source: str


Block = Heading | Paragraph | TableBlock | FigureBlock


def blocks(text: Abstract) -> Iterator[Block]:
    """The document of a case series, block by block."""
    series = text.series
    yield Heading(text=TITLE, level=0)
    yield from _abstract(text)
    yield from _for_print(series)
    yield from _further(series)
    yield Heading(text="Methods in full, for the paper")
    for paragraph in text.methods_in_full:
        yield Paragraph(text=paragraph, source="methods")
    yield Heading(text="What a reviewer will ask")
    for each in reviewer_questions(series).questions:
        yield Paragraph(opening=each.question, text=each.answer.text or f"[{OPEN}]", source="reviewer's questions")
    yield Heading(text="Reporting items")
    checklist = reporting_checklist(series)
    yield TableBlock(table=table(checklist), name=f"Table {_tables(series) + 1}.", source="reporting items")
    for reference in checklist.method.references:
        yield Paragraph(text=f"{reference}.", source="reporting items")
    yield Heading(text="Cautions")
    for caution in cautions():
        yield Paragraph(text=caution, source="cautions")


def _abstract(text: Abstract) -> Iterator[Block]:
    yield Heading(text="Abstract")
    for name, section in text.sections.items():
        yield Heading(text=name, level=2)
        yield Paragraph(text=section, source="abstract")
    yield Paragraph(text=text.stamp, source="stamp")


def _for_print(series: CaseSeries) -> Iterator[Block]:
    first = series.table_for_print()
    yield Heading(text="For print")
    yield TableBlock(table=table(series.results[first]), name="Table 1.", source=first)
    if drawn := series.figure_for_print():
        yield FigureBlock(figure=chart(series.results[drawn]), name="Figure 1.", source=drawn)


def _further_names(series: CaseSeries) -> list[str]:
    return [name for name in series.results if name != series.table_for_print()]


def _tables(series: CaseSeries) -> int:
    return 1 + len(_further_names(series))


def _further(series: CaseSeries) -> Iterator[Block]:
    yield Heading(text="Further tables")
    for number, name in enumerate(_further_names(series), start=2):
        yield TableBlock(table=table(series.results[name]), name=f"Table {number}.", source=name)


def document(text: Abstract, *, style: PrintStyle | None = None) -> bytes:
    """The whole case series as one docx file: abstract, table and figure for print, all else after them."""
    file = WordFile(title=TITLE, style=style or PrintStyle(), mark=text.series.stamp)
    parts = list(blocks(text))
    for block, after in zip(parts, [*parts[1:], None], strict=True):
        if isinstance(block, Heading):
            file.turn(wide=isinstance(after, TableBlock) and is_wide(after.table))
        _put(file, block)
    return file.saved()


def _put(file: WordFile, block: Block) -> None:
    match block:
        case Heading():
            file.heading(block.text, block.level)
        case Paragraph():
            file.paragraph(block.text, bold=f"{block.opening} " if block.opening else "")
        case TableBlock():
            file.table(block.table, block.name)
        case FigureBlock():
            file.figure(block.figure, block.name)


def save_as(
    what: Result | Table | Figure | Abstract | CaseSeries,
    path: str | Path,
    *,
    width_mm: float = PAGE_MM,
    dpi: int = PRINT_DPI,
    font: str = DRAWN_BY_DEFAULT,
    percent_space: bool = True,
) -> Path:
    """Write a result's table or figure to a file of the kind its name ends in; returns the path.

    .docx, .xlsx and .csv hold the table (a docx also a Figure); .png, .tiff, .svg and .pdf the figure, `width_mm` wide
    (85: one column, 178: the page), png and tiff with `dpi` dots an inch. csv holds the numbers of a result, or a Table
    as printed. A case series or its abstract as docx is the whole document, and as xlsx all of its results. The same
    result gives the same bytes. ChoiceError for another ending, or for what has no figure.
    """
    target, style = Path(path), PrintStyle(font=font, percent_space=percent_space)
    what = abstract(what) if isinstance(what, CaseSeries) else what
    kind = {"tif": "tiff"}.get(target.suffix.lstrip(".").lower(), target.suffix.lstrip(".").lower())
    if kind in KINDS:
        given = what.series if isinstance(what, Abstract) else what
        drawn = given if isinstance(given, Figure) else chart(given)
        if isinstance(drawn, NotThere):
            raise ChoiceError(drawn.reason)
        return written(picture(drawn, kind, width_mm=width_mm, dpi=dpi, style=style), target)
    if kind not in OF_TABLES:
        raise unknown_choice("kind of file", target.suffix, [f".{each}" for each in (*OF_TABLES, *KINDS)])
    return written(_as_table_file(what, kind, style, width_mm, dpi), target)


def _as_table_file(what, kind: str, style: PrintStyle, width_mm: float, dpi: int) -> bytes:
    if isinstance(what, Abstract) and kind in ("docx", "xlsx"):
        return document(what, style=style) if kind == "docx" else _workbook(what, style)
    if kind == "xlsx" and isinstance(what, Result):
        return workbook({"result": what}, style=style)
    if kind == "csv" and isinstance(what, Result | Table):
        return csv_of(what, style=style)
    if kind == "docx" and isinstance(what, Result | Table | Figure):
        return _one_block(what, style, width_mm, dpi)
    raise unknown_choice(f"thing to write as {kind}", type(what).__name__, ("Result",))


def _one_block(what, style: PrintStyle, width_mm: float, dpi: int) -> bytes:
    title = what.title if isinstance(what, Result) else what.caption
    file = WordFile(title=title, style=style)
    if isinstance(what, Figure):
        file.figure(what, width_mm=width_mm, dpi=dpi)
    else:
        file.table(what if isinstance(what, Table) else table(what))
    return file.saved()


@dataclass(frozen=True, kw_only=True)
class Written:
    """Which files were written, by name, with a remark if there is one."""

    names: tuple[str, ...]
    remark: str = ""

    def __str__(self) -> str:
        if not self.names:
            return self.remark
        return " ".join(part for part in (f"Written: {', '.join(self.names)}.", self.remark) if part)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        return framed(f"<p>{html.escape(str(self))}</p>")


NOT_ASKED = "No documents were asked for: give `documents` a folder, or add --documents to the command."


def save_documents(
    text: Abstract, folder: str | Path, *, font: str = DRAWN_BY_DEFAULT, percent_space: bool = True
) -> Written:
    """Write a case series to a folder: one docx, one xlsx with every result, and the figure for print.

    The figure is 178 mm wide, as pdf, svg, tiff and png (600 dots an inch). A blank folder writes nothing and says so.
    The same series gives the same bytes.
    """
    style = PrintStyle(font=font, percent_space=percent_space)
    if not str(folder):
        return Written(names=(), remark=NOT_ASKED)
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ReportError(f"{target} cannot be used as a folder ({error.strerror}). Choose another one.") from error
    made = {f"{NAME}.docx": document(text, style=style), f"{NAME}.xlsx": _workbook(text, style)}
    drawn = chart(text.series)
    if isinstance(drawn, Figure):
        made |= {f"{NAME}_figure_1.{kind}": picture(drawn, kind, dpi=FIGURE_DPI, style=style) for kind in FIGURE_KINDS}
    for name, content in made.items():
        written(content, target / name)
    return Written(names=tuple(made), remark=style.remark if isinstance(drawn, Figure) else "")


def _workbook(text: Abstract, style: PrintStyle) -> bytes:
    series = text.series
    level = numbers.level_name(series.level)
    return workbook(series.results, style=style, about=(TITLE, text.stamp, f"Level of the intervals: {level}"))
