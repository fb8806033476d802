"""From a mapped column to the function that reads its cells; each different cell is read once."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from necrostats.registry.codebook import COLLECTIONS, STENTS, TABLES, Column
from necrostats.registry.export.cells import (
    BLANK,
    DATE,
    NO_RESULT,
    PRIVATE,
    RawCell,
    Reading,
    letters_of,
    number_text,
    refused,
)
from necrostats.registry.export.compound_cells import (
    any_of,
    parted_end,
    read_collections,
    read_event,
    read_instruments,
    read_stents,
)
from necrostats.registry.export.date_cells import read_dated
from necrostats.registry.export.layout import (
    BORES,
    BY_ID,
    ENDS,
    GRAMMAR_UNITS,
    NOT_UNDERSTOOD,
    ColumnLayout,
    as_written,
    home,
    is_date,
)
from necrostats.registry.export.private import holds_date, holds_old_age
from necrostats.registry.export.shared_cells import Sharing, code_of
from necrostats.registry.quantities import (
    Number,
    is_blank,
    read_axes,
    read_count,
    read_minutes,
    read_number,
    read_quantity,
)
from necrostats.registry.quantities.amounts import NO_UNIT_GIVEN
from necrostats.registry.text import Unread, folded, without_value
from necrostats.registry.text import plain as bare
from necrostats.registry.words import known_words

_GROUPED = re.compile(r"(?<![0-9.,])[0-9]{1,3}(?:\s[0-9]{3})+(?![0-9])")
Reader = Callable[[RawCell], Reading]


@dataclass(kw_only=True)
class Pseudonyms:
    """Names given to operators, in the order in which they first appear in the whole export."""

    given: dict[str, str] = field(default_factory=dict)

    def of(self, text: str) -> str:
        """The pseudonym of a text."""
        key = folded(text)
        return self.given.setdefault(key, f"operator {letters_of(len(self.given) + 1)}")


def readings_of(
    cells: Sequence[RawCell], table: str, column: ColumnLayout, date_system: str, pseudonyms: Pseudonyms
) -> tuple[Reading, ...]:
    """What each of some different cells is read as. `date_system`: the workbook's; blank for a csv."""
    sharing = Sharing.of(table, column.sharing) if column.sharing[1:] else None
    number = [each.to for each in column.sharing].index(column.to) if sharing else 0
    table, to = home(table, column.to)
    column = replace(column, to=to, words=column.words.of_column(to))
    own = _reader(table, column, date_system or column.system, pseudonyms)
    reader = _shared(sharing, number) if sharing else own
    if column.days:
        cells = [_day_alone(cell) for cell in cells]
    if is_date(table, column.to):
        return tuple(_guarded(column.words.plain(cell, dated=True), column, reader) for cell in cells)
    found = tuple(_without_date(cell, _read(cell, column, reader)) for cell in cells)
    if column.to != "size":
        return found
    return with_the_axes_of_the_column(found, [folded(cell.text) in column.codes for cell in cells])


def _shared(sharing: Sharing, number: int) -> Reader:
    return lambda cell: _without_value(cell.text) or sharing.read(cell.text, number)


_A_DAY = re.compile(
    r"(?:post-?op(?:erative)? )?(?:days?|d|tage?|dag(?:en)?|jours?|j|dias?|giorn[oi]|gg|pod)?\.?\s*[+:]?\s*"
    r"(?P<day>-?[0-9]{1,5})\.?\s*(?:days?|d|tage?|dag(?:en|ar)?|jours?|j|dias?|giorn[oi]|gg)?\.?"
)


def _day_alone(cell: RawCell) -> RawCell:
    """A count of days without the word for it: "day 16", "Tag 16", "D+16"."""
    found = _A_DAY.fullmatch(folded(cell.text))
    return cell._replace(text=found["day"], value=None) if found and cell.value is None else cell


