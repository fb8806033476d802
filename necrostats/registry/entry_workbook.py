"""The empty workbook a unit can type its registry into, and the layout by which it is read.

Dates are typed as dates: one private sheet holds those of the index drainage, from which days are counted when the
workbook is read, and no date leaves it. An amount is typed as people write it, and a list of instruments in one cell.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import xlsxwriter
from openpyxl import load_workbook
from xlsxwriter.workbook import Workbook

from necrostats.errors import SourceError
from necrostats.registry.codebook import TABLES, Column, Table
from necrostats.registry.days import read_date
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_reading import parse_layout

ROWS = 2000
LONGEST_TITLE, LONGEST_MESSAGE = 32, 255  # characters, the limits of the file format
NARROWEST = 11
INSTRUCTIONS, INDEX_DATES, LOCK = "how to fill in", "index_dates", "data lock"
_MADE = datetime(2000, 1, 1)  # fixed, so that the same codebook gives the same bytes
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
_COUNTED_BY_ITSELF = {"index_period", "period", "observed_days", "use_order", "also_treated", "communicates_with"}
_IN_ONE_CELL = {
    "sessions": {
        "yield": "as you would write it: 250 ml, about 250, 200-300, >500, minimal, 1.2 L out (1 L in)",
        "instruments": "in the order used, in one cell: snare + net, then lavage",
    },
    "collections": {"size": "three axes in mm: 120 x 100 x 80"},
    "scans": {"size": "three axes in mm, or 0 where no collection is left: 40 x 30 x 20"},
}
_AXES = ("long_mm", "mid_mm", "short_mm")
_KEY_COLUMNS = {"session_id": "session", "collection_id": "collection"}
_OWN_IDS = ("sessions",)
_STEPS = (
    "One row a patient in index_dates: the study code and the date of the index drainage. The sheet is private: when "
    "the workbook is read, every date becomes a number of days from that one, and no date is kept.",
    "The data lock, the day up to which everything is typed in, stands in the cell below this list.",
    "One row a patient in patients, with the same study codes; the last contact is typed once, there.",
    "One row each time the scope goes in, in sessions; give each its own session_id, such as S001. Its instruments and "
    "what came out are typed in one cell each, as people write them.",
    "Dates are dates: 12/03/2026, or a month, 03.2026, where the day is not known.",
    "A blank cell means not known. It never means no, none or 0.",
    "A code is chosen from the list that the cell offers. No names, no record numbers, no dates of birth anywhere.",
    "Then: necrostats check entry.xlsx says what cannot be right; the notebooks beside it read it as it is.",
)
COLLECTION_HINT = "its site, or its number (1 is the first row of the patient); blank = the index collection"


def entry_workbook() -> bytes:
    """The bytes of an .xlsx file: instructions, the private sheet of index dates, and a sheet a table with its codes as
    drop-downs and what each column means beside the cell.
    """
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, _OPTIONS) as workbook:
        workbook.set_properties({"title": "Registry entry", "created": _MADE})
        _write_instructions(workbook)
        _write_index_dates(workbook)
        for table in typed_tables():
            _write_sheet(workbook, table)
    return written.getvalue()


def is_entry_workbook(path: Path) -> bool:
    """Whether a file is a workbook of this form, by the names of its first sheets."""
    if path.suffix.lower() not in (".xlsx", ".xlsm") or not path.is_file():
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            names = archive.read("xl/workbook.xml")[:100_000].decode("utf-8", "replace")
    except (OSError, KeyError, zipfile.BadZipFile):
        return False
    return f'name="{INSTRUCTIONS}"' in names and f'name="{INDEX_DATES}"' in names


def typed_tables() -> tuple[Table, ...]:
    """The tables with a sheet of their own; the instruments of a session are typed with it."""
    return tuple(table for name, table in TABLES.items() if name != "instrument_uses")


def typed_columns(table: Table) -> tuple[tuple[str, str, Column | None], ...]:
    """The columns of a sheet: what heads them, what they become, and the column of the codebook, if it is one alone."""
    one_cell = _IN_ONE_CELL.get(table.name, {})
    found: list[tuple[str, str, Column | None]] = []
    for column in table.columns:
        if heads := _heads(table, column):
            found.append((heads, _target(table, column), column))
    return (*found, *((name, name, None) for name in one_cell))


def _heads(table: Table, column: Column) -> str:
    """What heads a column; blank for one that is not typed: counted by itself, or typed in one cell with others."""
    own_key = column.name == table.key and table.name not in (*_OWN_IDS, "patients")
    together = column.name.startswith("yield_") or (column.name in _AXES and table.name in ("collections", "scans"))
    if own_key or together or column.name in _COUNTED_BY_ITSELF or column.name == "stent_id":
        return ""
    return "collection" if column.name == "collection_id" else column.name


def _target(table: Table, column: Column) -> str:
    return "patient" if column.name == "patient_id" else _KEY_COLUMNS.get(column.name, column.name)


def _write_instructions(workbook: Workbook) -> None:
    sheet, wrapped = workbook.add_worksheet(INSTRUCTIONS), workbook.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 100, wrapped)
    sheet.set_column(1, 1, 16)
    sheet.write_string(0, 0, "How to fill in this workbook", workbook.add_format({"bold": True, "font_size": 14}))
    for row, step in enumerate(_STEPS, start=1):
        sheet.write_string(row, 0, f"{row}. {step}", wrapped)
    sheet.write_string(len(_STEPS) + 2, 0, LOCK, workbook.add_format({"bold": True}))
    sheet.write_blank(
        len(_STEPS) + 2, 1, None, workbook.add_format({"num_format": "dd/mm/yyyy", "bg_color": "#D6E6F2"})
    )


def _write_index_dates(workbook: Workbook) -> None:
    sheet = workbook.add_worksheet(INDEX_DATES)
    head = workbook.add_format({"bold": True, "bottom": 1, "bg_color": "#D6E6F2"})
    sheet.set_column(0, 0, 16, workbook.add_format({"num_format": "@"}))
    sheet.set_column(1, 1, 16, workbook.add_format({"num_format": "dd/mm/yyyy"}))
    sheet.write_row(0, 0, ("patient_id", "index_date"), head)
    sheet.freeze_panes(1, 0)


def _write_sheet(workbook: Workbook, table: Table) -> None:
    sheet = workbook.add_worksheet(table.name)
    look = {"bold": True, "bottom": 1, "valign": "top"}
    required, optional = workbook.add_format({**look, "bg_color": "#D6E6F2"}), workbook.add_format(look)
    as_text, as_date = workbook.add_format({"num_format": "@"}), workbook.add_format({"num_format": "dd/mm/yyyy"})
    for place, (heading, target, column) in enumerate(typed_columns(table)):
        kind = "text" if column is None else column.kind
        cell_format = as_date if kind == "day" else None if kind in ("whole", "number") else as_text
        sheet.set_column(place, place, max(NARROWEST, len(heading) + 2), cell_format)
        sheet.write_string(0, place, heading, required if column is not None and column.required else optional)
        sheet.data_validation(1, place, ROWS, place, validation(heading, target, column, table))
    sheet.freeze_panes(1, 1)


def validation(heading: str, target: str, column: Column | None, table: Table) -> dict[str, object]:
    """The rule for the cells below a heading, in XlsxWriter's terms, with a hint shown beside the cell."""
    return {
        **(_rule(column) if column is not None else {"validate": "any"}),
        "input_title": heading[:LONGEST_TITLE],
        "input_message": hint(heading, target, column, table)[:LONGEST_MESSAGE],
        "error_title": heading[:LONGEST_TITLE],
        "error_message": "This is not on the list, or off the scale, that the note beside the cell gives.",
        "error_type": "stop" if column is not None and column.codes else "warning",
    }


