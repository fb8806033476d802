"""From a mapped column to the function that reads its cells; each different cell is read once.

Cells that hold several things: instruments in order, an event, collections; read whole or not at all.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from necrostats.registry.codebook import ADVERSE_EVENTS, COLLECTIONS, INSTRUMENT_USES, TABLES, Column
from necrostats.registry.days import read_date
from necrostats.registry.export.cells import RawCell, letters_of
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.export.readings import BLANK, DATE, NO_RESULT, PRIVATE, Reading, number_text, refused
from necrostats.registry.export.redaction import holds_date, holds_old_age
from necrostats.registry.export.targets import GRAMMAR_UNITS, is_date
from necrostats.registry.export.words import NO_EVENT, known_words
from necrostats.registry.folding import folded
from necrostats.registry.languages import listed
from necrostats.registry.quantities import Number, read_axes, read_count, read_minutes, read_number, read_quantity
from necrostats.registry.quantities.cells import LONGEST, Unread, plain, without_value
from necrostats.registry.quantities.cells import plain as bare

Words = Mapping[str, str]


def _any_of(section: str) -> str:
    return "|".join(re.escape(word) for word in sorted(listed(section), key=len, reverse=True))


_THEN = re.compile(rf"\s*(?:->|→|;|,?\s*\b(?:then|followed by|{_any_of('then')})\b)\s*")
_AND = re.compile(rf"\s*(?:[+&,/]|\b(?:and|with|{_any_of('with')})(?=\s))\s*")
_TIMES = re.compile(r"(?:\(?x\s?([0-9]{1,2})\)?|([0-9]{1,2})\s?x)")
_PIECE = re.compile(r"[^\W_]+(?:[-'][^\W_]+)*|\?+|[^\w\s]", re.UNICODE)
_NOT = frozenset(("no", "not", "without", "nil", "never", "denies", "non", *map(folded, listed("negation"))))
_NO = frozenset(("no", "none", "nil", "negative", "nein", "non", "keine", "aucun", "ninguno", "nessuno"))
_SIGNS = frozenset(",;:.-")
_ELIDED = re.compile(r"\b(?:d|l|dell|all)'")
_BUT = frozenset((",", ";", ".", "but", "aber", "mais", "pero", "ma"))
_PERHAPS = frozenset(
    (
        "possible",
        "possibly",
        "probable",
        "probably",
        "suspected",
        "query",
        "likely",
        "maybe",
        *map(folded, listed("perhaps")),
    )
)
_REMARKS = frozenset(
    (
        "a",
        "an",
        "and",
        "the",
        "at",
        "of",
        "on",
        "in",
        "to",
        "by",
        "from",
        "after",
        "during",
        "then",
        "with",
        "minor",
        "mild",
        "moderate",
        "severe",
        "small",
        "large",
        "major",
        "stopped",
        "controlled",
        "settled",
        "resolved",
        "spontaneously",
        "self",
        "limiting",
        "limited",
        "self-limiting",
        "self-limited",
        "clip",
        "clips",
        "clipped",
        "treated",
        "transfused",
        "transfusion",
        "adrenaline",
        "epinephrine",
        "endoscopically",
        "conservatively",
        "managed",
        "conservative",
        "post",
        "procedure",
        "intraprocedural",
        "delayed",
        "early",
        "late",
        "immediate",
        "brief",
        "transient",
        "seen",
        "noted",
        "observed",
        "reported",
        *map(folded, listed("remarks")),
    )
)
_MATTER = re.compile(
    r"\b(?:wons?|wopns?|walled[- ]off(?: pancreatic)?(?: necrosis)?|necrosis|collections?|pancreatic)\b"
)


def read_instruments(text: str, own: Words) -> Reading:
    """ "snare+net, then H2O2": a use of each class in order. A class named twice, or "x2", is one use, asked about."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of instruments")
    words = known_words("instrument_class", INSTRUMENT_USES.column("instrument_class").codes, own)
    if folded(bare) in words:
        classes, question = [words[folded(bare)]], ""
    else:
        parts = [part for step in _THEN.split(bare) for part in _AND.split(step)]
        counted = [_without_count(part) for part in parts if part.strip(" .")]
        unknown = [name for name, _ in counted if folded(name) not in words]
        if unknown or not counted:
            return refused("names an instrument that is neither in the codebook nor in the layout")
        classes = [words[folded(name)] for name, _ in counted]
        question = "counts an instrument, which is one use" if any(times for _, times in counted) else ""
    named = [each for each in classes if each]
    once = list(dict.fromkeys(named))
    if "unknown" in once:
        question = "says that an instrument is not known"
    if len(once) < len(named):
        question = question or "names an instrument class twice, which is one use"
    uses = tuple({"instrument_class": each, "use_order": str(order)} for order, each in enumerate(once, start=1))
    return Reading(rule="instruments", children=uses, question=question) if uses else BLANK


