"""The privacy check over a whole export: every cell, heading, comment, property and name, before anything is read.

What merely looks like a name is judged by where it would go: a cell that is to become a code, a number or a day is
withheld alone. What the layout ignores by name is searched too, but goes nowhere: it is told, and stops nothing.
Anything else stops the whole export.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from necrostats.errors import RegistryError
from necrostats.registry.codebook import TABLES
from necrostats.registry.days import MONTHS
from necrostats.registry.export.cells import COMMENT, Export, Grid, OtherText, RawCell, RawColumn
from necrostats.registry.export.layout import Layout, RowsLayout, SheetLayout
from necrostats.registry.export.log_rows import saying
from necrostats.registry.export.mapped_sheets import (
    aliases,
    as_laid,
    headings,
    in_form,
    is_named,
    laid_sheet,
    no_record,
    rows_of,
)
from necrostats.registry.privacy import (
    AGE_OVER_89,
    AGES_OVER_89,
    NOT_CODES,
    STOPS,
    Names,
    Sheet,
    Suspicion,
    find_identifiers,
    may_head_study_codes,
    not_released,
    only_looks_so,
    refusal_text,
    release_of,
    withheld_heading,
)
from necrostats.registry.source_table import Written, objects
from necrostats.registry.text import folded
from necrostats.registry.tidy_cells import OLDEST
from necrostats.registry.words import all_words

WITHHELD = "value withheld"

_NAMES = "|".join(sorted(MONTHS, key=len, reverse=True))
_DATE = re.compile(
    r"(?<![0-9])(?:[0-9]{1,4}\s?[./\-]\s?[0-9]{1,2}\s?[./\-]\s?[0-9]{2,4}(?![0-9])"
    r"|(?:19|20)[0-9]{2}[./\-][0-9]{1,2}(?![0-9])|[0-9]{1,2}[./\-](?:19|20)[0-9]{2}(?![0-9])"
    r"|(?:19|20)[0-9]{2}(?:0[1-9]|1[0-2])[0-3][0-9](?![0-9]))"
    rf"|(?<![^\W\d_])(?:{_NAMES})\.?(?![^\W\d_])[ '’.\-/]*[0-9]{{1,4}}"
    rf"|[0-9]{{1,2}}(?:st|nd|rd|th)?(?: of)?[ .\-/]*(?:{_NAMES})(?![^\W\d_])",
    re.IGNORECASE,
)


def holds_date(text: str) -> bool:
    """Whether a text holds anything like a calendar date or a month of a year."""
    return len(text) > 3 and (_DATE.search(text) or _DATE.search(folded(text))) is not None


def holds_old_age(text: str) -> bool:
    """Whether a cell in a column of ages holds a number of 90 or over."""
    return any(int(number[:9]) >= OLDEST for number in re.findall(r"[0-9]+", text))


def shown(text: str, withheld: bool = False) -> str:
    """A cell as it may be shown."""
    return WITHHELD if withheld or holds_date(text) else text


_BARE = SheetLayout(names=())
_UNNAMED = SheetLayout(names=(), header_rows=(0,))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Withheld:
    """Cells of one column that look like a name, and so are set aside and shown nowhere."""

    grid: Grid
    heading: str
    column: int
    rows: tuple[int, ...]

    @property
    def release(self) -> str:
        """What a person who has looked accepts to have them read."""
        return release_of(self.grid.sheet or self.grid.file, self.heading)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Screened:
    """An export that may be read, the cells of it that were withheld, and what was found where nothing is read."""

    export: Export
    withheld: tuple[Withheld, ...] = ()
    unread: tuple[Suspicion, ...] = ()


def screened(export: Export, layout: Layout, accepted: Collection[str] = ()) -> Screened:
    """The export without the cells that look like a name where a code, a number or a day belongs.

    RegistryError, with places and never a value, if anything else looks like an identifier. Dates may stand anywhere
    but in a study code or an operator's name: what is read of a column of dates is a day, and a date in another column
    is set aside there and shown nowhere.
    """
    accepted = [*accepted, *layout.accept]
    names = _names(export, {each for each in export.sheets if folded(each) in layout.vouched})
    looked_at = [_Looked.at(*seen, layout, accepted, names) for seen in _as_laid(export, layout)]
    found = not_released(names.suspicions, accepted)
    found += dict.fromkeys(each for looked in looked_at for each in looked.stopping())
    found += _outside_the_cells(export, names, accepted)
    if found:
        raise RegistryError(refusal_text(found))
    withheld = tuple(each for looked in looked_at for each in looked.withheld())
    grids = tuple(_redacted(grid, [each for each in withheld if each.grid is grid]) for grid in export.grids)
    unread = tuple(each for looked in looked_at for each in looked.unread())
    return Screened(export=replace(export, grids=grids), withheld=withheld, unread=unread)


def _names(export: Export, vouched: Collection[str]) -> Names:
    return Names(export.files, export.sheets, vouched)


def _outside_the_cells(export: Export, names: Names, accepted: Collection[str]) -> Iterator[Suspicion]:
    """What stops an export outside its cells: not the look of a comment, which is shown nowhere, and not the names of
    sheets, which the properties of a workbook say again.
    """
    texts = [(_place(each, names), each.text) for each in export.other_texts if each.text not in export.sheets]
    for each in find_identifiers([], texts, accepted=accepted):
        if not (COMMENT in each.where and only_looks_so(each.rule)):
            yield each


def _place(text: OtherText, names: Names) -> str:
    return f'sheet "{names.sheet(text.sheet)}"{text.where}' if text.sheet else text.where


def _as_laid(export: Export, layout: Layout) -> Iterator[tuple[Grid, Grid, SheetLayout]]:
    """Every sheet, as it is and as the layout sees it: its forms and blocks, then what these leave of it."""
    for grid in export.grids:
        named = [sheet for sheet in layout.sheets if not sheet.names or is_named(grid, sheet.names)]
        parts = [sheet for sheet in named if sheet.is_a_part]
        whole = [sheet for sheet in named if sheet not in parts]
        laid = [as_laid(grid, sheet) for sheet in parts]
        yield from ((grid, *each) for each in laid)
        rest = _without(grid, parts)
        kinds = [sheet for sheet in whole if sheet.where]
        yield from ((grid, *each) for each in _by_kind(rest, kinds))
        if not kinds:
            yield grid, rest, _ignoring_what_none_reads(whole) if whole else _UNNAMED if parts else _BARE


def _ignoring_what_none_reads(sheets: Sequence[SheetLayout]) -> SheetLayout:
    """The first of several layouts of one sheet, which ignores nothing that another of them reads."""
    read = {folded(heading) for sheet in sheets for heading in sheet.headings()}
    return replace(sheets[0], ignore=tuple(each for each in sheets[0].ignore if folded(each) not in read))


def _by_kind(grid: Grid, forms: Sequence[SheetLayout]) -> Iterator[tuple[Grid, SheetLayout]]:
    """A log by the kinds of its rows, each as its part of the layout reads it; then the rows of no kind."""
    free = np.ones(len(grid.rows), dtype=bool)
    for form in forms:
        sheet = laid_sheet(0, grid, form)
        told = all(sheet.key(heading) in sheet.columns for heading in form.telling)
        taken = np.isin(grid.rows, sheet.rows[saying(sheet, form.where)]) if told else free
        yield rows_of(grid, np.flatnonzero(taken | np.isin(grid.rows, form.header_rows))), form
        free &= ~taken
    if forms:
        nothing = replace(forms[0], rows=(), ignore=(), where=tuple(each for form in forms for each in form.where))
        yield rows_of(grid, np.flatnonzero(free)), nothing


def _without(grid: Grid, parts: Collection[SheetLayout]) -> Grid:
    """The sheet with what its forms and blocks hold blanked out."""
    columns = list(grid.columns)
    for part in parts:
        block, _ = as_laid(grid, replace(part, labels="", values=""))
        rows = np.isin(grid.rows, block.rows) & (in_form(grid, part) if part.labels else True)
        beside = (part.labels, part.values) if part.labels else [column.letters for column in columns]
        columns = [
            replace(column, which=np.where(rows, 0, column.which)) if column.letters in beside else column
            for column in columns
        ]
    return replace(grid, columns=tuple(columns))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Looked:
    """A sheet that was looked at: what was found, and which of its headings are read as codes, replaced, ignored.

    `named`: how a column is called in what was found → its heading, of those that the layout names.
    """

    grid: Grid
    form: SheetLayout
    order: tuple[str, ...]
    named: Mapping[str, str]
    found: tuple[Suspicion, ...]
    skipped: tuple[Suspicion, ...]
    coded: frozenset[str]
    aged: frozenset[str]
    ignored: frozenset[str]
    keys: frozenset[str]
    replaced: frozenset[str]

    @classmethod
    def at(
        cls, grid: Grid, seen: Grid, form: SheetLayout, layout: Layout, accepted: Collection[str], names: Names
    ) -> _Looked:
        """Every suspicion in a sheet as the layout sees it; of rows that are no record, and so never read, the hard."""
        sheet = _sheet(seen, form.header_rows)
        there = _headings_there(form, sheet)
        kept = set(there(_mapped(form, _kept_as_text)))
        coded = frozenset(there((*_mapped(form, _coded), *form.telling))) - kept
        roles = _roles(form, sheet, there, coded)
        skipped = no_record(seen, form)
        record, rest = (_sheet(seen, form.header_rows, rows) for rows in (~skipped, skipped))
        known = {"known_words": _known_words(layout), "accepted": accepted, "names": names, **roles}
        found = find_identifiers([record], _above(seen, form.header_rows, names), **known)
        hard = find_identifiers([rest], **known) if skipped.any() else []
        ignored = frozenset(sheet.columns if is_named(grid, layout.ignore_sheets) else there(form.ignore))
        meant = {*there(form.headings()), *ignored}
        return cls(
            grid=grid,
            form=form,
            order=tuple(sheet.columns),
            named={withheld_heading(number): each for number, each in enumerate(sheet.columns, 1) if each in meant},
            found=_in_own_rows(found, sheet, seen) if form.labels else tuple(found),
            skipped=tuple(each for each in hard if each.severity == STOPS and each.row is not None),
            coded=coded,
            aged=frozenset(there(_mapped(form, _ages))),
            keys=frozenset(there(form.keys)),
            replaced=frozenset(there(_mapped(form, _replaced))),
            ignored=ignored,
        )

    def stopping(self) -> list[Suspicion]:
        """What stops the export."""
        return [each for each in self.found if not (self._passes(each) or self._may_be_withheld(each))]

    def unread(self) -> list[Suspicion]:
        """What would stop it, had the layout not ignored the column (`row` is None then), the sheet or the row."""
        ignored = [each for each in self.found if self._is_ignored(each) and not only_looks_so(each.rule)]
        return [*(replace(each, row=None) for each in ignored), *self.skipped]

    def withheld(self) -> Iterator[Withheld]:
        """What need not, by column."""
        held = [each for each in self.found if self._may_be_withheld(each)]
        for heading in dict.fromkeys(each.column for each in held):
            rows = sorted({each.row for each in held if each.column == heading})
            column = self.order.index(self.named.get(heading, heading))
            yield Withheld(grid=self.grid, heading=heading, column=column, rows=tuple(rows))

    def _passes(self, each: Suspicion) -> bool:
        """Whether it is where nothing is read, or an age that becomes 90; or only the look is at fault: of a cell that
        a pseudonym replaces, of a text above the headings, of a heading that the layout writes out.
        """
        heading = self.named.get(each.column, each.column)
        if self._is_ignored(each) or (heading in self.coded and each.rule == AGE_OVER_89):
            return True
        if heading in self.aged and each.rule in AGES_OVER_89:
            return True
        vouched = each.heading and each.column in self.named
        nowhere = bool(each.where) or vouched or heading in self.replaced
        return nowhere and only_looks_so(each.rule)

    def _is_ignored(self, each: Suspicion) -> bool:
        return not each.where and self.named.get(each.column, each.column) in self.ignored

    def _may_be_withheld(self, each: Suspicion) -> bool:
        """Whether a cell can be withheld alone: one that becomes a code, or stands in place of a patient's."""
        if each.row is None or each.heading or self.form.labels:
            return False
        heading = self.named.get(each.column, each.column)
        return (heading in self.coded and only_looks_so(each.rule)) or (
            heading in self.keys and each.rule == NOT_CODES.rule
        )