def _read(cell: RawCell, column: ColumnLayout, reader: Reader) -> Reading:
    ungrouped = _ungrouped(cell, column)
    plainer = ungrouped if folded(cell.text) in column.codes else column.words.plain(ungrouped)
    reading = _guarded(plainer, column, reader)
    return reading if plainer is cell else as_written(reading, cell)


def _ungrouped(cell: RawCell, column: ColumnLayout) -> RawCell:
    """The cell without the blanks that part thousands, where the layout says that blanks do."""
    return (
        cell._replace(text=_GROUPED.sub(lambda found: re.sub(r"\s", "", found[0]), cell.text))
        if column.grouped
        else cell
    )


def _without_date(cell: RawCell, reading: Reading) -> Reading:
    """The reading of a cell that should hold no date; one that does is not shown anywhere."""
    return replace(reading, withheld=DATE) if not reading.withheld and holds_date(cell.text) else reading


def _guarded(cell: RawCell, column: ColumnLayout, reader: Reader) -> Reading:
    if cell.no_result:
        return NO_RESULT
    text = cell.text.strip()
    code = column.codes.get(folded(text))
    if not text or code == "":
        return BLANK
    return reader(cell._replace(text=code, value=None) if code and code.isdecimal() else cell)


def _reader(table: str, column: ColumnLayout, system: str, pseudonyms: Pseudonyms) -> Reader:
    special: dict[str, Reader] = {
        "yield": lambda cell: _yield(cell, table, column),
        "size": lambda cell: _size(cell, column),
        "instruments": lambda cell: _several(cell, column, read_instruments, unknown_counts=True),
        "event": lambda cell: _several(cell, column, read_event),
        "collections": lambda cell: _several(cell, column, read_collections),
        "collection": lambda cell: _collection(cell, table, column),
        "session": lambda cell: _reference(cell, "session"),
        "stent_id": lambda cell: _reference(cell, "stent"),
        "stent": lambda cell: _several(cell, column, read_stents),
        "stents": lambda cell: _several(cell, column, read_stents),
        "event_type": lambda cell: _event_of_a_row(cell, column),
        "stent_size": lambda cell: _stent_size(cell, column),
    }
    if column.of_end:
        return (
            (lambda cell: _end_day(cell, column, system)) if column.to == ENDS[0] else lambda cell: _end(cell, column)
        )
    if column.to in special:
        return special[column.to]
    if is_date(table, column.to) and not column.days:
        return lambda cell: read_dated(cell, column, system)
    plain = TABLES[table].column(column.to)
    if plain.kind in ("number", "whole"):
        return lambda cell: _number(cell, column, plain)
    if plain.kind in ("code", "yes_no"):
        words = known_words(plain.name, plain.codes or ("yes", "no"), column.codes)
        return lambda cell: _code(cell, plain, words)
    if column.pseudonyms:
        return lambda cell: _pseudonym(cell, plain, pseudonyms)
    return lambda cell: _as_it_stands(cell, plain)


_AGE = re.compile(
    rf"(?P<above>>=?|over|above|{any_of('above')})?\s*(?P<years>[0-9]{{1,3}})\s*(?P<more>\+)?\s*"
    rf"(?:years?|yrs?|y|y/o|yo|let|{any_of('years')})?\.?(?: old)?"
)
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"}
_OLD = 89
_SOLID = re.compile(r"(?<=[0-9%])\s*(?:of )?(?:solid|necrosis|necrotic|debris)$")
_YEAR_OF_LIFE = re.compile(r"([0-9]{2,3})(?:st|nd|rd|th) year(?: of life)?")


def _end(cell: RawCell, column: ColumnLayout) -> Reading:
    """The reason in a cell that may also hold the date: "migrated 23/10/24"."""
    unknown = _without_value(cell.text)
    if unknown is not None or not isinstance(cell.typed, str):
        return unknown or BLANK
    parted = parted_end(cell.text, column.codes)
    if parted is None:
        return refused("gives neither a known reason for the end of a stent nor its date")
    return Reading(rule="code", fills={"end_reason": parted[0]}) if parted[0] else BLANK


