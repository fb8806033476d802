"""What a heading and the cells under it suggest: a guess with its evidence, for a person to look at."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from statistics import median

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import Grid, RawCell, RawColumn, Reading
from necrostats.registry.export.compound_cells import unknown_instruments
from necrostats.registry.export.layout import ENDS, NUMBER, ColumnLayout, is_date
from necrostats.registry.export.mapped_sheets import headings as headings_in
from necrostats.registry.export.readers import Pseudonyms, readings_of
from necrostats.registry.findings import Verdict
from necrostats.registry.quantities import is_blank
from necrostats.registry.text import LANGUAGES, codes_in, common_codes, folded, headings, points_elsewhere
from necrostats.registry.tidy_cells import read_cell
from necrostats.registry.words import NO, YES

WHOLE, WITHIN, BEGINNING, COMPOUND = 3.0, 2.0, 1.2, 1.0
_SHORTEST_BEGINNING, _SHORTEST_COMPOUND = 4, 5
_LOOKED_AT, _SHOWN = 100, 3
_FIRST_ROWS = 12
_ENOUGH, _ENOUGH_IF_NAMED = 0.5, 0.2
_FREE = ("text", "id", "ids")
_SMALLEST_IN_MM = 25
_CLEARLY = 2  # more dates that the other order of day and month reads than the usual one
_LONGEST_WORD = 24


@lru_cache(maxsize=1)
def phrases() -> Mapping[str, Mapping[str, tuple[str, ...]]]:
    """The headings that units write: section → target → phrases as `plain_heading` makes them."""
    return {
        section: {target: tuple(map(plain_heading, listed.split(", "))) for target, listed in each.items()}
        for section, each in headings().items()
    }


@lru_cache(maxsize=4096)
def plain_heading(heading: str) -> str:
    """A heading folded, without what stands in brackets and without signs at its ends."""
    bare = re.sub(r"\s*[(\[][^)\]]*[)\]]", "", folded(heading))
    return re.sub(r"[\s_.:?/-]+", " ", bare or folded(heading)).strip()


def likeness(heading: str, target_phrases: Sequence[str]) -> float:
    """How well the best of some phrases fits a heading, from 0; the whole heading counts most, then more words."""
    name = plain_heading(heading)
    return max((_fit(name, phrase) for phrase in target_phrases), default=0.0)


def _fit(name: str, phrase: str) -> float:
    if name == phrase:
        return WHOLE
    if f" {phrase} " in f" {name} ":
        return WITHIN + 0.1 * len(phrase.split())
    if len(phrase) >= _SHORTEST_BEGINNING and f" {phrase}" in f" {name}":
        return BEGINNING
    joined = phrase.replace(" ", "")
    return COMPOUND if len(joined) >= _SHORTEST_COMPOUND and joined in name.replace(" ", "") else 0.0


@dataclass(frozen=True, kw_only=True)
class Reader:
    """How the cells of an export are to be read while guessing."""

    day_first: bool | None = True
    decimal: str = ""
    language: str = ""


@dataclass(frozen=True, kw_only=True)
class Guess:
    """A heading that may become a target; `filled` cells that hold something, `read` of them read as the target.

    `score` grows with the likeness of the heading and the share read. `examples` are cells that may be shown, `unread`
    words in a column of codes that stand for none yet, `opposite` answers that mean the opposite of what they say.
    """

    heading: str
    table: str
    target: str
    unit: str = ""
    day_first: bool | None = None
    score: float = 0.0
    filled: int = 0
    read: int = 0
    examples: tuple[str, ...] = field(default=(), repr=False)
    opposite: tuple[tuple[str, str], ...] = ()
    unread: tuple[str, ...] = field(default=(), repr=False)

    @property
    def evidence(self) -> str:
        """Why, in a few words."""
        if not self.filled:
            return "from the heading; no cell is filled"
        shown = ", ".join(f'"{each}"' for each in self.examples)
        return f"{self.read} of {self.filled} different cells read so{': ' + shown if shown else ''}"


def guesses(
    heading: str, column: RawColumn, tables: Sequence[str], reader: Reader, *, named: str = ""
) -> Iterator[Guess]:
    """Every target of some tables that a column may become. `named`: the heading without what all of a group share."""
    cells = filled_cells(column)
    for section in tables:
        table = "patients" if section == "deaths" else section
        for target, target_phrases in phrases()[section].items():
            alike = likeness(named or heading, target_phrases)
            if alike and (found := _by_cells(heading, cells, table, target, alike, reader)):
                yield found


def filled_cells(column: RawColumn) -> list[RawCell]:
    """Different cells that hold something, at most 100."""
    used = [column.cells[each] for each in dict.fromkeys(column.which.tolist())]
    return [cell for cell in used if not is_blank(cell.text)][:_LOOKED_AT]


def _by_cells(
    heading: str, cells: Sequence[RawCell], table: str, target: str, alike: float, reader: Reader
) -> Guess | None:
    unit = unit_of(heading, target, cells)
    codes = _codes(table, target, reader.language)
    layout = ColumnLayout(heading=heading, to=target, unit=unit, decimal=reader.decimal, codes=codes)
    dated = is_date(table, target)
    orders = (reader.day_first, not reader.day_first) if dated or target == "end" else (reader.day_first,)
    tried = [_tried(cells, table, target, replace(layout, day_first=order)) for order in orders]
    own, *others = tried
    readings, sound = others[0] if others and sum(others[0][1]) >= sum(own[1]) + _CLEARLY else own
    if target == "collections":
        sound = [good and not cell.text.strip().isdecimal() for good, cell in zip(sound, cells, strict=True)]
    share = sum(sound) / len(sound) if sound else 1.0
    if share < (_ENOUGH_IF_NAMED if alike >= WITHIN and not dated else _ENOUGH):
        return None
    day_first = reader.day_first if sound is own[1] else not reader.day_first
    free = target in TABLES[table].names and TABLES[table].column(target).kind in _FREE
    shown = [
        cell.text.strip()
        for cell, each, good in zip(cells, readings, sound, strict=True)
        if good and not free and not each.withheld and not dated and len(cell.text) <= 30
    ]
    return Guess(
        heading=heading,
        table=table,
        target=target,
        unit=unit,
        day_first=day_first if dated or target == "end" else None,
        score=alike + (0.5 if free else share),
        filled=len(cells),
        read=sum(sound),
        examples=tuple(shown[:_SHOWN]),
        opposite=_opposite(heading, cells, target, codes),
        unread=tuple(_unread(cells, sound, table, target, codes)),
    )


def _opposite(
    heading: str, cells: Sequence[RawCell], target: str, codes: Mapping[str, str]
) -> tuple[tuple[str, str], ...]:
    """Plain answers in a column of symptoms, turned round: yes there are some is no, not free of them."""
    if target != "symptom_free" or not asks_the_opposite(heading):
        return ()
    answers = {**dict.fromkeys(YES, "yes"), **dict.fromkeys(NO, "no"), **common_codes("yes_no")}
    plain = {word for language in LANGUAGES for word in codes_in(language, "yes_no")}
    answers |= {word: code for word, code in codes.items() if word in plain}
    written = dict.fromkeys(folded(cell.text) for cell in cells)
    return tuple((word, "no" if answers[word] == "yes" else "yes") for word in written if word in answers)


def _unread(
    cells: Sequence[RawCell], sound: Sequence[bool], table: str, target: str, codes: Mapping[str, str]
) -> Iterator[str]:
    coded = target in TABLES[table].names and TABLES[table].column(target).kind == "code"
    bad = [cell.text.strip() for cell, good in zip(cells, sound, strict=True) if not good]
    if coded:
        yield from (text for text in bad if _is_word(text))
    elif target == "instruments":
        yield from dict.fromkeys(name for text in bad for name in unknown_instruments(text, codes))


def _is_word(text: str) -> bool:
    """Whether a text is a short word, rather than a mark, a number or a sentence."""
    return 0 < len(text) <= _LONGEST_WORD and bool(re.search(r"[^\W\d]", text)) and not points_elsewhere(text)


def _tried(
    cells: Sequence[RawCell], table: str, target: str, layout: ColumnLayout
) -> tuple[tuple[Reading, ...], list[bool]]:
    readings = _read(cells, table, target, layout)
    return readings, [_is_sound(each, table) for each in readings]


def _read(cells: Sequence[RawCell], table: str, target: str, layout: ColumnLayout) -> tuple[Reading, ...]:
    if target != "end":
        return readings_of(cells, table, layout, "1900", Pseudonyms())
    parts = (replace(layout, to=to, of_end=True) for to in ENDS[::-1])
    halves = [readings_of(cells, table, part, "1900", Pseudonyms()) for part in parts]
    return tuple(reason if reason.says_something else day for reason, day in zip(*halves, strict=True))


def _codes(table: str, target: str, language: str) -> Mapping[str, str]:
    coded = {"instruments": "instrument_class", "event": "event_type", "stents": "stent_type", "stent": "stent_type"}
    name = coded.get(target, target)
    kind = TABLES[table].column(target).kind if target in TABLES[table].names else "code"
    if kind == "yes_no":
        return {**codes_in(language, "yes_no"), **codes_in(language, name)}
    return codes_in(language, name)


def header_rows_of(grid: Grid) -> tuple[int, ...]:
    """The row among the first that holds the most short texts, with the row above it if that has merged headings and
    two headings of the row would be the same without it.
    """
    counted = Counter()
    for position in range(min(_FIRST_ROWS, len(grid.rows))):
        cells = [column.cells[column.which[position]] for column in grid.columns]
        counted[int(grid.rows[position])] = len({cell.text for cell in cells if _like_a_heading(cell)})
    row = max(counted, key=lambda number: (counted[number], -number), default=1)
    merged = any(first == row - 1 and last > start for first, start, _, last in grid.merges)
    named = [folded(each) for each in headings_in(grid, (row,)) if each]
    return (row - 1, row) if merged and len(set(named)) < len(named) else (row,)


def _like_a_heading(cell: RawCell) -> bool:
    text = cell.text.strip()
    return cell.value is None and 0 < len(text) <= 40 and not re.fullmatch(r"[\W\d_]+", text)


_SYMPTOMS = re.compile(r"s[iy]mpt|beschwerd")
_FREE_OF_THEM = re.compile(r"free|frei|libre|liber|sans|sin |senza|ohne|\bno\b|a[sz]s?[iy]mpt")


def asks_the_opposite(heading: str) -> bool:
    """Whether a column that is to say "free of symptoms" seems by its heading to say that there are some."""
    name = plain_heading(heading)
    return bool(_SYMPTOMS.search(name)) and not _FREE_OF_THEM.search(name)


def _is_sound(reading: Reading, table: str) -> bool:
    """Whether a cell gave values that the codebook takes."""
    if reading.problem or not reading.says_something:
        return False
    columns = {column.name: column for column in TABLES[table].all_columns}
    read = [read_cell(text, columns[name]) for name, text in reading.fills.items() if name in columns]
    return not any(isinstance(each, Verdict) and each.severity == "stops" for each in read)


_OF_SEVERAL_UNITS = ("size", "yield", "stent_size", "volume_ml")


def meant_by(heading: str, table: str) -> tuple[tuple[str, str], ...]:
    """The targets, with the unit if it names one, of which a whole heading, but for its number, is a phrase."""
    bare = plain_heading(re.sub(r"\S*\{n\}\S*", " ", heading))
    named = [target for target, listed in phrases()[table].items() if bare in listed]
    return tuple((target, _unit_written(heading, target)) for target in named)


def _unit_written(heading: str, target: str) -> str:
    return unit_of(heading, target, ()) if target in _OF_SEVERAL_UNITS and unit_named(heading) else ""


def unit_named(heading: str) -> str:
    """The unit that a heading names, as written; blank if it names none."""
    found = re.search(r"(?<![a-z])(mm|cm|ml|cc|l|g|min|fr|ch)(?![a-z])", folded(heading))
    return found[1] if found else ""


def unit_of(heading: str, target: str, cells: Sequence[RawCell]) -> str:
    """The unit that a heading names, or that the numbers of a size suggest."""
    named = unit_named(heading)
    if target == "size":
        return named if named in ("mm", "cm") else _size_unit(cells)
    if target == "yield":
        return named if named in ("ml", "cc", "l", "g") else "ml"
    if target == "stent_size":
        return {"mm": "mm", "cm": "cm", "fr": "Fr", "ch": "Fr"}.get(named, "")
    if target == "volume_ml":
        return named if named in ("ml", "cc", "l") else ""
    return ""


def _size_unit(cells: Sequence[RawCell]) -> str:
    numbers = [max(map(float, found)) for cell in cells if (found := re.findall(r"[0-9]+", cell.text[:40]))]
    return "cm" if numbers and median(numbers) < _SMALLEST_IN_MM else "mm"


def assigned(candidates: Sequence[Guess]) -> list[Guess]:
    """The best guesses, each heading once and each target of a table once, in the order of the candidates."""
    chosen: list[Guess] = []
    for guess in sorted(candidates, key=lambda each: -each.score):
        taken = {each.heading for each in chosen}, {(each.table, each.target) for each in chosen}
        if guess.heading not in taken[0] and (guess.table, guess.target) not in taken[1]:
            chosen.append(guess)
    return [each for each in candidates if each in chosen]


_ORDINAL = r"(?:st|nd|rd|th|er|ère|ere|re|e|º|ª|°|\.)(?=\s|$)"
_NUMBER = rf"(?P<number>[0-9]{{1,2}})(?P<ordinal>{_ORDINAL})?(?![0-9+])"
_NUMBERED = re.compile(rf"(?P<before>.*?){_NUMBER}(?P<after>.*)", re.DOTALL)
_BEYOND = re.compile(r".*[0-9]{1,2}\s*(?:\+|and more|onwards|ff\b|y más|et plus|e oltre).*", re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class Group:
    """`headings` with {n} for the number; `stem` is the word beside it; `written` (heading, number) → as it stands."""

    stem: str
    numbers: tuple[int, ...]
    headings: tuple[str, ...]
    written: Mapping[tuple[str, int], str]

    def every_heading(self) -> Iterator[str]:
        """Every heading of the group, as it stands."""
        yield from (self.written[form, number] for form in self.headings for number in self.numbers)

    def own_part(self, heading: str) -> str:
        """A heading of the group without what all of them share."""
        bare = heading.replace(NUMBER, " ")
        return re.sub(rf"(?<!\w){re.escape(self.stem)}(?!\w)", " ", bare).strip(" _-.:#") if self.stem else bare.strip()


def groups_of(shown: Sequence[str]) -> list[Group]:
    """The groups among some headings, each with at least two numbers, in order of appearance."""
    forms: dict[str, dict[int, str]] = {}
    first: dict[str, str] = {}
    for heading in shown:
        if (found := _NUMBERED.fullmatch(heading)) and not _BEYOND.fullmatch(heading):
            after = f" {found['after'].lstrip()}" if found["ordinal"] else found["after"]
            form = f"{found['before']}{NUMBER}{after}"
            form = first.setdefault(folded(form), form)
            forms.setdefault(form, {}).setdefault(int(found["number"]), heading)
    by_stem: dict[str, dict[str, dict[int, str]]] = {}
    for form, numbered in forms.items():
        if len(numbered) > 1 and min(numbered) >= 1:
            by_stem.setdefault(folded(_stem(form)), {})[form] = numbered
    return [_group(each) for each in by_stem.values()]


def _stem(form: str) -> str:
    """The word before the number, or else the one after it."""
    before, _, after = form.partition(NUMBER)
    words = re.findall(r"[^\W\d_]+", before)
    return words[-1] if words else next(iter(re.findall(r"[^\W\d_]+", after)), "")


def _group(forms: Mapping[str, Mapping[int, str]]) -> Group:
    """The forms that have the numbers most of them have."""
    counted = Counter(tuple(sorted(numbered)) for numbered in forms.values())
    numbers = max(counted, key=lambda each: (counted[each], len(each)))
    kept = [form for form, numbered in forms.items() if set(numbers) <= set(numbered)]
    written = {(form, number): forms[form][number] for form in kept for number in numbers}
    return Group(stem=_stem(kept[0]), numbers=numbers, headings=tuple(kept), written=written)


def beyond(shown: Sequence[str], stem: str) -> str:
    """The heading of the column with the rest of a group: "DEN8+"."""
    return next((each for each in shown if folded(each).startswith(folded(stem)) and _BEYOND.fullmatch(each)), "")