def _in_own_rows(found: Iterable[Suspicion], sheet: Sheet, form: Grid) -> tuple[Suspicion, ...]:
    """What was found in a form, in the rows in which its labels stand."""
    rows = {heading: column.row for heading, column in zip(sheet.columns, form.columns, strict=True)}
    rows |= {withheld_heading(number): row for number, row in enumerate(rows.values(), 1)}
    return tuple(replace(each, row=rows[each.column]) if each.column in rows else each for each in found)


def _known_words(layout: Layout) -> frozenset[str]:
    """The words that the layout lists for codes, and those that the reader knows by itself."""
    codes = {word for _, rows in layout.makers() for column in rows.columns for word in column.codes}
    kinds = {
        folded(word) for sheet in layout.sheets for _, words in (*sheet.where, *sheet.skip_where) for word in words
    }
    return frozenset(codes | kinds) | all_words()


def _roles(
    form: SheetLayout, sheet: Sheet, there: Callable[[Iterable[str]], list[str]], coded: Collection[str]
) -> dict[str, Collection[str]]:
    """What the layout says of the columns of a sheet. One that it does not read may head study codes."""
    keys, periods, operators = map(there, (form.keys, _mapped(form, _periods), _mapped(form, _operators)))
    read = set(there(form.headings()))
    unread = [heading for heading in sheet.columns if heading not in read and may_head_study_codes(heading)]
    no_dates = {folded(heading) for heading in (*keys, *operators)}
    return {
        "id_columns": [*keys, *unread],
        "key_columns": keys,
        "date_columns": [heading for heading in sheet.columns if folded(heading) not in no_dates],
        "period_columns": periods,
        "operator_columns": operators,
        "coded_columns": coded,
    }


