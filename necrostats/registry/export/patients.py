"""Who each row is about: the patients of an export, numbered in the order in which they first appear.

Rows set aside before anything is made of them: no patient, copies, rows that a stray quotation mark joined.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.export.cells import ID_HABITS, first_rows
from necrostats.registry.export.copies import Copies
from necrostats.registry.export.layout import SHEET, Layout
from necrostats.registry.export.log_rows import kinds, saying
from necrostats.registry.export.mapped_sheets import LaidColumn, LaidSheet, no_record
from necrostats.registry.export.private import shown
from necrostats.registry.findings import DUPLICATE_ROW, NO_RECORD, OF_NO_KIND
from necrostats.registry.quantities import is_blank
from necrostats.registry.reading import count
from necrostats.registry.source_table import objects
from necrostats.registry.text import folded

NOBODY = -1
IGNORE_HABITS = (
    "If they are the same patient, write under [ids] in the layout as many as are needed of "
    'ignore = ["hyphens", "blanks", "zeros", "decimals"].'
)
_BETWEEN = "\x1f"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class People:
    """`ids` (P,): the study code of each patient. `of` holds, for each sheet, the patient (N,) of each row, or -1.

    `keys` (P,) are the codes as the export writes them, which may not leave it.
    """

    ids: tuple[str, ...]
    of: tuple[np.ndarray, ...]
    keys: tuple[str, ...] = ()


def people_of(sheets: Sequence[LaidSheet], layout: Layout) -> People:
    """The patients of all sheets. A row whose key is blank, in whole or in part, is nobody's."""
    known: dict[str, int] = {}
    of = {}
    for sheet in sorted(sheets, key=lambda sheet: bool(sheet.layout.session)):
        if sheet.left:
            of[sheet.number] = np.full(len(sheet), NOBODY)
        elif sheet.layout.each_row_is_a_patient:
            of[sheet.number] = np.arange(len(known), len(known) + len(sheet))
            known.update({f"{_BETWEEN}{sheet.number}{_BETWEEN}{row}": len(known) + row for row in range(len(sheet))})
        elif sheet.layout.session:
            of[sheet.number] = _through_sessions(
                sheet, [(each, of[each.number]) for each in sheets if each.number in of]
            )
        else:
            columns = [_key_column(sheet, heading, layout) for heading in sheet.layout.patient]
            of[sheet.number] = _numbered(columns, known)
    if layout.keep_ids:
        spelt = _spellings(sheets, layout)
        ids = tuple(spelt.get(key) or "-".join(key.strip(_BETWEEN).split(_BETWEEN)).upper() for key in known)
    else:
        width = max(4, len(str(len(known))))
        ids = tuple(f"P{number:0{width}d}" for number in range(1, len(known) + 1))
    return People(ids=ids, of=tuple(of[sheet.number] for sheet in sheets), keys=tuple(known))


_SIGNS_ONLY = {"hyphens", "blanks"}


def _spellings(sheets: Sequence[LaidSheet], layout: Layout) -> dict[str, str]:
    """Each code as the sheet of patients writes it first, in capitals, where the layout forgives how it is written."""
    if layout.id_form or not layout.id_habits or not set(layout.id_habits) <= _SIGNS_ONLY:
        return {}
    found: dict[str, str] = {}
    for sheet in sorted(sheets, key=lambda sheet: not _makes_patients(sheet)):
        for heading in sheet.layout.patient if len(sheet.layout.patient) == 1 else ():
            texts = [sheet.grid.name] if heading == SHEET else sheet.column(heading).raw.texts().tolist()
            for text in dict.fromkeys(texts):
                found.setdefault(key_of(text, layout), folded(text).upper())
    return found


def own_keys(sheet: LaidSheet, table: str, target: str) -> np.ndarray:
    """What the export calls the session, collection or stent (N,) that each row makes; blank where it has no name."""
    for rows in sheet.layout.rows:
        heading = rows.heading_of(target) if rows.table == table and not (rows.numbers or rows.ends_stents) else ""
        if heading:
            return _texts(sheet, heading)
    return np.full(len(sheet), "", dtype=object)


def _texts(sheet: LaidSheet, heading: str) -> np.ndarray:
    column = sheet.column(heading)
    texts = ["" if is_blank(cell.text) else folded(cell.text) for cell in column.raw.cells]
    return objects(texts)[column.raw.which]


