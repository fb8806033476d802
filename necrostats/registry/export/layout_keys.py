"""Keys of a layout taken one by one, of the right type and none left over; its words, codes and constants."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

import pandas as pd

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.export.layout import (
    ENDS,
    NUMBER,
    Layout,
    RowsLayout,
    SheetLayout,
    Where,
    code_column,
    is_date,
    plain_columns,
    targets,
)
from necrostats.registry.findings import Verdict, findings_frame
from necrostats.registry.quantities.vocabulary import SIZES
from necrostats.registry.text import codes_in, folded, hint
from necrostats.registry.tidy_cells import read_cell

_SHOWN = 60
_NOTHING = object()


class Problems:
    """What is wrong with a layout, with the path of the key and the value as written."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._found: list[pd.DataFrame] = []

    def __len__(self) -> int:
        return len(self._found)

    def add(self, place: str, problem: str, remedy: str, value: object = "", row: int | None = None) -> None:
        """One problem more."""
        shown = value if isinstance(value, str) else _shown(value)
        self._found.append(
            findings_frame(
                row=[pd.NA if row is None else row],
                severity="stops",
                scope="table",
                rule="LAYOUT",
                file=self._file,
                column=place,
                value=shown[:_SHOWN],
                problem=problem,
                remedy=remedy,
            )
        )

    def findings(self) -> pd.DataFrame:
        """All of them, in the order in which they were found."""
        return pd.concat(self._found, ignore_index=True)


def _shown(value: object) -> str:
    return {True: "true", False: "false"}.get(value, str(value)) if isinstance(value, bool) else str(value)


class Keys:
    """One table of a layout. Each key is taken once; `done` says which were not known."""

    def __init__(self, content: Mapping[str, Any], place: str, problems: Problems) -> None:
        self.content = content
        self._known: list[str] = []
        self.place = place
        self.problems = problems

    def at(self, key: str) -> str:
        """The path of a key."""
        return f"{self.place}.{key}" if self.place else key

    def take(self, key: str) -> Any:
        """The value of a key as it stands."""
        self._known.append(key)
        return self.content.get(key, _NOTHING)

    def wrong(self, key: str, value: object, wanted: str) -> None:
        """The problem that a value is not what was wanted."""
        self.problems.add(self.at(key), f"is not {wanted}", f"Write {wanted}, or leave the key out.", value)

    def text(self, key: str, default: str = "") -> str:
        """A text."""
        value = self.take(key)
        if value is _NOTHING:
            return default
        if not isinstance(value, str):
            self.wrong(key, value, "a text in quotation marks")
            return default
        return value

    def choice(self, key: str, choices: Collection[str], default: str = "") -> str:
        """A text off a list."""
        value = self.text(key, default)
        if value == default or value in choices:
            return value
        listed = ", ".join(f'"{each}"' for each in choices)
        self.problems.add(self.at(key), f"is not on the list{hint(value, choices)}", f"Write one of: {listed}.", value)
        return default

    def flag(self, key: str, default: bool = False) -> bool:
        """true or false."""
        value = self.take(key)
        if value is _NOTHING:
            return default
        if not isinstance(value, bool):
            self.wrong(key, value, "true or false, without quotation marks")
            return default
        return value

    def day(self, key: str) -> date | None:
        """A date as TOML writes it."""
        value = self.take(key)
        if value is _NOTHING:
            return None
        if isinstance(value, datetime) or not isinstance(value, date):
            self.wrong(key, value, "a date such as 2026-09-30, without quotation marks")
            return None
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """One text, or a list of texts."""
        value = self.take(key)
        if value is _NOTHING:
            return ()
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list) or not all(isinstance(each, str) and each.strip() for each in listed):
            self.wrong(key, value, "a list of texts")
            return ()
        return tuple(listed)

    def numbers(self, key: str, most: int) -> tuple[int, ...]:
        """A whole number, a list of them, or "1-7"; each from 1 to `most`, none twice, in ascending order."""
        value = self.take(key)
        if value is _NOTHING:
            return ()
        listed = _span(value, most) if isinstance(value, str) else [value] if isinstance(value, int) else value
        sound = (
            isinstance(listed, list)
            and listed
            and all(isinstance(each, int) and not isinstance(each, bool) and 1 <= each <= most for each in listed)
        )
        if not sound or listed != sorted(set(listed)):
            self.wrong(key, value, f'whole numbers from 1 to {most}, such as [1, 2, 3] or "1-3"')
            return ()
        return tuple(listed)

    def table(self, key: str) -> Mapping[str, Any]:
        """A table, empty if there is none."""
        value = self.take(key)
        if value is _NOTHING:
            return {}
        if not isinstance(value, dict):
            self.wrong(key, value, f"a table: [{self.at(key)}] with keys under it")
            return {}
        return value

    def keys(self, key: str) -> Keys:
        """A table as Keys."""
        return Keys(self.table(key), self.at(key), self.problems)

    def tables(self, key: str) -> Iterator[Keys]:
        """A list of tables, each as Keys, numbered from 1."""
        value = self.take(key)
        if value is _NOTHING:
            return
        if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
            self.wrong(key, value, f"a list of tables: [[{self.at(key)}]]")
            return
        for number, each in enumerate(value, start=1):
            yield Keys(each, f"{self.at(key)}[{number}]", self.problems)

    def done(self) -> None:
        """Every key that nothing asked for is a problem."""
        for key, value in self.content.items():
            if key not in self._known:
                self.problems.add(
                    self.at(key),
                    f"is no key of a layout here{hint(key, self._known)}",
                    f"The keys here are: {', '.join(self._known)}.",
                    "" if isinstance(value, dict | list) else value,
                )