def _headings_there(form: SheetLayout, sheet: Sheet) -> Callable[[Iterable[str]], list[str]]:
    """Turns headings as the layout writes them into those of the sheet."""
    shown = {folded(heading): heading for heading in sheet.columns}
    other = aliases(form, shown)
    return lambda headings: [shown.get(other.get(folded(heading), folded(heading)), heading) for heading in headings]


def _sheet(grid: Grid, header_rows: tuple[int, ...], rows: np.ndarray | None = None) -> Sheet:
    """A sheet to be looked at, all of it below the headings, or some of its rows (N,)."""
    below = np.flatnonzero((grid.rows > max(header_rows)) & (True if rows is None else rows))
    columns: dict[str, Written] = {}
    for column, heading in zip(grid.columns, headings(grid, header_rows), strict=True):
        shown = heading or f"({column.letters})"
        while shown in columns:
            shown = f"{shown} ({column.letters})"
        columns[shown] = Written(texts=objects(cell.text for cell in column.cells), which=column.which[below])
    return Sheet(
        file=grid.file,
        name=grid.sheet,
        header=list(columns),
        columns=columns,
        hidden=grid.hidden,
        rows=grid.rows[below],
    )


def _above(grid: Grid, header_rows: tuple[int, ...], names: Names) -> Iterator[tuple[str, str]]:
    """The texts above the data that are no headings: titles, remarks."""
    sheet = f', sheet "{names.sheet(grid.sheet)}"' if grid.sheet else ""
    for position in np.flatnonzero((grid.rows <= max(header_rows)) & ~np.isin(grid.rows, header_rows)):
        for column in grid.columns:
            if text := column.cells[column.which[position]].text.strip():
                yield f"{names.file(grid.file)}{sheet}, row {grid.rows[position]}, above the headings", text


