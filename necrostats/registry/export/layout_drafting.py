"""A layout proposed from an export's headings and contents, every guess marked as one; no cell is ever shown in it.

What headings and contents of an export suggest; every answer here is a guess, for a person to look at.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from necrostats.registry.days import read_date
from necrostats.registry.export.cells import Export, Grid, RawCell, RawColumn
from necrostats.registry.export.mapped_sheets import headings
from necrostats.registry.export.private import refuse_names
from necrostats.registry.export.reading import read_export
from necrostats.registry.export.targets import is_date
from necrostats.registry.folding import folded

_LOOKED_AT = 12
_NUMBERED = re.compile(r"(.*?)([0-9]{1,2})(?![0-9+])(.*)", re.DOTALL)
_BEYOND = re.compile(r".*[0-9]{1,2}\s*(?:\+|and more|onwards)\s*.*", re.DOTALL)
_WORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "patients": (
        (r"index|index.*(date|drain).*|date.*drain.*|drainage date", "index_date"),
        (r"age", "age_years"),
        (r"sex|gender", "sex"),
        (r"a?etiolog.*|cause of pancreatitis", "aetiology"),
        (r"onset.*", "onset_day"),
        (r".*severity.*|.*atlanta.*", "atlanta_severity"),
        (r".*organ failure.*|of", "organ_failure"),
        (r"infect.*", "infection"),
        (r"asa.*", "asa_class"),
        (r".*charlson.*|comorbid.*", "comorbidity_index"),
        (r"nutrition.*", "nutrition"),
        (r"antithrombotic.*|anticoag.*", "antithrombotic"),
        (r".*duct.*", "duct"),
        (r"last (seen|contact|follow).*", "last_contact_day"),
        (r"(date of )?death( date)?|died( on)?", "death_day"),
        (r"cause( of death)?", "death_cause"),
        (r"(vital )?status|alive.*", "vital_status"),
    ),
    "collections": (
        (r"collections?|won.*|sites?", "collections"),
        (r"(max(imum)? )?(size|axes|dimensions).*", "size"),
        (r".*solid.*", "solid_percent"),
        (r".*quadrants.*", "quadrants"),
    ),
    "stents": ((r".*(placed|stent in|lams in).*", "placed_day"), (r".*(removed|stent out|lams out).*", "removed_day")),
    "sessions": (
        (r".*date.*", "day"),
        (r".*(tool|instrument|device).*", "instruments"),
        (r".*yield.*|.*removed.*", "yield"),
        (r".*(compl|event|ae).*", "event"),
        (r".*texture.*", "texture"),
        (r".*(operator|endoscopist).*", "operator"),
        (r".*(min|duration).*", "minutes_total"),
        (r".*passes.*", "passes"),
        (r".*(type|procedure).*", "session_type"),
    ),
    "scans": (
        (r".*date.*", "day"),
        (r".*(modality|type).*", "modality"),
        (r".*(size|axes).*", "size"),
        (r".*(where|site|collection).*", "collection"),
        (r".*volume.*", "volume_ml"),
    ),
    "reviews": (
        (r".*date.*", "day"),
        (r".*symptom.*", "symptom_free"),
        (r".*fever.*", "fever"),
        (r".*(diet|eating).*", "oral_diet"),
    ),
    "adverse_events": (
        (r".*date.*", "day"),
        (r".*(what|type|event|complication).*", "event_type"),
        (r".*agree.*", "agree_grade"),
        (r".*clavien.*", "clavien_grade"),
        (r".*treat.*", "treatment"),
        (r".*(session|den).*", "session"),
    ),
    "other_interventions": (
        (r".*date.*", "day"),
        (r".*(what|kind|procedure|type).*", "kind"),
        (r".*(why|reason).*", "reason"),
    ),
}
_SHEETS = (
    (r".*(death|mortality|died).*", "patients"),
    (r".*(scan|imaging|ct|radiology).*", "scans"),
    (r".*(complication|adverse|event).*", "adverse_events"),
    (r".*(clinic|review|follow).*", "reviews"),
    (r".*(surgery|interventions?|drains?).*", "other_interventions"),
    (r".*(session|procedure|scope).*", "sessions"),
)
_KEYS = r"(study|patient|pt|case)?[ _]*(no|nr|number|id|code|#)\.?|study.*|pat(ient)?|pt"


@dataclass(frozen=True, kw_only=True)
class Group:
    """Headings that differ only in a number: their numbers, and the heading with {n} → the heading as written."""

    prefix: str
    numbers: tuple[int, ...]
    headings: tuple[str, ...]


def header_rows_of(grid: Grid) -> tuple[int, ...]:
    """The row among the first that holds the most short texts, with the row above it if that has merged headings."""
    counted = Counter()
    for position in range(min(_LOOKED_AT, len(grid.rows))):
        cells = [column.cells[column.which[position]] for column in grid.columns]
        counted[int(grid.rows[position])] = sum(map(_like_a_heading, cells))
    row = max(counted, key=lambda number: (counted[number], -number), default=1)
    merged = any(first == row - 1 and last > start for first, start, _, last in grid.merges)
    return (row - 1, row) if merged else (row,)


def _like_a_heading(cell: RawCell) -> bool:
    text = cell.text.strip()
    return cell.value is None and 0 < len(text) <= 40 and not text.isdecimal()


def table_of(grid: Grid, *, first: bool) -> str:
    """The table that a sheet's name suggests; patients for the first sheet, or none."""
    name = folded(grid.name)
    found = next((table for pattern, table in _SHEETS if re.fullmatch(pattern, name)), "")
    return found or ("patients" if first else "")