def _span(text: str, most: int) -> list[int] | None:
    first, _, last = text.replace("–", "-").partition("-")
    if not (first.strip().isdecimal() and last.strip().isdecimal()):
        return None
    low, high = int(first[:9]), int(last[:9])
    return list(range(low, high + 1)) if 1 <= low <= high <= most else None


YES_NO = ("yes", "no")
LAST_RECORD, DATA_LOCK = "last_record", "data_lock"
_DAY_FILLS = {("patients", "last_contact_day"): (LAST_RECORD, DATA_LOCK)}


def synonyms(keys: Keys, languages: tuple[str, ...] = ()) -> dict[str, dict[str, str]]:
    """[synonyms]: column, or target, → folded word → code, beside the words of the languages that the layout names."""
    coded, answered = (
        sorted({column.name for column in _every_column() if column.kind == kind}) for kind in ("code", "yes_no")
    )
    known = ["yes_no", *coded, *answered, *(target for target in CODED_WORDS if target not in coded)]
    own = {name: codes_of(keys.keys(name), choices_of(name)) for name in known}
    keys.done()
    found = {name: merged(*(codes_in(language, name) for language in languages), own[name]) for name in known}
    return {name: words for name, words in found.items() if words}


def choices_of(name: str) -> tuple[str, ...]:
    """The codes that words of a column, of a target, or of "yes_no" can stand for."""
    name = CODED_WORDS.get(name, name)
    if name == "yes_no" or any(column.name == name and column.kind == "yes_no" for column in _every_column()):
        return YES_NO
    if name == "yield_words":
        return SIZES
    column = code_column(name)
    return column.codes if column else ()


def _every_column() -> Iterator[Column]:
    return (column for table in TABLES.values() for column in table.columns)


def codes_of(keys: Keys, choices: tuple[str, ...]) -> dict[str, str]:
    """A table of words → codes; every code must be on the list, or blank."""
    listed = {folded(code): code for code in choices}
    found = {}
    for word in list(keys.content):
        code = folded(keys.text(word))
        if code and code not in listed:
            problem, remedy = f"is not on the list{hint(code, choices)}", _one_of(choices)
            keys.problems.add(keys.at(f'"{word}"'), problem, remedy, code)
        else:
            found[folded(word)] = listed.get(code, "")
    return found