def _without_count(part: str) -> tuple[str, bool]:
    bare = _TIMES.sub("", part, count=1).strip(" .")
    return (bare, True) if bare != part.strip(" .") and bare else (part.strip(" ."), False)


def read_event(text: str, own: Words) -> Reading:
    """ "bled, stopped": one event, to be graded; "nil": somebody looked and there was none."""
    bare = folded(plain(text).strip(" ."))
    words = known_words("event_type", ADVERSE_EVENTS.column("event_type").codes, own)
    if len(bare) > LONGEST:
        return refused("is too long to be one event")
    if own.get(bare) == "":
        return BLANK
    if bare in NO_EVENT:
        return Reading(rule="no event", fills={"events_checked": "yes"})
    pieces = _PIECE.findall(_ELIDED.sub("", bare))
    found, rest, denied = _events_in(pieces, words)
    if pieces[-1:] and pieces[-1] in _NO and not denied:
        found, denied, rest = set(), found, rest - _NO
    if denied and found:
        return refused("says of one event that it was, and of another that it was not")
    if denied and not (rest - _REMARKS - {"or", "and", *_SIGNS}):
        return Reading(rule="no event", fills={"events_checked": "yes"})
    if len(found) != 1:
        problem = "names more than one event" if found else "names no event that is on the list"
        return refused(problem)
    return _one_event(found.pop(), rest)


def _one_event(event: str, rest: set[str]) -> Reading:
    doubt = bool(rest & _PERHAPS) or any(word.startswith("?") for word in rest)
    signs = {word for word in rest if not word[0].isalnum()}
    more = rest - _REMARKS - _PERHAPS - signs
    question = "is in doubt as written" if doubt else "holds more words than those that were read" if more else ""
    return Reading(
        rule="event",
        fills={"events_checked": "yes"},
        children=({"event_type": event},),
        question=question,
        note="" if question else "was read to an event with its type and day only",
    )


def _events_in(pieces: list[str], words: Words) -> tuple[set[str], set[str], set[str]]:
    """The events named, the words left over, and the events denied."""
    found, rest, denied = set(), set(), set()
    place, negative = 0, False
    while place < len(pieces):
        length, code = _longest(pieces, place, words)
        if length:
            (denied if negative else found).add(code)
            place += length
            continue
        piece = pieces[place]
        negative = piece in _NOT or (negative and piece not in _BUT)
        rest.update({piece} - _NOT)
        place += 1
    return found - {""}, rest, denied - {""}


def _longest(pieces: list[str], place: int, words: Words) -> tuple[int, str]:
    for length in range(min(5, len(pieces) - place), 0, -1):
        phrase = " ".join(pieces[place : place + length])
        if phrase in words:
            return length, words[phrase]
    return 0, ""


def read_collections(text: str, own: Words) -> Reading:
    """ "WON x2 (lesser sac + L paracolic)": a row a collection, with its site where one is named."""
    bare = plain(text)
    if len(bare) > LONGEST:
        return refused("is too long to be a list of collections")
    words = known_words("site", COLLECTIONS.column("site").codes, own)
    rest = _MATTER.sub(" ", bare)
    counts = [int(first or second) for first, second in _TIMES.findall(rest)]
    rest = _TIMES.sub(" ", rest)
    lone = re.fullmatch(r"\s*([0-9]{1,2})\b(.*)", rest, re.DOTALL)
    if lone and not counts:
        counts, rest = [int(lone[1])], lone[2]
    if len(counts) > 1 or any(not 1 <= count <= 9 for count in counts):
        return refused("does not say how many collections there are")
    sites = _sites(rest, words)
    if sites is None:
        return refused("names a site that is neither in the codebook nor in the layout")
    count = counts[0] if counts else max(len(sites), 1)
    if sites and len(sites) != count:
        return refused("gives another number of collections than it names")
    named = [*sites, *[""] * (count - len(sites))]
    return Reading(rule="collections", children=tuple({"site": site} for site in named))


def _sites(rest: str, words: Words) -> list[str] | None:
    whole = folded(rest.strip(" ():.;-"))
    if not whole:
        return []
    if whole in words:
        return [words[whole]]
    parts = [folded(part.strip(" ().;-")) for part in _AND.split(re.sub("[;:()]", ",", rest))]
    named = [part for part in parts if part]
    return [words[part] for part in named] if all(part in words for part in named) else None


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
    reader = _reader(table, column, date_system or column.system, pseudonyms)
    if is_date(table, column.to):
        return tuple(_guarded(cell, column, reader) for cell in cells)
    return tuple(_without_date(cell, _guarded(cell, column, reader)) for cell in cells)


def _without_date(cell: RawCell, reading: Reading) -> Reading:
    """The reading of a cell that should hold no date; one that does is not shown anywhere."""
    return replace(reading, withheld=DATE) if not reading.withheld and holds_date(cell.text) else reading