def key_of(shown: list[str]) -> str:
    """The heading that most looks like a study code; blank if none does."""
    return next((heading for heading in shown if re.fullmatch(_KEYS, folded(heading))), "")


def target_of(heading: str, table: str) -> str:
    """The target that a heading suggests in a table; blank if none does."""
    name = re.sub(r"\s*\([^)]*\)", "", folded(heading)).strip(" ?.:")
    return next((target for pattern, target in _WORDS[table] if re.fullmatch(pattern, name)), "")


def unit_in(heading: str) -> str:
    """The unit that stands in brackets in a heading."""
    found = re.search(r"\(\s*(mm|cm|ml|cc|l|g|min)\s*\)", folded(heading))
    return found[1] if found else ""


def groups_of(shown: list[str]) -> list[Group]:
    """Headings with running numbers, at least two of a kind, by what stands before the number."""
    kinds: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for heading in shown:
        if (found := _NUMBERED.fullmatch(heading)) and not _BEYOND.fullmatch(heading):
            kinds.setdefault((found[1], found[3]), []).append((int(found[2]), heading))
    by_prefix: dict[str, list[tuple[str, list[int]]]] = {}
    for (prefix, suffix), found in kinds.items():
        if len(found) > 1:
            by_prefix.setdefault(prefix, []).append((f"{prefix}{{n}}{suffix}", sorted(number for number, _ in found)))
    return [_group(prefix, forms) for prefix, forms in by_prefix.items()]


def _group(prefix: str, forms: list[tuple[str, list[int]]]) -> Group:
    """The forms that have the numbers of the first of them."""
    numbers = forms[0][1]
    return Group(prefix=prefix, numbers=tuple(numbers), headings=tuple(form for form, own in forms if own == numbers))


def beyond(shown: list[str], prefix: str) -> str:
    """The heading of the column with the rest of a group: "DEN8+"."""
    return next((each for each in shown if each.startswith(prefix.strip()) and _BEYOND.fullmatch(each)), "")


def order_of(grid: Grid) -> set[str]:
    """The orders of day and month that dates typed as text have where only one order fits."""
    found = set()
    for column in grid.columns:
        for cell in column.cells:
            if cell.value is None and re.match(r"\s*[0-9]{1,2}[/.-][0-9]{1,2}[/.-][0-9]{2,4}", cell.text):
                fits = {order: read_date(cell.text, day_first=order == "day_first").known for order in _ORDERS}
                found |= {order for order in _ORDERS if fits[order]} if sum(fits.values()) == 1 else set()
    return found


