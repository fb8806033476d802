"""find_identifiers: everything in an export that may tell who somebody is, by place, before any of it is read."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from necrostats.registry.privacy.columns import KnownWords, Role, forget, hits_in_column
from necrostats.registry.privacy.headings import heading_clue
from necrostats.registry.privacy.names import clue_of_person
from necrostats.registry.privacy.outside import (
    Names,
    clues_in_each,
    clues_in_login,
    clues_outside,
    suspicion_outside,
    without_recent_dates,
)
from necrostats.registry.privacy.suspicions import Clue, Sheet, Suspicion
from necrostats.registry.text import fold, fold_heading


def find_identifiers(
    sheets: Iterable[Sheet],
    other_texts: Iterable[tuple[str, str]] = (),
    *,
    accepted: Collection[str] = (),
    date_columns: Collection[str] = (),
    period_columns: Collection[str] = ("period", "index_period"),
    id_columns: Collection[str] = (),
    key_columns: Collection[str] = (),
    operator_columns: Collection[str] = ("operator",),
    coded_columns: Collection[str] = (),
    known_words: Collection[str] = (),
    names: Names | None = None,
) -> list[Suspicion]:
    """Every suspicion in sheets and in other texts (place, text): comments, properties, names of files, hidden cells.

    Columns are named by heading, whatever their case, accents and blanks. `accepted`: a person has looked, so
    only hard clues still stop a cell of such a column, and nothing a place whose `release` is among them.
    `date_columns`: calendar dates belong there. `key_columns`: a layout says that they tell patients apart.
    `coded_columns`: their cells become codes, numbers or days, so that what merely looks like a name is told cell by
    cell, however often it occurs. `known_words`: words that a layout lists; a cell made of nothing else is stopped by
    hard clues only. No suspicion holds a value; a heading, sheet or
    file whose name is itself suspect is given by its number. No text makes this raise.
    """
    try:
        found = _find(
            list(sheets),
            other_texts,
            names,
            _Roles(
                known_words,
                accepted=accepted,
                dates=date_columns,
                periods=period_columns,
                ids=id_columns,
                keys=key_columns,
                operators=operator_columns,
                coded=coded_columns,
            ),
        )
        return not_released(found, accepted)
    finally:
        forget()


def not_released(found: Iterable[Suspicion], accepted: Collection[str]) -> list[Suspicion]:
    """The suspicions at places that nobody accepted."""
    released = frozenset(map(fold_heading, accepted))
    return [each for each in found if fold_heading(each.release) not in released]


def _find(
    sheets: list[Sheet], other_texts: Iterable[tuple[str, str]], names: Names | None, roles: _Roles
) -> list[Suspicion]:
    known = names or names_of(sheets)
    found = [suspicion for sheet in sheets for suspicion in _in_sheet(sheet, known, roles)]
    return [*(() if names else known.suspicions), *found, *_in_other_texts(other_texts)]


def names_of(sheets: Collection[Sheet]) -> Names:
    """The names of the files and sheets of an export."""
    vouched = {sheet.name for sheet in sheets if sheet.vouched}
    return Names([sheet.file for sheet in sheets], [sheet.name for sheet in sheets], vouched)


class _Roles:
    """What was declared about columns, by folded heading, and the words known in all of them."""

    def __init__(self, known_words: Collection[str], **declared: Collection[str]) -> None:
        self.known = KnownWords(known_words)
        self._declared = {role: frozenset(map(fold_heading, headings)) for role, headings in declared.items()}

    def of(self, heading: str) -> Role:
        folded = fold_heading(heading)
        return Role(**{role: folded in headings for role, headings in self._declared.items()})


def _in_sheet(sheet: Sheet, names: Names, roles: _Roles) -> Iterator[Suspicion]:
    file, name = names.file(sheet.file), names.sheet(sheet.name)
    order = {heading: number for number, heading in reversed(list(enumerate(sheet.header, 1)))}
    for number, (heading, column) in enumerate(sheet.columns.items(), 1):
        role = roles.of(heading)
        suspect = _clues_in_heading(heading)
        shown = withheld_heading(order.get(heading, number)) if suspect else heading
        for clue in suspect:
            if clue.hard or not role.accepted:
                yield replace(_suspicion(clue, file, name, 1, shown), heading=True)
        for hit in hits_in_column(heading, column, role, roles.known):
            if hit.rows is None:
                yield _suspicion(hit.clue, file, name, None, shown)
            else:
                for position in hit.rows:
                    row = int(sheet.rows[position]) if sheet.rows is not None else int(position) + 2
                    yield _suspicion(hit.clue, file, name, row, shown)
    for number, heading in enumerate(sheet.header, 1):
        if heading not in sheet.columns:
            for clue in _clues_in_heading(heading):
                yield replace(_suspicion(clue, file, name, 1, withheld_heading(number)), heading=True)


def withheld_heading(number: int) -> str:
    """How the column of a suspect heading is called, by its place among the columns."""
    return f"column {number} (heading withheld)"


_LETTERS = re.compile(r"\([A-Z]{1,3}\)")  # of a column without a heading
_SAID_WITHOUT_VALUE = ("biometric", "photograph")


def _clues_in_heading(heading: str) -> tuple[Clue, ...]:
    """What a heading must not hold: anything hard, a place or a person (a first row that is no header)."""
    if _LETTERS.fullmatch(heading):
        return ()
    texts = heading, heading.replace("_", " ")
    clues = without_recent_dates(clues_in_each(*texts), texts)
    hard = [clue for clue in clues if clue.kind == "place" or (clue.hard and clue.kind not in _SAID_WITHOUT_VALUE)]
    person = clue_of_person(fold(heading)) if heading_clue(heading) is None else None
    return (*hard, person) if person else tuple(hard)


def _in_other_texts(other_texts: Iterable[tuple[str, str]]) -> Iterator[Suspicion]:
    for number, (place, text) in enumerate(other_texts, 1):
        shown = f"text {number} (place withheld)" if any(clue.hard for clue in clues_outside(place)) else place
        for clue in (*clues_outside(text), *clues_in_login(text)) if text else ():
            yield suspicion_outside(clue, shown)


def _suspicion(clue: Clue, file: str, sheet: str, row: int | None, column: str) -> Suspicion:
    return Suspicion(
        kind=clue.kind, file=file, sheet=sheet, row=row, column=column, rule=clue.rule, severity=clue.severity
    )
