"""An independent count of an export against what tidying wrote: where is every cell that somebody filled?

Nothing of the package is used, nor of its way to count: the export is read with the csv module and openpyxl, the layout
with tomllib, the tables, the ledger and the lists as plain csv. A cell is accounted for if the ledger says which row
and column of a tidy table holds its value, and that row does hold it; if the ledger, or the line of its row there, says
that it is unknown or set aside; or if the layout ignores its column or sheet, or a finding says that the layout does
not mention it. Anything else is lost.
"""

from __future__ import annotations

import csv
import tomllib
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from openpyxl import load_workbook
from openpyxl.utils import column_index_from_string, get_column_letter

BOOKS, TEXTS = (".xlsx", ".xlsm"), (".csv", ".tsv", ".txt")
BY_OTHER_KEY = {"instrument_uses": "session_id", "reviews": "patient_id", "other_interventions": "patient_id"}


@dataclass(frozen=True, kw_only=True)
class Written:
    """The filled cells of a sheet or csv file, by row and column from 1, and its merged areas."""

    file: str
    sheet: str
    cells: dict[tuple[int, int], str]
    merged: tuple[tuple[int, int, int, int], ...] = ()

    @property
    def name(self) -> str:
        return self.sheet or self.file.rpartition(".")[0]


@dataclass(kw_only=True)
class Account:
    """How many filled cells became what, and those that are nowhere."""

    became: Counter = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)


def plain(text: object) -> str:
    spread = unicodedata.normalize("NFKD", str(text).casefold())
    kept = "".join(each for each in spread if not unicodedata.combining(each) and unicodedata.category(each) != "Cf")
    return " ".join(kept.split())


def sheets_of(source: Path) -> Iterator[Written]:
    """Every sheet and csv file of an export."""
    files = sorted(source.iterdir()) if source.is_dir() else [source]
    for file in files:
        if file.suffix.lower() in BOOKS:
            yield from _of_book(file)
        elif file.suffix.lower() in TEXTS:
            yield _of_csv(file)


def _of_book(file: Path) -> Iterator[Written]:
    for sheet in load_workbook(file).worksheets:
        yield Written(
            file=file.name,
            sheet=sheet.title,
            cells={
                at: str(cell.value)
                for at, cell in sheet._cells.items()
                if cell.value is not None and str(cell.value).strip()
            },
            merged=tuple(
                (each.min_row, each.min_col, each.max_row, each.max_col) for each in sheet.merged_cells.ranges
            ),
        )


def _of_csv(file: Path) -> Written:
    text = _decoded(file.read_bytes())
    start = text[:20_000]
    with_most = max(",;\t", key=start.count)
    lines = csv.reader(text.splitlines(keepends=True), delimiter=with_most)
    cells = {(row, at): cell for row, line in enumerate(lines, 1) for at, cell in enumerate(line, 1) if cell.strip()}
    return Written(file=file.name, sheet="", cells=cells)