def _end_day(cell: RawCell, column: ColumnLayout, system: str) -> Reading:
    """The date in a cell that may also hold the reason."""
    if not isinstance(cell.typed, str):
        return read_dated(cell, column, system)
    try:
        _, rest = parted_end(cell.text, column.codes) or ("", "")
        return read_dated(RawCell(text=rest), column, system) if rest and not without_value(cell.text) else BLANK
    except Unread:
        return BLANK


def _stent_size(cell: RawCell, column: ColumnLayout) -> Reading:
    """A size in mm or in Fr, as it is written or as the layout says."""
    said = re.search(r"(?<![a-z])(?:mm|cm|french|fr|ch|f)(?![a-z])", bare(cell.text))
    unit = said[0] if said else column.unit
    if not unit and not is_blank(cell.text):
        return refused("does not say whether it is in mm or in Fr; give the unit in the layout")
    name = "diameter_mm" if unit.casefold() in ("mm", "cm") else "caliber_fr"
    return _number(cell, replace(column, unit=unit), STENTS.column(name))


def _plainer(cell: RawCell, plain: Column) -> RawCell:
    """The cell without what a column's own way of writing adds: "67 ans", "90+", "> 89"; ASA "III"."""
    text = bare(cell.text)
    if plain.name == "age_years" and (year := _YEAR_OF_LIFE.fullmatch(text)) and int(year[1]) > _OLD + 2:
        return cell._replace(text=str(_OLD + 1))
    if plain.name == "solid_percent":
        return cell._replace(text=_SOLID.sub("", text), value=cell.value) if _SOLID.search(text) else cell
    if plain.name == "asa_class":
        return cell._replace(text=_ROMAN.get(text.removeprefix("asa").strip(), cell.text))
    found = _AGE.fullmatch(text) if plain.name == "age_years" else None
    if found is None or not cell.text.strip() or text.isdecimal():
        return cell
    is_open = bool(found["above"] or found["more"])
    if is_open and int(found["years"]) < _OLD:
        return cell
    return cell._replace(text=str(max(int(found["years"]), _OLD + 1) if is_open else int(found["years"])))


def _number(cell: RawCell, column: ColumnLayout, plain: Column) -> Reading:
    found = _number_read(_plainer(cell, plain), column, plain)
    withheld = PRIVATE if plain.name == "age_years" and holds_old_age(cell.text) else 0
    if found.problem:
        return replace(refused(found.problem), withheld=withheld)
    if found.value is None:
        return Reading(rule=found.rule)
    rule = "number, marked as approximate" if found.approximate else found.rule
    question = "is about so much, and is kept as that number" if found.approximate else found.question
    return Reading(rule=rule, fills={plain.name: number_text(found.value)}, question=question, withheld=withheld)


def _number_read(cell: RawCell, column: ColumnLayout, plain: Column) -> Number:
    decimal = column.decimal or None
    if plain.unit == "minutes":
        return read_minutes(cell.typed, default_unit=column.unit or "min", decimal=decimal)
    if plain.unit in GRAMMAR_UNITS:
        unit = BORES.get(plain.name, GRAMMAR_UNITS[plain.unit])
        return read_number(cell.typed, unit=unit, default_unit=column.unit or None, decimal=decimal)
    return read_count(cell.typed) if plain.kind == "whole" else read_number(cell.typed, decimal=decimal)


_BOTH = {"drainage", "necrosectomy"}
_JOINED_TYPES = re.compile(rf"\s*[+&,]\s*|\s+(?:and|{any_of('and')})\s+")