_ORDERS = ("day_first", "month_first")


def looks_dated(column: RawColumn, below: np.ndarray) -> bool:
    """Whether at least half of the cells that hold anything read as dates."""
    cells = [column.cells[which] for which in column.which[below] if column.cells[which].text.strip()]
    read = [read_date(cell.typed, day_first=True, shown_as=cell.shown_as).known for cell in cells[:200]]
    return bool(read) and sum(read) * 2 >= len(read)


def columns_of(grid: Grid, header_rows: tuple[int, ...]) -> Iterator[tuple[str, RawColumn]]:
    """Each heading, as a layout has to write it, with its column."""
    seen: Counter[str] = Counter()
    for column, heading in zip(grid.columns, headings(grid, header_rows), strict=True):
        shown = heading or f"({column.letters})"
        seen[folded(shown)] += 1
        yield (shown if seen[folded(shown)] == 1 else f"{shown}#{seen[folded(shown)]}"), column


GUESS = "# a guess: "
_TOP = """\
# Proposed by necrostats. Every line marked "a guess" is one: look at each, correct it, and take the mark away.
format = 1
"""


def draft_layout(export: str | Path) -> str:
    """The text of a layout for an export. SourceError if it cannot be read; RegistryError if a heading or a name in it
    looks like an identifier."""
    read = read_export(export)
    refuse_names(read, {id(grid): header_rows_of(grid) for grid in read.grids})
    return "\n".join([_TOP, *_whole(read)]).rstrip() + "\n"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Sheet:
    grid: Grid
    header_rows: tuple[int, ...]
    columns: dict[str, RawColumn]
    below: np.ndarray
    table: str
    key: str
    wide: tuple[Group, ...]


def _whole(export: Export) -> Iterator[str]:
    sheets = [_sheet(grid, first=number == 0) for number, grid in enumerate(export.grids)]
    read = [sheet for sheet in sheets if sheet.table and not sheet.grid.hidden and sheet.columns]
    left = [sheet for sheet in sheets if sheet not in read]
    if left:
        yield f"ignore_sheets = {_list([sheet.grid.name for sheet in left])}  {GUESS}hidden, or of no known kind\n"
    yield from _dates(export)
    yield '[fill]\n# "patients.vital_status" = "alive"            # if every death is recorded\n'
    indexed = False
    for sheet in read:
        yield from _told(sheet, indexed=indexed)
        indexed = True


def _sheet(grid: Grid, *, first: bool) -> _Sheet:
    header_rows = header_rows_of(grid)
    columns = dict(columns_of(grid, header_rows))
    shown = list(columns)
    return _Sheet(
        grid=grid,
        header_rows=header_rows,
        columns=columns,
        below=np.flatnonzero(grid.rows > max(header_rows)),
        table=table_of(grid, first=first),
        key=key_of(shown),
        wide=tuple(groups_of(shown)),
    )


def _dates(export: Export) -> Iterator[str]:
    orders = set().union(*(order_of(grid) for grid in export.grids))
    yield "[dates]"
    if len(orders) == 1:
        yield f'order = "{orders.pop()}"  {GUESS}some dates fit no other order'
    else:
        why = "dates of both orders occur" if orders else "no date typed as text shows its order"
        yield f'# order = "day_first"  # or "month_first": {why}; say it, or say it column by column'
    yield "# data_lock = 2026-09-30   # the day the data were locked\n"


