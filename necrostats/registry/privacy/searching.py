"""find_identifiers: everything in an export that may tell who somebody is, by place, before any of it is read."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence

from necrostats.registry.privacy.columns import KnownWords, Role, clues_in, forget, hits_in_column
from necrostats.registry.privacy.dates import DATES, is_recent
from necrostats.registry.privacy.headings import heading_clue
from necrostats.registry.privacy.names import clue_of_person, only_looks_so, sounds_ordinary
from necrostats.registry.privacy.numbers import clues_in_code_of_a_file
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
    operator_columns: Collection[str] = ("operator",),
    coded_columns: Collection[str] = (),
    known_words: Collection[str] = (),
) -> list[Suspicion]:
    """Every suspicion in sheets and in other texts (place, text): comments, properties, names of files, hidden cells.

    Columns are named by heading, whatever their case, accents and blanks. `accepted`: a person has looked, so
    only hard clues still stop a cell of such a column, and nothing a place whose `release` is among them.
    `date_columns`: calendar dates belong there. `coded_columns`: their cells become codes, numbers or days, so that
    what merely looks like a name is told cell by cell, however often it occurs. `known_words`: words that a layout
    lists; a cell made of nothing else is stopped by hard clues only. No suspicion holds a value; a heading, sheet or
    file whose name is itself suspect is given by its number. No text makes this raise.
    """
    released = frozenset(map(fold_heading, accepted))
    try:
        found = _find(
            list(sheets),
            other_texts,
            _Roles(
                known_words,
                accepted=accepted,
                dates=date_columns,
                periods=period_columns,
                ids=id_columns,
                operators=operator_columns,
                coded=coded_columns,
            ),
        )
        return [each for each in found if fold_heading(each.release) not in released]
    finally:
        forget()


def _find(sheets: list[Sheet], other_texts: Iterable[tuple[str, str]], roles: _Roles) -> list[Suspicion]:
    names = _Names(sheets)
    found = [suspicion for sheet in sheets for suspicion in _in_sheet(sheet, names, roles)]
    return [*names.suspicions, *found, *_in_other_texts(other_texts)]


class _Roles:
    """What was declared about columns, by folded heading, and the words known in all of them."""

    def __init__(self, known_words: Collection[str], **declared: Collection[str]) -> None:
        self.known = KnownWords(known_words)
        self._declared = {role: frozenset(map(fold_heading, headings)) for role, headings in declared.items()}

    def of(self, heading: str) -> Role:
        folded = fold_heading(heading)
        return Role(**{role: folded in headings for role, headings in self._declared.items()})


class _Names:
    """How files and sheets may be called in a suspicion: by name, or by number if the name is suspect itself."""

    def __init__(self, sheets: Sequence[Sheet]) -> None:
        self.suspicions: list[Suspicion] = []
        vouched = {sheet.name for sheet in sheets if sheet.vouched}
        self._files = self._named("file", [sheet.file for sheet in sheets])
        self._sheets = self._named("sheet", [sheet.name for sheet in sheets], vouched)

    def file(self, sheet: Sheet) -> str:
        return self._files[sheet.file]

    def sheet(self, sheet: Sheet) -> str:
        return self._sheets[sheet.name]

    def _named(self, what: str, names: Sequence[str], vouched: Collection[str] = ()) -> dict[str, str]:
        shown = {}
        for number, name in enumerate(dict.fromkeys(names), 1):
            clues = [clue for clue in _clues_in_name(name) if not (name in vouched and only_looks_so(clue.rule))]
            shown[name] = f"{what} {number} (name withheld)" if clues else name
            self.suspicions += [_elsewhere(clue, f"name of {what} {number}") for clue in clues]
        return shown


_ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{1,4}\Z")


def _clues_in_name(name: str) -> tuple[Clue, ...]:
    """The clues in a file's or sheet's name, its ending left out and its joints opened."""
    stem = name.rsplit("/", 1)[-1].rsplit("\\", 1)[-1]
    stem = _ENDING.sub("", stem)
    opened = stem.replace("_", " ").replace("-", " ")
    return tuple(dict.fromkeys((*_clues_outside(stem, opened), *clues_in_code_of_a_file(stem))))


def _clues_outside(*texts: str) -> tuple[Clue, ...]:
    """The clues in a text that is no cell: without those of dates on which records were kept, locked or pulled."""
    recent = all(is_recent(text) for text in texts)
    return tuple(clue for clue in _clues_in_each(*texts) if not (recent and clue in DATES))


def _clues_in_each(*texts: str) -> tuple[Clue, ...]:
    return tuple(dict.fromkeys(clue for text in dict.fromkeys(texts) for clue in clues_in(text)))


def _in_sheet(sheet: Sheet, names: _Names, roles: _Roles) -> Iterator[Suspicion]:
    file, name = names.file(sheet), names.sheet(sheet)
    order = {heading: number for number, heading in reversed(list(enumerate(sheet.header, 1)))}
    for number, (heading, column) in enumerate(sheet.columns.items(), 1):
        role = roles.of(heading)
        suspect = _clues_in_heading(heading)
        shown = f"column {order.get(heading, number)} (heading withheld)" if suspect else heading
        for clue in suspect:
            yield _suspicion(clue, file, name, 1, shown)
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
                yield _suspicion(clue, file, name, 1, f"column {number} (heading withheld)")


_SAID_WITHOUT_VALUE = ("biometric", "photograph")


def _clues_in_heading(heading: str) -> tuple[Clue, ...]:
    """What a heading must not hold: anything hard, a place or a person (a first row that is no header)."""
    clues = _clues_in_each(heading, heading.replace("_", " "))
    hard = [clue for clue in clues if clue.kind == "place" or (clue.hard and clue.kind not in _SAID_WITHOUT_VALUE)]
    person = clue_of_person(fold(heading)) if heading_clue(heading) is None else None
    return (*hard, person) if person else tuple(hard)


def _in_other_texts(other_texts: Iterable[tuple[str, str]]) -> Iterator[Suspicion]:
    for number, (place, text) in enumerate(other_texts, 1):
        shown = f"text {number} (place withheld)" if any(clue.hard for clue in _clues_outside(place)) else place
        for clue in (*_clues_outside(text), *_clues_in_login(text)) if text else ():
            yield _elsewhere(clue, shown)


_LOGIN = re.compile(r"([a-z]{4,})[._-][a-z]{1,2}\d{0,3}|[a-z]{1,2}[._-]([a-z]{4,})\d{0,3}")
_OF_A_PERSON = Clue(kind="name", rule="it is written like the login of a person")


def _clues_in_login(text: str) -> tuple[Clue, ...]:
    found = _LOGIN.fullmatch(fold(text))
    return (_OF_A_PERSON,) if found and not sounds_ordinary(found[1] or found[2]) else ()


def _suspicion(clue: Clue, file: str, sheet: str, row: int | None, column: str) -> Suspicion:
    return Suspicion(
        kind=clue.kind, file=file, sheet=sheet, row=row, column=column, rule=clue.rule, severity=clue.severity
    )


def _elsewhere(clue: Clue, where: str) -> Suspicion:
    return Suspicion(
        kind=clue.kind, file="", sheet="", row=None, column="", rule=clue.rule, severity=clue.severity, where=where
    )