def _guarded(cell: RawCell, column: ColumnLayout, reader: Reader) -> Reading:
    if cell.no_result:
        return NO_RESULT
    text = cell.text.strip()
    if not text or column.codes.get(folded(text)) == "":
        return BLANK
    return reader(cell)


def _reader(table: str, column: ColumnLayout, system: str, pseudonyms: Pseudonyms) -> Reader:
    special: dict[str, Reader] = {
        "yield": lambda cell: _yield(cell, table, column),
        "size": lambda cell: _size(cell, column),
        "instruments": lambda cell: _several(cell, column, read_instruments, unknown_counts=True),
        "event": lambda cell: _several(cell, column, read_event),
        "collections": lambda cell: _several(cell, column, read_collections),
        "collection": lambda cell: _collection(cell, column),
        "session": _session,
    }
    if column.to in special:
        return special[column.to]
    if is_date(table, column.to) and not column.days:
        return lambda cell: _date(cell, column, system)
    plain = TABLES[table].column(column.to)
    if plain.kind in ("number", "whole"):
        return lambda cell: _number(cell, column, plain)
    if plain.kind in ("code", "yes_no"):
        words = known_words(plain.name, plain.codes or ("yes", "no"), column.codes)
        return lambda cell: _code(cell, plain, words)
    if column.pseudonyms:
        return lambda cell: _pseudonym(cell, plain, pseudonyms)
    return lambda cell: _as_it_stands(cell, plain)


def _date(cell: RawCell, column: ColumnLayout, system: str) -> Reading:
    found = read_date(cell.typed, day_first=column.day_first, date_system=system or None, shown_as=cell.shown_as)
    if found.problem:
        return replace(refused(found.problem, "NOT_A_DATE"), withheld=DATE)
    if not found.known:
        return Reading(rule=found.rule)
    return Reading(rule=found.rule, date=found, question=found.question, withheld=DATE)


_AGE = re.compile(
    rf"(?P<above>>=?|over|above|{_any_of('above')})?\s*(?P<years>[0-9]{{1,3}})\s*(?P<more>\+)?\s*"
    rf"(?:years?|yrs?|y|y/o|yo|{_any_of('years')})?\.?(?: old)?"
)
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"}
_OLD = 89


def _plainer(cell: RawCell, plain: Column) -> RawCell:
    """The cell without what a column's own way of writing adds: "67 ans", "90+", "> 89"; ASA "III"."""
    text = bare(cell.text)
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
    return Reading(rule=rule, fills={plain.name: number_text(found.value)}, question=found.question, withheld=withheld)


def _number_read(cell: RawCell, column: ColumnLayout, plain: Column) -> Number:
    decimal = column.decimal or None
    if plain.unit == "minutes":
        return read_minutes(cell.typed, default_unit=column.unit or "min", decimal=decimal)
    if plain.unit in GRAMMAR_UNITS:
        return read_number(
            cell.typed, unit=GRAMMAR_UNITS[plain.unit], default_unit=column.unit or None, decimal=decimal
        )
    return read_count(cell.typed) if plain.kind == "whole" else read_number(cell.typed, decimal=decimal)


def _code(cell: RawCell, plain: Column, words: dict[str, str]) -> Reading:
    code = words.get(folded(cell.text))
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
    return Reading(rule=found.rule, fills=known, question=found.question, withheld=dated)


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
    return Reading(rule=found.rule, fills=fills, question=found.question)


def _several(
    cell: RawCell, column: ColumnLayout, read: Callable[[str, dict[str, str]], Reading], *, unknown_counts: bool = False
) -> Reading:
    unknown = _without_value(cell.text)
    if unknown is not None and not (unknown_counts and folded(cell.text) in ("?", "unk", "unknown")):
        return unknown
    found = read(cell.text, dict(column.codes))
    return replace(found, withheld=DATE) if holds_date(cell.text) else found


def _session(cell: RawCell) -> Reading:
    unknown = _without_value(cell.text)
    return unknown or Reading(rule="reference", fills={"session": folded(cell.text)})


def _collection(cell: RawCell, column: ColumnLayout) -> Reading:
    """Which of the patient's collections: sites or numbers, joined by ";", or "all"."""
    unknown = _without_value(cell.text)
    if unknown is not None:
        return unknown
    words = known_words("site", COLLECTIONS.column("site").codes, column.codes)
    parts = [folded(part) for part in re.split(r"[+;,&]|\band\b", cell.text) if part.strip()]
    if len(parts) == 1 and parts[0] in ("all", "both"):
        return Reading(rule="reference", fills={"collection": "all"})
    named = [part if part.isdecimal() else words.get(part, "") for part in parts]
    if not all(named):
        return refused("names a site that is neither in the codebook nor in the layout")
    return Reading(rule="reference", fills={"collection": ";".join(dict.fromkeys(named))})
