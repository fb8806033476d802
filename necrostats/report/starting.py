"""A folder to begin with: notebooks, an empty entry workbook, an example layout, the data dictionary and guides.

The data dictionary as one HTML page, straight from the codebook.
"""

from __future__ import annotations

import re
from html import escape
from pathlib import Path

from necrostats import bundled
from necrostats.errors import ReportError
from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.entry_workbook import entry_workbook, scale_of
from necrostats.registry.export.tidying import example_layout, run_guide
from necrostats.report import reporting, templates
from necrostats.report.exporting import page
from necrostats.report.guide_pages import guides
from necrostats.report.markup import content

HEADERS = ("column", "kind", "unit", "codes or scale", "meaning")
KINDS = {
    "id": "study code",
    "ids": "study codes",
    "text": "text",
    "code": "code",
    "whole": "whole number",
    "number": "number",
    "yes_no": "yes / no",
    "day": "day",
    "period": "period",
}
LEAD = (
    "What each table of a registry holds. A blank cell means unknown; it never means no, none or 0. Every day is a "
    "whole number of days from the patient's index drainage (day 0; negative = before). Columns marked * are "
    "required. A day known only as a range has its last possible day in a further column, such as day_latest."
)


def data_dictionary() -> str:
    """The page: a section a table, a row a column."""
    tables = "".join(_section(table) for table in TABLES.values())
    inside = content(f"<h1>Data dictionary</h1><p>{escape(LEAD)}</p>{tables}", title="Data dictionary", cautions=False)
    return page(title=inside.title, body=inside.html, sections=inside.sections)


def _section(table: Table) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in HEADERS)
    rows = "".join(_row(column) for column in table.columns)
    caption = f"<caption>{escape(table.name)}: one row is {escape(table.row)}</caption>"
    return f"<h2>{escape(table.name)}</h2><table>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _row(column: Column) -> str:
    name = f"{column.name}*" if column.required else column.name
    allowed = ", ".join(column.codes) or scale_of(column)
    cells = (KINDS[column.kind], column.unit, allowed, column.meaning)
    return f'<tr><th scope="row">{escape(name)}</th>' + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


ENTRY = "entry.xlsx"
DICTIONARY = "data_dictionary.html"
LAYOUT = "example_layout.toml"
GUIDE = "layout_guide.txt"
GUIDES = "guide"
_SOURCE = re.compile(r'^(\s*"source: str = )\\"[^"\\]*\\"', re.MULTILINE)


def start(folder: str | Path) -> tuple[Path, ...]:
    """Write the notebooks, the entry workbook, a layout, its guide, the data dictionary and the pages for each user.

    Returns their paths. The notebooks read the entry workbook. ReportError, with nothing written, if any of the files
    is there already.
    """
    target = Path(folder)
    contents = {f"{name}{templates.SUFFIX}": _notebook(name) for name in templates.bundled_names()}
    contents |= {
        ENTRY: entry_workbook(),
        DICTIONARY: data_dictionary().encode("utf-8"),
        LAYOUT: example_layout().encode("utf-8"),
        GUIDE: run_guide().encode("utf-8"),
        **{f"{GUIDES}/{name}.html": shown.encode("utf-8") for name, shown in guides().items()},
    }
    there = [name for name in contents if (target / name).exists()]
    if there:
        raise ReportError(f"{target} already holds {', '.join(there)}. Choose another folder: nothing is replaced.")
    reporting.ready(target / GUIDES)
    return tuple(reporting.write(content, target / name) for name, content in contents.items())


def _notebook(name: str) -> bytes:
    text = (bundled.notebooks() / f"{name}{templates.SUFFIX}").read_text(encoding="utf-8")
    return _SOURCE.sub(rf'\1\\"{ENTRY}\\"', text, count=1).encode("utf-8")