def _through_sessions(sheet: LaidSheet, others: Sequence[tuple[LaidSheet, np.ndarray]]) -> np.ndarray:
    """The patient (N,) of each row by the session it names; nobody, where none or more than one patient has it."""
    patients: dict[str, set[int]] = {}
    for other, person in others:
        for key, number in zip(own_keys(other, "sessions", "session"), person.tolist(), strict=True):
            if key and number != NOBODY:
                patients.setdefault(key, set()).add(number)
    one = {key: next(iter(numbers)) for key, numbers in patients.items() if len(numbers) == 1}
    named = _texts(sheet, sheet.layout.session)
    return np.array([one.get(key, NOBODY) for key in named], dtype=np.int64)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Keys:
    """The different keys (U,) of a column, and which of them each row (N,) has."""

    texts: Sequence[str]
    which: np.ndarray


def _numbered(columns: Sequence[_Keys], known: dict[str, int]) -> np.ndarray:
    """The patient (N,) of each row, by all its keys together; new ones are numbered as they appear."""
    rows = np.zeros(len(columns[0].which), dtype=np.int64)
    for column in columns:
        rows = pd.factorize(rows * len(column.texts) + column.which)[0]
    first = first_rows(rows, rows.max(initial=-1) + 1)
    parts = [[column.texts[each] for each in column.which[first].tolist()] for column in columns]
    keys = [_BETWEEN.join(each) if all(each) else "" for each in zip(*parts, strict=True)]
    people = [known.setdefault(key, len(known)) if key else NOBODY for key in keys]
    return np.array(people, dtype=np.int64)[rows]


def _key_column(sheet: LaidSheet, heading: str, layout: Layout) -> _Keys:
    if heading == SHEET:
        return _Keys(texts=[key_of(sheet.grid.name, layout)], which=np.zeros(len(sheet), dtype=np.int64))
    column = sheet.column(heading)
    carried = sheet.key(heading) in {sheet.key(each) for each in sheet.layout.carry_down}
    above = ~column.raw.filled() & (carried | _merged_down(sheet, column))
    source = np.maximum.accumulate(np.where(above, 0, np.arange(len(sheet))))
    return _Keys(texts=[key_of(cell.text, layout) for cell in column.raw.cells], which=column.raw.which[source])


def key_of(text: str, layout: Layout) -> str:
    """A study code as the layout compares it; blank if the cell names nobody."""
    if text.isascii() and text.isalnum() and not text.isalpha():
        key = text.casefold()
    else:
        key = "" if is_blank(text) or text.startswith("#") else folded(text)
    for habit in layout.id_habits:
        key = ID_HABITS[habit](key)
    return _of_form(ID_HABITS["decimals"](key), layout) if key and layout.id_form else key


def _of_form(key: str, layout: Layout) -> str:
    """A key in the form that the layout gives, whose own signs are forgiven as those of the key are."""
    prefix, width = folded(layout.id_form.rstrip("0")), len(layout.id_form) - len(layout.id_form.rstrip("0"))
    bare = prefix
    for habit in layout.id_habits:
        bare = ID_HABITS[habit](bare)
    found = re.fullmatch(rf"(?:{re.escape(prefix)}|{re.escape(bare)})?([0-9]+)", key)
    return f"{prefix}{found[1].lstrip('0').rjust(width, '0')}" if found else key


def _loose(key: str) -> str:
    """A key without anything that two typists may write differently."""
    for habit in ID_HABITS.values():
        key = habit(key)
    return key


_LOOKALIKES = str.maketrans("ol|i", "0111")


def _seen(key: str) -> str:
    """A key as it looks: letters that are taken for digits, and the other way round, are one."""
    return _loose(key.casefold().translate(_LOOKALIKES))


def _merged_down(sheet: LaidSheet, column: LaidColumn) -> np.ndarray:
    """Rows (N,) whose cell in this column is merged with the one above."""
    marked = np.zeros(len(sheet), dtype=bool)
    for first_row, first, last_row, last in sheet.grid.merges:
        if first <= column.raw.number <= last and last_row > first_row:
            start, end = np.searchsorted(sheet.rows, (first_row, last_row), side="right")
            marked[start:end] = True
    return marked


ORPHAN = "NO_SUCH_PATIENT"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RowsAside:
    """Rows (positions) of a sheet set aside whole, and why. `heading` names the column it shows in.

    `together`: they say the same, `value`, and are told of once.
    """

    rule: str
    sheet: LaidSheet
    at: np.ndarray
    severity: str
    problem: str
    remedy: str
    heading: str = ""
    together: bool = False
    value: str = ""