def hint(heading: str, target: str, column: Column | None, table: Table) -> str:
    """What a column means, its unit and its scale, in one line."""
    if column is None:
        return f"{heading}: {_IN_ONE_CELL[table.name][heading]}. Blank = not known."
    if target == "collection":
        return f"Which collection: {COLLECTION_HINT}."
    scale = "" if column.kind == "day" else scale_of(column)
    unit = "" if column.kind == "day" else column.unit
    how = "Type a date, or a month where the day is not known" if column.kind == "day" else ""
    parts = (column.meaning, unit and f"Unit: {unit}", scale and f"Scale: {scale}", how)
    return ". ".join((*(part for part in parts if part), "Required" if column.required else "Blank = unknown")) + "."


def scale_of(column: Column) -> str:
    """The values that can be right, as "1 to 5", "0 or more" or "0 or less"; blank if there is no limit."""
    if column.low is not None and column.high is not None:
        return f"{column.low:g} to {column.high:g}"
    if column.low is not None:
        return f"{column.low:g} or more"
    return f"{column.high:g} or less" if column.high is not None else ""


def _rule(column: Column) -> dict[str, object]:
    if column.codes:
        return {"validate": "list", "source": list(column.codes)}
    if column.kind == "yes_no":
        return {"validate": "list", "source": ["yes", "no"]}
    if column.kind in ("whole", "number"):
        return _number_rule(column)
    return {"validate": "any"}