def _both_in_one(text: str, words: dict[str, str]) -> str | None:
    """ "drainage + DEN": a drainage and a necrosectomy in one session; None for any other text.

    A slash stands for "or" as often as for "and": two codes in one cell, which are set aside.
    """
    parts = [words.get(part) for part in _JOINED_TYPES.split(folded(text))]
    return "drainage_and_necrosectomy" if len(parts) == len(_BOTH) and set(parts) == _BOTH else None


def _code(cell: RawCell, plain: Column, words: dict[str, str]) -> Reading:
    code = code_of(cell.text, plain.name, words) or (
        _both_in_one(cell.text, words) if plain.name == "session_type" else None
    )
    if code is not None:
        return Reading(rule="code", fills={plain.name: code})
    return _as_it_stands(cell, plain)


def _as_it_stands(cell: RawCell, plain: Column) -> Reading:
    """What the tidy form reads by itself: it is judged there, like a cell of a tidy registry."""
    unknown = _without_value(cell.text)
    if unknown is not None and not (unknown.rule == "blank" and "unknown" in plain.codes):
        return unknown
    if holds_date(cell.text):
        return replace(refused("holds a date, and the tidy form holds none", "CALENDAR_DATE"), withheld=DATE)
    return Reading(rule=plain.kind.replace("_", "/"), fills={plain.name: cell.text.strip()})


def _pseudonym(cell: RawCell, plain: Column, pseudonyms: Pseudonyms) -> Reading:
    unknown = _without_value(cell.text)
    if unknown is not None:
        return unknown
    return Reading(rule="pseudonym", fills={plain.name: pseudonyms.of(cell.text)}, withheld=PRIVATE)


def _without_value(text: str) -> Reading | None:
    try:
        rule = without_value(text)
    except Unread as unread:
        return refused(str(unread))
    return Reading(rule=rule) if rule else None


def _yield(cell: RawCell, table: str, column: ColumnLayout) -> Reading:
    found = read_quantity(
        cell.typed,
        default_unit=column.unit or None,
        decimal=column.decimal or None,
        ml_only=column.ml_only,
        words=column.codes,
    )
    dated = DATE if holds_date(cell.text) else 0
    kept = {} if dated or found.rule == "blank" else {"yield_as_written": cell.text.strip()}
    if found.problem:
        return replace(refused(found.problem), fills=kept, withheld=dated)
    fills = {
        "yield_low": _text(found.low),
        "yield_high": _text(found.high),
        "yield_unit": found.unit,
        "yield_approximate": _yes_no(found.approximate) if found.numeric else "",
        "yield_words": found.words,
        "yield_includes_lavage": _yes_no(found.includes_lavage),
        "lavage_in_ml": _text(found.lavage_ml),
        **kept,
    }
    names = {each.name for each in TABLES[table].columns}
    known = {name: text for name, text in fills.items() if text and name in names}
    asked = [each for each in found.question.split("; ") if not (column.unit_beside and each == NO_UNIT_GIVEN)]
    return Reading(rule=found.rule, fills=known, question="; ".join(asked), withheld=dated)


def _text(value: float | None) -> str:
    return "" if value is None else number_text(value)