def _one_of(choices: tuple[str, ...]) -> str:
    listed = f"one of: {', '.join(choices)}; or " if choices else ""
    return f'Write {listed}"" for a word that says that nothing is known.'


def numbers_of(keys: Keys) -> dict[str, str]:
    """A table of words → whole numbers that they stand for, in the unit of the column: "no collection" = 0."""
    found = {}
    for word in list(keys.content):
        value = keys.take(word)
        if isinstance(value, bool) or not re.fullmatch(r"[0-9]{0,6}", str(value)):
            keys.wrong(f'"{word}"', value, "a whole number, or blank")
        else:
            found[folded(word)] = str(value)
    return found


def constants(keys: Keys, table: str) -> dict[str, str]:
    """A table of columns → values, each as the codebook has it."""
    found = {}
    for name in list(keys.content):
        value = _value(keys, name)
        if name not in plain_columns(table):
            keys.problems.add(
                keys.at(name),
                f"is no column of {table} that can be filled{hint(name, plain_columns(table))}",
                "Correct the name.",
            )
        elif value is not None and _sound(keys, name, TABLES[table].column(name), value):
            found[name] = value
    return found


def filled(keys: Keys) -> dict[tuple[str, str], str]:
    """[fill]: (table, column) → value."""
    found = {}
    for name in list(keys.content):
        table, _, column = name.partition(".")
        value = _value(keys, name)
        if table not in TABLES or column not in plain_columns(table):
            known = [f"{each}.{column}" for each in TABLES for column in plain_columns(each)]
            keys.problems.add(
                keys.at(f'"{name}"'),
                f"is no table and column that can be filled{hint(name, known)}",
                'Write "table.column" in quotation marks.',
            )
        elif value in _DAY_FILLS.get((table, column), ()) or (
            value is not None and _sound(keys, f'"{name}"', TABLES[table].column(column), value)
        ):
            found[table, column] = value
    return found


def _value(keys: Keys, name: str) -> str | None:
    value: Any = keys.take(name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int | float):
        return str(value)
    keys.problems.add(keys.at(name), "is not one value", "Write a code in quotation marks, or a number.", value)
    return None


def _sound(keys: Keys, name: str, column: Column, value: str) -> bool:
    read = read_cell(value, column)
    problem = read.problem if isinstance(read, Verdict) and read.severity == "stops" else ""
    if read is None:
        problem = "is blank"
    if problem:
        remedy = read.remedy if isinstance(read, Verdict) else "Write a value, or leave the key out."
        keys.problems.add(keys.at(name), problem, remedy, value)
    return not problem


def merged(*tables: Mapping[str, str]) -> dict[str, str]:
    """Words of several tables; a later table wins."""
    return {word: code for table in tables for word, code in table.items()}


CODED_WORDS = {
    "instruments": "instrument_class",
    "event": "event_type",
    "end": "end_reason",
    "collections": "site",
    "collection": "site",
    "yield": "yield_words",
    "stent": "stent_type",
    "stents": "stent_type",
}


def check_whole(layout: Layout, problems: Problems) -> None:
    """Adds what is wrong with the layout as a whole."""
    makers = [rows for _, rows in layout.makers()]
    if not any(rows.table == "patients" for rows in makers):
        problems.add("sheet.rows", "nothing makes patients", 'Add [[sheet.rows]] with table = "patients".')
    dated = any(is_date(rows.table, column.to) and not column.days for rows in makers for column in rows.columns)
    if dated and not any(rows.index or rows.holds("index_date") for rows in makers):
        problems.add(
            "sheet.rows",
            "it is not said which date is the index drainage",
            'Write index = true in the [[sheet.rows]] of the drainage, or "Heading" = "index_date" for patients.',
        )
    if sum(sheet.each_row_is_a_patient for sheet in layout.sheets) > 1:
        problems.add(
            "sheet.each_row_is_a_patient",
            "several sheets make a new patient of each row",
            "Name the column that says who the patient is.",
        )
    for number, sheet in enumerate(layout.sheets, start=1):
        _check_sheet(sheet, f"sheet[{number}]", problems, named=len(layout.sheets) == 1)
    named: dict[tuple, list[Where]] = {}
    for sheet in layout.sheets:
        for name in sheet.names:
            named.setdefault((folded(name), sheet.labels, sheet.starts), []).append(sheet.where)
    for name in [name for (name, *_), kinds in named.items() if len(kinds) > 1 and not _told_apart(kinds)]:
        problems.add(
            "sheet.name",
            "two [[sheet]] have this name",
            "Put all that it makes under one [[sheet]]; a form, a block with its own `starts`, and rows of one kind, "
            "with their own `where`, have one of their own.",
            name,
        )