def _number_rule(column: Column) -> dict[str, object]:
    low = column.low if column.low is not None else -100_000
    high = column.high if column.high is not None else 1_000_000
    kind = "decimal" if column.kind == "number" else "integer"
    return {"validate": kind, "criteria": "between", "minimum": low, "maximum": high}


def entry_layout(data_lock: str) -> str:
    """The text of the layout by which a workbook of this form is read; `data_lock` as 2026-09-30."""
    return "\n".join(_layout(data_lock))


def _layout(data_lock: str) -> Iterator[str]:
    yield f'format = 1\nignore_sheets = ["{INSTRUCTIONS}"]\n[dates]\norder = "day_first"\ndata_lock = {data_lock}'
    yield '[ids]\npatients = "keep"\n[collections]\nindex = "first"\nunnamed = "index"'
    yield f'[[sheet]]\nname = "{INDEX_DATES}"\npatient = "patient_id"'
    yield '[[sheet.rows]]\ntable = "patients"\ncolumns = { "index_date" = { to = "index_date", session = false } }'
    for table in typed_tables():
        yield f'[[sheet]]\nname = "{table.name}"\npatient = "patient_id"\n[[sheet.rows]]\ntable = "{table.name}"'
        yield "[sheet.rows.columns]"
        for heading, target, _ in typed_columns(table):
            if target != "patient":
                yield f'"{heading}" = {_column(target)}'


def _column(target: str) -> str:
    units = {"yield": "ml", "size": "mm"}
    return f'{{ to = "{target}", unit = "{units[target]}" }}' if target in units else f'"{target}"'


def entry_layout_of(source: str | Path) -> Layout | None:
    """The layout of an entry workbook; None if the source is none. SourceError if its data lock is not given."""
    path = Path(source)
    if not is_entry_workbook(path):
        return None
    lock = _data_lock(path)
    if lock is None:
        raise SourceError(
            f'{path.name}: the data lock is not given. Write its date in the sheet "{INSTRUCTIONS}", beside "{LOCK}".'
        )
    return parse_layout(entry_layout(lock.isoformat()), name=f"the layout of {path.name}")


def _data_lock(path: Path) -> date | None:
    book = load_workbook(path, read_only=True, data_only=True)
    try:
        for label, value, *_ in book[INSTRUCTIONS].iter_rows(max_col=2, values_only=True):
            if label == LOCK and value is not None:
                found = read_date(value, day_first=True)
                return found.first if found.known and found.exact else None
    finally:
        book.close()
    return None