def _periods(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to in ("period", "index_period")}


def _ages(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to == "age_years"}


def _operators(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to == "operator"}


def _replaced(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if column.to == "operator" and column.pseudonyms}


def _coded(rows: RowsLayout) -> set[str]:
    """The columns whose cells become codes, numbers or days: of their texts nothing is kept."""
    coded = {column.heading for column in rows.columns if not _keeps_text(rows.table, column.to)}
    return coded | ({rows.overflow.column} if rows.overflow else set())


def _kept_as_text(rows: RowsLayout) -> set[str]:
    return {column.heading for column in rows.columns if _keeps_text(rows.table, column.to)}


def _keeps_text(table: str, target: str) -> bool:
    named = target in TABLES[table].names and TABLES[table].column(target).kind in ("text", "id", "ids")
    return named or target in ("session", "collection")


def _mapped(form: SheetLayout, wanted) -> Iterator[str]:
    for rows in form.rows:
        for heading in wanted(rows):
            yield from (heading.replace("{n}", str(number)) for number in rows.numbers or (0,))


def _redacted(grid: Grid, held: Sequence[Withheld]) -> Grid:
    """The sheet with a note in place of each cell that is withheld."""
    columns = list(grid.columns)
    for each in held:
        columns[each.column] = _with_note(columns[each.column], np.isin(grid.rows, each.rows))
    return replace(grid, columns=tuple(columns)) if held else grid


def _with_note(column: RawColumn, rows: np.ndarray) -> RawColumn:
    which = np.where(rows, len(column.cells), column.which)
    return replace(column, cells=(*column.cells, RawCell(text=WITHHELD)), which=which)


def refuse_names(export: Export, header_rows: Mapping[int, tuple[int, ...]], accepted: Collection[str] = ()) -> None:
    """RegistryError if a heading, or the name of a file or sheet, looks like an identifier; cells are not looked at."""
    names = _names(export, set(export.sheets))
    sheets = [_without_cells(_sheet(grid, header_rows[id(grid)])) for grid in export.grids]
    found = not_released(names.suspicions, accepted)
    found += [each for each in find_identifiers(sheets, accepted=accepted, names=names) if each.heading]
    if found:
        raise RegistryError(refusal_text(found))


def _without_cells(sheet: Sheet) -> Sheet:
    return replace(sheet, columns={name: [] for name in sheet.columns}, rows=None)