def _yes_no(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _size(cell: RawCell, column: ColumnLayout) -> Reading:
    """One size; several, with + or ; between them, become children, one each."""
    pieces = [piece for piece in re.split(r"[+;\n]", cell.text) if piece.strip()]
    if len(pieces) < 2:
        return _one_size(cell, column)
    each = [_one_size(RawCell(text=piece), column) for piece in pieces]
    if not all(reading.fills for reading in each):
        return refused("holds several sizes that cannot be read whole")
    return Reading(rule="several sizes", children=tuple(reading.fills for reading in each))


def _one_size(cell: RawCell, column: ColumnLayout) -> Reading:
    found = read_axes(cell.typed, column.unit or None, decimal=column.decimal or None)
    if found.problem:
        return refused(found.problem)
    axes = {"long_mm": found.long_mm, "mid_mm": found.mid_mm, "short_mm": found.short_mm}
    fills = {name: number_text(value) for name, value in axes.items() if value is not None}
    question = "is about so much, and is kept as that size" if found.approximate and fills else found.question
    return Reading(rule=found.rule, fills=fills, question=question)


_AXES = ("long_mm", "mid_mm", "short_mm")
_SHORT_OF_AXES = "gives fewer axes than the other cells of its column, and is read as the longest first"


def with_the_axes_of_the_column(readings: Sequence[Reading], worded: Sequence[bool]) -> tuple[Reading, ...]:
    """Sizes as the cells beside them are: nothing left, in a word or as "0 x 0", is 0 in every axis that they give;
    fewer axes than most give are asked about."""
    counts = [sum(name in reading.fills for name in _AXES) for reading in readings]
    most = max(counts, default=0)
    usual = sum(count == most for count in counts) > sum(0 < count < most for count in counts)
    found = []
    for reading, count, by_word in zip(readings, counts, worded, strict=True):
        gone = set(reading.fills.values()) == {"0"}
        if gone and (by_word or count > 1):
            found.append(replace(reading, fills=dict.fromkeys(_AXES[:most], "0")))
        elif usual and 0 < count < most and not (gone or reading.question):
            found.append(replace(reading, question=_SHORT_OF_AXES))
        else:
            found.append(reading)
    return tuple(found)


def _event_of_a_row(cell: RawCell, column: ColumnLayout) -> Reading:
    """The event that a row of a table of events is about, kept and asked about where it is in doubt."""
    found = _several(cell, column, read_event)
    if found.problem or not found.says_something:
        return found
    if not found.children:
        return refused("says that nothing happened, in a table of events")
    return replace(found, rule="code", fills=dict(found.children[0]), children=(), note="")


def _several(
    cell: RawCell, column: ColumnLayout, read: Callable[[str, dict[str, str]], Reading], *, unknown_counts: bool = False
) -> Reading:
    unknown = _without_value(cell.text)
    if unknown is not None and not (unknown_counts and folded(cell.text) in ("?", "unk", "unknown")):
        return unknown
    found = read(cell.text, dict(column.codes))
    return replace(found, withheld=DATE) if holds_date(cell.text) else found


def _reference(cell: RawCell, target: str) -> Reading:
    unknown = _without_value(cell.text)
    return unknown or Reading(rule="reference", fills={target: folded(cell.text)})


def _numbered(part: str) -> str:
    """The number of a collection without its label: "K2", "coll. 2", "#2"."""
    found = re.fullmatch(r"(?:[^\W\d]{1,12}\.?\s?)?(?:#|no\.?|nr\.?)?\s?([0-9]{1,2})", part)
    return found[1] if found else part


def _collection(cell: RawCell, table: str, column: ColumnLayout) -> Reading:
    """Which of the patient's collections: what the export calls them, sites or numbers, joined by ";", or "all".

    In the table of collections, what the export calls this one.
    """
    if table == "collections":
        return _reference(cell, "collection")
    unknown = _without_value(cell.text)
    if unknown is not None:
        return unknown
    return Reading(rule="reference", fills={"collection": _meant(cell.text, column)})


def _meant(text: str, column: ColumnLayout) -> str:
    words = known_words("site", COLLECTIONS.column("site").codes, column.codes)
    whole, pieces = folded(text), [folded(part) for part in re.split(r"[+;,&]|\band\b", text) if part.strip()]
    for parts in ([whole], pieces):
        if column.own_ids.issuperset(parts) and not set(parts) & set(column.own_codes):
            return ";".join(dict.fromkeys(BY_ID + part for part in parts))
    parts = [_numbered(part) for part in pieces]
    if len(parts) == 1 and parts[0] in ("all", "both"):
        return "all"
    named = [part if part.isdecimal() else words.get(part, "") for part in parts]
    if not all(named):
        return BY_ID + whole if column.own_ids else NOT_UNDERSTOOD
    return ";".join(dict.fromkeys(named))