def _told(sheet: _Sheet, *, indexed: bool) -> Iterator[str]:
    yield "[[sheet]]"
    yield f"name = {_text(sheet.grid.name)}"
    yield f"header_rows = {list(sheet.header_rows)}  {GUESS}the first row that looks like headings"
    if sheet.key:
        yield f"patient = {_text(sheet.key)}  {GUESS}it must hold study codes, not record numbers"
    else:
        yield f"each_row_is_a_patient = true  {GUESS}no column looks like a study code"
    used = {sheet.key} | set(_grouped(sheet))
    makers = [(table, found) for table in _tables(sheet) if (found := _found(sheet, table, used))]
    told = {heading for _, found in makers for heading in found}
    rest = [heading for heading in sheet.columns if heading not in used | told and not _is_rest(sheet, heading)]
    if rest:
        yield f"# not guessed; map each of them, or ignore it by name: {', '.join(_text(each) for each in rest)}"
    yield "ignore = []\n"
    if not makers and not sheet.wide:
        yield from _rows(sheet, sheet.table, {next(iter(sheet.columns)): "day"}, commented=True)
    for table, found in makers:
        yield from _rows(sheet, table, found)
    for group in sheet.wide:
        yield from _wide(sheet, group)


def _tables(sheet: _Sheet) -> tuple[str, ...]:
    return ("patients", "collections", "stents") if sheet.table == "patients" else (sheet.table,)


def _grouped(sheet: _Sheet) -> Iterator[str]:
    for group in sheet.wide:
        for heading in group.headings:
            yield from (heading.replace("{n}", str(number)) for number in group.numbers)


def _is_rest(sheet: _Sheet, heading: str) -> bool:
    return any(heading == beyond(list(sheet.columns), group.prefix) for group in sheet.wide)


def _found(sheet: _Sheet, table: str, used: set[str]) -> dict[str, str]:
    """Heading → target, each target once; a target that is a date only where the cells are dates."""
    found: dict[str, str] = {}
    for heading, column in sheet.columns.items():
        target = target_of(heading, table)
        dated = bool(target) and is_date(table, target)
        if (
            target
            and heading not in used
            and target not in found.values()
            and (not dated or looks_dated(column, sheet.below))
        ):
            found[heading] = target
    used |= set(found)
    return found


def _rows(sheet: _Sheet, table: str, found: dict[str, str], *, commented: bool = False) -> Iterator[str]:
    mark = "# " if commented else ""
    yield f"{mark}[[sheet.rows]]"
    yield f"{mark}table = {_text(table)}  {GUESS}from the name of the sheet"
    if table == "stents":
        yield f'{mark}constants = {{ stent_type = "lumen_apposing" }}  {GUESS}the kind of stent is not written'
    yield f"{mark}[sheet.rows.columns]"
    for heading, target in found.items():
        yield f"{mark}{_text(heading)} = {_target(heading, target)}  {GUESS}from the heading"
    yield ""


def _target(heading: str, target: str) -> str:
    unit = unit_in(heading)
    if unit and target in ("size", "yield", "volume_ml", "minutes_total"):
        return f"{{ to = {_text(target)}, unit = {_text(unit)} }}"
    if target == "operator":
        return '{ to = "operator", pseudonyms = true }'
    return _text(target)


def _wide(sheet: _Sheet, group: Group) -> Iterator[str]:
    found = {}
    for heading in group.headings:
        target = target_of(heading.replace("{n}", ""), "sessions")
        if target and target not in found.values():
            found[heading] = target
    if "day" not in found.values():
        yield f"# not guessed: the numbered headings {', '.join(_text(each) for each in group.headings)}\n"
        return
    yield "[[sheet.rows]]"
    yield f'table = "sessions"  {GUESS}from the numbered headings'
    yield f"numbers = {list(group.numbers)}"
    yield f'constants = {{ session_type = "necrosectomy" }}  {GUESS}if each of them is one'
    yield "[sheet.rows.columns]"
    for heading, target in found.items():
        yield f"{_text(heading)} = {_target(heading, target)}  {GUESS}from the heading"
    if rest := beyond(list(sheet.columns), group.prefix):
        yield f"[sheet.rows.overflow]\ncolumn = {_text(rest)}  {GUESS}from the heading"
        yield f'between = ";"  {GUESS}what stands between sessions'
        yield f"parts = {_list(found)}  {GUESS}their parts in order"
        yield f'between_parts = "|"  {GUESS}what stands between the parts of one session'
    yield ""


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _list(texts) -> str:
    return f"[{', '.join(map(_text, texts))}]"