def _told_apart(kinds: Sequence[Where]) -> bool:
    """Whether each of several [[sheet]] of one name says, in its own way, which rows it means."""
    return all(kinds) and len(set(kinds)) == len(kinds)


def _check_sheet(sheet: SheetLayout, place: str, problems: Problems, *, named: bool) -> None:
    if not sheet.names and not named:
        problems.add(f"{place}.name", "there is no name", "Only the layout of one single csv file may leave it out.")
    ignored = {folded(name) for name in sheet.ignore}
    for heading in dict.fromkeys(sheet.headings()):
        if folded(heading) in ignored:
            problems.add(
                f"{place}.ignore", "is ignored and mapped at the same time", "Take it away in one place.", heading
            )
    for rows in sheet.rows:
        once = [
            column
            for _, columns in rows.each_number()
            for column in columns
            if (column.to != ENDS[0] or not column.of_end) and not column.sharing[1:]
        ]
        mapped = Counter(folded(column.heading) for column in once)
        for heading in [heading for heading, count in mapped.items() if count > 1]:
            problems.add(f"{place}.rows.columns", "is mapped twice in one group", "Take one away.", heading)


def check_rows(keys: Keys, rows: RowsLayout) -> None:
    problems = keys.problems
    if not rows.columns:
        problems.add(
            keys.at("columns"), "no column is mapped", f'Add "Heading" = one of: {", ".join(targets(rows.table))}.'
        )
    for column in rows.columns:
        if (NUMBER in column.heading) != bool(rows.numbers):
            problems.add(
                keys.at(f'columns."{column.heading}"'),
                "has {n} without numbers, or numbers without {n}",
                'Write {n} in every heading of a numbered group, and numbers = "1-7".',
            )
    twice = {column.to for column in rows.columns if sum(column.to == other.to for other in rows.columns) > 1}
    for target in sorted(twice):
        problems.add(keys.at("columns"), f'two columns become "{target}"', "One row has one of each: make two rows.")
    if rows.index and not any(is_date(rows.table, column.to) for column in rows.columns):
        problems.add(keys.at("index"), 'no column becomes "day"', "The index drainage needs its date.")
    if rows.ends_stents and not rows.holds(ENDS[0]):
        keys.problems.add(
            keys.at("ends_stents"), f'no column becomes "{ENDS[0]}"', "A stent ends on a day: map its date."
        )
    _check_overflow(keys, rows)


def _check_overflow(keys: Keys, rows: RowsLayout) -> None:
    if rows.overflow is None:
        return
    known = {folded(column.heading): column for column in rows.columns}
    for part in rows.overflow.parts:
        if folded(part) not in known:
            keys.problems.add(
                keys.at("overflow.parts"),
                f"is no heading of this group{hint(part, [column.heading for column in rows.columns])}",
                "Name the columns of the group, with {n}.",
                part,
            )
    if rows.table != "sessions" or "day" not in {
        known[folded(part)].to for part in rows.overflow.parts if folded(part) in known
    }:
        keys.problems.add(
            keys.at("overflow"),
            "it needs the table sessions, and a part that is the date",
            "Without a date a session cannot be placed.",
        )
