"""The data dictionary as one HTML page, straight from the codebook."""

from __future__ import annotations

from html import escape

from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.entry_workbook import scale_of
from necrostats.report.exporting import page
from necrostats.report.markup import content

HEADERS = ("column", "kind", "unit", "codes or scale", "meaning")
KINDS = {
    "id": "study code", "ids": "study codes", "text": "text", "code": "code", "whole": "whole number",
    "number": "number", "yes_no": "yes / no", "day": "day", "period": "period",
}  # fmt: skip
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
    return (
        f"<h2>{escape(table.name)}</h2>"
        f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _row(column: Column) -> str:
    name = f"{column.name}*" if column.required else column.name
    allowed = ", ".join(column.codes) or scale_of(column)
    cells = (KINDS[column.kind], column.unit, allowed, column.meaning)
    return f'<tr><th scope="row">{escape(name)}</th>' + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"