def rows_aside(sheets: Sequence[LaidSheet], people: People) -> list[RowsAside]:
    """Every row that is nobody's or that cannot be one row; each row once, by the first rule that catches it."""
    found = []
    listed = _listed(sheets, people)
    copies = _copies(Copies(sheets, people.of), listed)
    for sheet, person in zip(sheets, people.of, strict=True):
        free = np.ones(len(sheet), dtype=bool)
        for rule in (_skipped, _no_record, _of_no_kind, _swallowed, _long, _nobody, copies, _same_id):
            for aside in rule(sheet, person, free.copy()):
                if len(aside.at):
                    free[aside.at] = False
                    found.append(aside)
        if not _makes_patients(sheet):
            found += _orphans(sheet, free & (person >= 0) & ~listed[person], person, people, listed)
    return found


def _makes_patients(sheet: LaidSheet) -> bool:
    return any(rows.table == "patients" for rows in sheet.layout.rows)


def _listed(sheets: Sequence[LaidSheet], people: People) -> np.ndarray:
    """Whether each patient (P + 1,) has a row that makes patients; the last stands for nobody."""
    listed = np.zeros(len(people.ids) + 1, dtype=bool)
    for sheet, person in zip(sheets, people.of, strict=True):
        if _makes_patients(sheet):
            listed[person] = True
    return listed


def _orphans(
    sheet: LaidSheet, lost: np.ndarray, person: np.ndarray, people: People, listed: np.ndarray
) -> Iterator[RowsAside]:
    """Rows about a patient whom no row of patients has: those with a code much like one there, and the others."""
    near, looks = (lost & np.isin(person, list(_near(people, listed, form))) for form in (_loose, _seen))
    looks &= ~near
    for at, clue, remedy in (
        (near, "; one is there whose code differs in signs, blanks or zeros only", IGNORE_HABITS),
        (looks, "; one is there that looks like it (the letter O for 0, l or I for 1)", "Correct the code."),
        (lost & ~near & ~looks, "", "Add the patient's row, or correct the code."),
    ):
        if at.any():
            patients = len(np.unique(person[at]))
            yield RowsAside(
                rule=ORPHAN,
                sheet=sheet,
                at=np.flatnonzero(at),
                severity="stops",
                problem=f"is about a patient of whom no sheet of patients has a row (rows so: "
                f"{np.count_nonzero(at):,}, patients: {patients:,}){clue}",
                remedy=remedy,
                heading=next(iter(sheet.layout.keys), ""),
            )


def _near(people: People, listed: np.ndarray, form: Callable[[str], str]) -> set[int]:
    """The patients without a row of patients whose code is, in a form, that of one with a row."""
    there = {form(key) for key, known in zip(people.keys, listed, strict=False) if known}
    return {number for number, key in enumerate(people.keys) if not listed[number] and form(key) in there}