def _decoded(content: bytes) -> str:
    for encoding in ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise ValueError("no text")


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of a sheet that one [[sheet]] of the layout means: its headings, and the cells that are to be found."""

    headings: dict[int, str]
    rows: Sequence[int]
    heads: tuple[int, ...] = ()
    ends: int = 0
    labels: int = 0
    values: int = 0
    ignore: tuple[str, ...] = ()

    @property
    def first(self) -> int:
        return min((*self.heads, *self.rows), default=0)


def _listed(value: object) -> list:
    return value if isinstance(value, list) else [value] if value not in (None, "") else []


def _numbers(value: object) -> list[int]:
    if isinstance(value, str):
        low, _, high = value.partition("-")
        return list(range(int(low), int(high or low) + 1))
    return [int(each) for each in _listed(value)]


def _means(patterns: list, name: str) -> bool:
    return any(fnmatchcase(plain(name), plain(pattern)) for pattern in patterns)


def parts_of(written: Written, layout: dict) -> list[Part]:
    """What the layout means of a sheet."""
    left_out = [each for each in _listed(layout.get("ignore_sheets")) if not {"*", "?"} & set(each)]
    named = [each for each in layout.get("sheet", []) if not each.get("name") or _is_of(each, written)]
    if _means(left_out, written.name):
        named = [each for each in named if plain(written.name) in map(plain, _listed(each.get("name")))]
    return [part for each in named if (part := _part(written, each))]


def _is_of(sheet: dict, written: Written) -> bool:
    return _means(_listed(sheet["name"]), written.name) or (
        not written.sheet and _means(_listed(sheet["name"]), written.file)
    )


def _part(written: Written, sheet: dict) -> Part | None:
    last = max((row for row, _ in written.cells), default=0)
    first = {row: min(at for r, at in written.cells if r == row) for row in {row for row, _ in written.cells}}
    said = {row: plain(written.cells[row, at]) for row, at in first.items()}
    begins = [row for row in sorted(said) if _means(_listed(sheet.get("starts")), said[row])]
    if sheet.get("starts") and not begins:
        return None
    top = begins[0] if begins else 1
    ends = [row for row in sorted(said) if row >= top + bool(begins) and _means(_listed(sheet.get("ends")), said[row])]
    bottom = ends[0] - 1 if ends else last
    further = {"ignore": tuple(_listed(sheet.get("ignore"))), "ends": ends[0] if ends else 0}
    if sheet.get("labels"):
        rows = [row for row in _numbers(sheet.get("label_rows")) or range(top, bottom + 1) if top <= row <= bottom]
        labels, values = (column_index_from_string(sheet[key].upper()) for key in ("labels", "values"))
        span = range(min(rows, default=1), max(rows, default=0) + 1)
        return Part(headings={}, rows=span, labels=labels, values=values, **further)
    heads = [top] if begins else _numbers(sheet.get("header_rows")) or [1]
    headings = _headings(written, heads)
    return Part(
        headings=headings,
        rows=[
            row for row in range(max(heads) + 1, bottom + 1) if _says(written, row, headings, sheet.get("where", {}))
        ],
        heads=tuple(heads),
        **further,
    )


def _says(written: Written, row: int, headings: dict[int, str], where: dict) -> bool:
    """Whether a row says one of the words of `where` under each of its headings."""
    places = {plain(heading): at for at, heading in headings.items()}
    return all(
        _means(_listed(words), written.cells.get((row, places.get(plain(heading), 0)), ""))
        for heading, words in where.items()
    )


def _headings(written: Written, rows: list[int]) -> dict[int, str]:
    lines = []
    for row in rows:
        line = {at: " ".join(text.split()) for (r, at), text in written.cells.items() if r == row}
        for top, left, bottom, right in written.merged:
            if top <= row <= bottom and (top, left) in written.cells:
                line |= {at: " ".join(written.cells[top, left].split()) for at in range(left, right + 1)}
        lines.append(line)
    columns = {at for line in lines for at in line}
    return {at: " ".join(dict.fromkeys(line[at] for line in lines if at in line)) for at in columns}


def _read(path: Path) -> list[dict[str, str]]:
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


class Outputs:
    """What tidying wrote, read as plain csv."""

    def __init__(self, folder: Path) -> None:
        self.by_cell: dict[tuple, list[dict[str, str]]] = defaultdict(list)
        self.rows: set[tuple] = set()
        for line in _read(folder / "ledger.csv"):
            place = line["file"], _text(line["sheet"])
            if line["cell"]:
                self.by_cell[*place, line["cell"]].append(line)
            else:
                self.rows.add((*place, line["row"]))
        self.not_mentioned: dict[tuple, set[str]] = defaultdict(set)
        self.beside: dict[tuple, int] = {}
        for line in _read(folder / "findings.csv"):
            place = line["file"], _text(line["sheet"])
            self.not_mentioned[line["rule"], *place].add(plain(_text(line["column"])))
            if line["rule"] == "CELLS_NOT_MENTIONED":
                self.beside[place] = int(line["problem"].split()[0].replace(",", ""))
        self._tables: dict[str, dict[str, list[dict[str, str]]]] = {}
        self._folder = folder

    def holds(self, line: dict[str, str]) -> bool:
        """Whether the table that a line of the ledger names has the value it tells, in the row it names."""
        rows = self._table(line["table"]).get(_text(line["id"]), [])
        return any(_same(_text(row.get(line["field"], "")), _text(line["value"])) for row in rows)

    def _table(self, name: str) -> dict[str, list[dict[str, str]]]:
        if name not in self._tables:
            by_id: dict[str, list[dict[str, str]]] = defaultdict(list)
            for row in _read(self._folder / f"{name}.csv"):
                by_id[_text(row[BY_OTHER_KEY.get(name, next(iter(row)))])].append(row)
            self._tables[name] = by_id
        return self._tables[name]


def _text(cell: str) -> str:
    """A cell of an output without the apostrophe that keeps a spreadsheet from taking it for a formula."""
    return cell[1:] if cell[:1] == "'" and cell[1:2] and cell[1:2] in "'=+-@\t\r\n\uff1d\uff0b\uff0d\uff20" else cell


def _same(first: str, second: str) -> bool:
    try:
        return float(first) == float(second)
    except ValueError:
        return plain(first) == plain(second)


def account(source: Path, layout: Path, to: Path) -> Account:
    """Every filled cell of an export, found again or lost."""
    plan, outputs, made = tomllib.loads(layout.read_text(encoding="utf-8-sig")), Outputs(to), Account()
    for written in sheets_of(source):
        parts = parts_of(written, plan)
        if not parts:
            _whole_sheet(written, plan, outputs, made)
            continue
        _each_cell(written, parts, outputs, made)
    return made


def _each_cell(written: Written, parts: list[Part], outputs: Outputs, made: Account) -> None:
    """The cells of a sheet one by one; those beside its forms and blocks are told by a finding that counts them."""
    became = {at: _became(written, at, parts, outputs) for at in written.cells}
    beside = [at for at, what in became.items() if what == BESIDE]
    if beside and len(beside) == outputs.beside.get((written.file, written.sheet)):
        became |= dict.fromkeys(beside, "beside the parts of its sheet, and said")
    made.became.update(became.values())
    lost = {at: what for at, what in became.items() if what.startswith("lost")}
    made.lost += [f"{written.name}!{get_column_letter(at[1])}{at[0]}: {what}" for at, what in lost.items()]


def _whole_sheet(written: Written, plan: dict, outputs: Outputs, made: Account) -> None:
    """A sheet that no part of the layout means: ignored by name, or said in a finding."""
    ignored = _means(_listed(plan.get("ignore_sheets")), written.name)
    told = ("SHEET_NOT_MENTIONED", written.file, written.sheet) in outputs.not_mentioned
    became = "in a sheet ignored" if ignored else "in a sheet not mentioned" if told else "lost with its sheet"
    made.became[became] += len(written.cells)
    if became.startswith("lost") and written.cells:
        made.lost.append(f"{written.name}: the whole sheet")


def _became(written: Written, at: tuple[int, int], parts: list[Part], outputs: Outputs) -> str:
    row, column = at
    place = written.file, written.sheet
    lines = outputs.by_cell.get((*place, f"{get_column_letter(column)}{row}"), [])
    if lines:
        return _by_its_lines(lines, outputs)
    if (*place, str(row)) in outputs.rows:
        return "set aside with its row"
    if row < min(part.first for part in parts):
        return "above the headings"
    inside = [part for part in parts if row in part.rows and (not part.labels or column in (part.labels, part.values))]
    if not inside:
        return "a heading" if any(row in part.heads for part in parts) else _outside(row, parts)
    return next((told for part in inside if (told := _of_column(written, at, part, outputs))), "lost")


BESIDE = "lost beside the parts of its sheet"


def _outside(row: int, parts: list[Part]) -> str:
    return "below what is meant" if any(part.ends and row >= part.ends for part in parts) else BESIDE


def _by_its_lines(lines: list[dict[str, str]], outputs: Outputs) -> str:
    outcomes = {line["outcome"] for line in lines}
    values = [line for line in lines if line["outcome"] == "value"]
    untrue = [line for line in values if line["id"] and line["value"] and not outputs.holds(line)]
    if untrue:
        first = untrue[0]
        return f"lost: {first['table']} {first['id']} has no {first['field']} = {first['value']}"
    if any(line["id"] for line in values):
        return "in a tidy table"
    return "set aside" if "set aside" in outcomes else "the same as another cell" if values else "unknown"


def _of_column(written: Written, at: tuple[int, int], part: Part, outputs: Outputs) -> str:
    row, column = at
    if part.labels:
        if column == part.labels:
            return "a label of a form"
        heading = written.cells.get((row, part.labels), "").strip().rstrip(" :.") if column == part.values else ""
    else:
        heading = part.headings.get(column, "")
    shown = plain(heading or f"({get_column_letter(column)})")
    if any(shown == plain(each) for each in part.ignore):
        return "in a column ignored"
    told = outputs.not_mentioned["COLUMN_NOT_MENTIONED", written.file, written.sheet]
    letters = f"({get_column_letter(column)})".casefold()  # after a heading of which a date was struck out
    dated = any("(date)" in each and each.endswith(letters) for each in told)
    if dated or letters in told or any(each == shown or each.startswith(f"{shown}#") for each in told):
        return "in a column not mentioned"
    return ""
