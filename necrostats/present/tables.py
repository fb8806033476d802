"""A table for readers: the cells as written, as accessible HTML, as markdown or as a data frame of text."""

from __future__ import annotations

import html
from dataclasses import dataclass, field
from functools import singledispatch
from itertools import groupby

import pandas as pd

from necrostats.present import numbers
from necrostats.present.saying import not_presentable
from necrostats.results import Result
from necrostats.shown import framed
from necrostats.visible import visible


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Cells as text under headings that name their unit; the first `row_heads` columns name the row.

    `words` names the columns that hold words; all others beyond the row heads hold numbers.
    """

    caption: str
    frame: pd.DataFrame = field(repr=False)
    row_heads: int = 1
    notes: tuple[str, ...] = ()
    words: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shown = self.frame.map(lambda cell: visible(str(cell))).set_axis(map(visible, map(str, self.frame)), axis=1)
        for name, value in (
            ("caption", visible(self.caption)),
            ("frame", shown),
            ("notes", tuple(map(visible, self.notes))),
            ("words", tuple(map(visible, self.words))),
        ):
            object.__setattr__(self, name, value)

    @property
    def html(self) -> str:
        """The table as HTML, without style or script; cells with numbers carry the class "number"."""
        of_numbers = set(self.frame.columns[self.row_heads :]) - set(self.words)
        head = "".join(_head(name, name in of_numbers) for name in self.frame.columns)
        title = f"<caption>{html.escape(self.caption)}</caption>"
        body = "".join(f"<tbody>{rows}</tbody>" for rows in self._bodies())
        notes = "".join(f"<p>{html.escape(note)}</p>" for note in self.notes)
        table = f"<table>{title}<thead><tr>{head}</tr></thead>{body}</table>"
        if self.frame.empty:
            table, notes = "", f"<p>{html.escape(self.caption)}</p>{notes}"
        return table + (f'<div class="table-notes">{notes}</div>' if notes else "")

    def _bodies(self) -> list[str]:
        """One body for each run of rows with the same first cell, or one for all where that cell is alone."""
        rows = [tuple(map(str, row)) for row in self.frame.itertuples(index=False, name=None)]
        if self.row_heads < 2:
            return ["".join(self._row(row, 1) for row in rows)]
        runs = [list(run) for _, run in groupby(rows, key=lambda row: row[0])]
        return ["".join(self._row(row, 0 if place else len(run)) for place, row in enumerate(run)) for run in runs]

    def _row(self, row: tuple[str, ...], span: int) -> str:
        """A row; its first cell heads `span` rows, or stands above already (0)."""
        cells = [_row_head(row[0], span)] if span else []
        cells += [f'<th scope="row">{html.escape(text)}</th>' for text in row[1 : self.row_heads]]
        cells += [_cell(text, name in self.words) for name, text in zip(self.frame, row, strict=True)][self.row_heads :]
        return f"<tr>{''.join(cells)}</tr>"

    @property
    def markdown(self) -> str:
        """The table as markdown: caption, table and notes."""
        columns = [_plain_cell(name) for name in self.frame.columns]
        rule = ["---" if place < self.row_heads else "---:" for place in range(len(columns))]
        rows = [[_plain_cell(cell) for cell in row] for row in self.frame.itertuples(index=False, name=None)]
        lines = [f"| {' | '.join(row)} |" for row in (columns, rule, *rows)]
        return "\n\n".join([_plain_cell(self.caption), "\n".join(lines), *map(_plain_cell, self.notes)])

    def _repr_html_(self) -> str:
        return framed(self.html)


def _head(name: object, is_number: bool) -> str:
    look = ' class="number"' if is_number else ""
    return f'<th scope="col"{look}>{html.escape(numbers.tied(str(name)))}</th>'


def _row_head(text: str, span: int) -> str:
    scope = f'scope="rowgroup" rowspan="{span}"' if span > 1 else 'scope="row"'
    return f"<th {scope}>{html.escape(text)}</th>"


def _cell(text: str, is_words: bool) -> str:
    look = "" if is_words else ' class="number"'
    return f"<td{look}>{html.escape(text)}</td>"


def _plain_cell(text: object) -> str:
    """A text that cannot break out of a markdown cell, and holds no markup."""
    safe = html.escape(" ".join(str(text).split()), quote=False)
    return safe.replace("\\", "\\\\").replace("|", "\\|")


@singledispatch
def table(result: Result, **options) -> Table:
    """The table of a result, each number with its denominator and interval."""
    raise not_presentable(result)