def _skipped(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    yield RowsAside(
        rule=NO_RECORD,
        sheet=sheet,
        at=np.flatnonzero(no_record(sheet.grid, sheet.layout)[sheet.below]),
        severity="notes",
        problem="the layout says that this row is no record",
        remedy="Nothing to do if that is right.",
    )


_MOST_SHOWN = 12


def _together(sheet: LaidSheet, rows: np.ndarray, rule: str, severity: str, problem: str, remedy: str):
    """Rows (N,) set aside by what they say of themselves, told of once for each thing that they say."""
    for value, at in kinds(sheet, rows):
        places = ", ".join(map(str, sheet.rows[at[:_MOST_SHOWN]])) + (" …" if len(at) > _MOST_SHOWN else "")
        yield RowsAside(
            rule=rule,
            sheet=sheet,
            at=at,
            severity=severity,
            problem=f"{problem}: {count(len(at), 'row', 'rows')} not read ({places})",
            remedy=remedy if value else "Fill in the cell, or name the rows in skip_rows if they are no record.",
            heading=next(iter(sheet.layout.telling)),
            together=True,
            value=shown(value),
        )


def _no_record(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    skipped = free & saying(sheet, sheet.layout.skip_where)
    problem = "the layout says that such rows are no record"
    yield from _together(sheet, skipped, NO_RECORD, "notes", problem, "Nothing to do if that is right.")


def _of_no_kind(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    """Rows of a log that no [[sheet]] takes."""
    if sheet.left:
        yield from _together(
            sheet,
            free,
            OF_NO_KIND,
            "asks",
            "is a kind of row that no [[sheet]] of this name takes",
            "Add it to a `where`, or, if such rows are no record, to skip_where.",
        )


def _swallowed(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    if len(sheet.grid.swallowed):
        yield RowsAside(
            rule="STRAY_QUOTE",
            sheet=sheet,
            at=np.flatnonzero(free & sheet.grid.swallowed[sheet.below]),
            severity="stops",
            problem="one cell of this row holds what looks like several rows",
            remedy='A quotation mark is probably never closed: close it, or write it twice ("").',
        )


def _long(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    """In a csv a cell too many or too few, blank or not, means that the others may have moved."""
    widths = sheet.grid.widths
    if len(widths):
        named = widths[sheet.grid.rows <= max(sheet.layout.header_rows)].max(initial=0)
        yield RowsAside(
            rule="LONG_ROW",
            sheet=sheet,
            at=np.flatnonzero(free & (widths[sheet.below] != named)),
            severity="stops",
            problem="this row has more or fewer cells than the headings, so its cells cannot be told apart",
            remedy="If a cell holds a separator, put that cell in quotation marks; if one is missing, put it in.",
        )


def _nobody(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    heading = next(iter(sheet.layout.keys), "")
    nothing = "nothing says which patient this row is about"
    yield RowsAside(
        rule="NO_PATIENT",
        sheet=sheet,
        at=np.flatnonzero(free & (person == NOBODY)),
        severity="stops",
        problem=f"names no session that exactly one patient has: {nothing}" if sheet.layout.session else nothing,
        remedy="Fill in the cell, or correct it. If the row is no record, name it in skip_rows.",
        heading=heading,
    )


_AGAIN = (
    "this row stands here word for word a second time; the first one counts",
    "this row stands word for word in another sheet that is read like this one; the first one counts",
)


def _copies(met: Copies, listed: np.ndarray) -> Callable[[LaidSheet, np.ndarray, np.ndarray], Iterator[RowsAside]]:
    """The rule about rows of listed patients that say the same, word for word, as one above, or in a sheet before."""

    def again(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
        for problem, at in zip(_AGAIN, met.of(sheet, person, free & listed[person]), strict=True):
            yield RowsAside(
                rule=DUPLICATE_ROW,
                sheet=sheet,
                at=at,
                severity="asks",
                problem=problem,
                remedy="Take the copy away, or correct its key if it is another patient.",
            )

    return again


_CALLED = {
    "session": ("sessions", "session"),
    "collection": ("collections", "collection"),
    "stent": ("stents", "stent_id"),
}


def _same_id(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    for noun, called in _CALLED.items():
        for aside in _same_again(sheet, person, free, noun, *called):
            free[aside.at] = False
            yield aside


def _same_again(
    sheet: LaidSheet, person: np.ndarray, free: np.ndarray, noun: str, table: str, target: str
) -> Iterator[RowsAside]:
    """Rows of one thing of a patient: word for word the same, the first counts; with other cells, none does."""
    keys = own_keys(sheet, table, target)
    rows = np.flatnonzero(free & (keys != ""))
    session = pd.DataFrame({"person": person[rows], "key": keys[rows]})
    cells = pd.DataFrame({name: column.raw.which[rows] for name, column in sheet.columns.items()})
    copy = cells.duplicated().to_numpy(dtype=bool) & session.duplicated().to_numpy(dtype=bool)
    different = np.zeros(len(rows), dtype=bool)
    different[~copy] = session[~copy].duplicated(keep=False).to_numpy(dtype=bool)
    heading = next((rows.heading_of(target) for rows in sheet.layout.rows if rows.table == table), "")
    yield RowsAside(
        rule=DUPLICATE_ROW,
        sheet=sheet,
        at=rows[copy],
        severity="asks",
        problem=f"this {noun} stands here word for word a second time; the first one counts",
        remedy="Take the copy away.",
        heading=heading,
    )
    yield RowsAside(
        rule="DUPLICATE_ID",
        sheet=sheet,
        at=rows[different],
        severity="stops",
        problem=f"another row of the same patient has this {noun} id and other contents, so neither counts",
        remedy=f"Give each {noun} an id of its own, or take away the row that is wrong.",
        heading=heading,
    )
