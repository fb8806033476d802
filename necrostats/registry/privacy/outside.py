"""Texts that are no cells: comments, properties, titles, and the names of files and sheets, which may be withheld."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence

from necrostats.registry.privacy.columns import clues_in
from necrostats.registry.privacy.dates import DATES, is_recent
from necrostats.registry.privacy.names import only_looks_so, sounds_ordinary
from necrostats.registry.privacy.numbers import clues_in_code_of_a_file
from necrostats.registry.privacy.suspicions import Clue, Suspicion
from necrostats.registry.text import fold


class Names:
    """How files and sheets may be called in a suspicion: by name, or by their number if the name is suspect itself.

    `vouched` sheets have been written into a layout, or are about to be: looking like a name is no reason to stop them.
    """

    def __init__(self, files: Iterable[str], sheets: Iterable[str], vouched: Collection[str] = ()) -> None:
        self.suspicions: list[Suspicion] = []
        self._files = self._named("file", files)
        self._sheets = self._named("sheet", sheets, vouched)

    def file(self, name: str) -> str:
        """How a file may be called."""
        return self._files.get(name, name)

    def sheet(self, name: str) -> str:
        """How a sheet may be called."""
        return self._sheets.get(name, name)

    def _named(self, what: str, names: Iterable[str], vouched: Collection[str] = ()) -> dict[str, str]:
        shown = {}
        for number, name in enumerate(filter(None, dict.fromkeys(names)), 1):
            clues = [clue for clue in clues_in_name(name) if not (name in vouched and only_looks_so(clue.rule))]
            shown[name] = f"{what} {number} (name withheld)" if clues else name
            self.suspicions += [suspicion_outside(clue, f"name of {what} {number}") for clue in clues]
        return shown


_ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{1,4}\Z")


def clues_in_name(name: str) -> tuple[Clue, ...]:
    """The clues in a file's or sheet's name, its ending left out and its joints opened."""
    stem = name.rsplit("/", 1)[-1].rsplit("\\", 1)[-1]
    stem = _ENDING.sub("", stem)
    opened = stem.replace("_", " ").replace("-", " ")
    return tuple(dict.fromkeys((*clues_outside(stem, opened), *clues_in_login(stem), *clues_in_code_of_a_file(stem))))


def clues_outside(*texts: str) -> tuple[Clue, ...]:
    """The clues in a text that is no cell: without those of dates on which records were kept, locked or pulled."""
    return without_recent_dates(clues_in_each(*texts), texts)


def without_recent_dates(clues: Iterable[Clue], texts: Sequence[str]) -> tuple[Clue, ...]:
    """Some clues in versions of a text without those of its dates, where none can be the birth of an adult.

    A date above a column, or in the name of a file, is nobody's own.
    """
    recent = all(is_recent(text) for text in texts)
    return tuple(clue for clue in clues if not (recent and clue in DATES))


def clues_in_each(*texts: str) -> tuple[Clue, ...]:
    """The clues in any of several versions of a text, each once."""
    return tuple(dict.fromkeys(clue for text in dict.fromkeys(texts) for clue in clues_in(text)))


_LOGIN = re.compile(r"([a-z]{4,})[._-][a-z]{1,2}\d{0,3}|[a-z]{1,2}[._-]([a-z]{4,})\d{0,3}")
_OF_A_PERSON = Clue(kind="name", rule="it is written like the login of a person")


def clues_in_login(text: str) -> tuple[Clue, ...]:
    """The clue in a text that is written like a login."""
    found = _LOGIN.fullmatch(fold(text))
    return (_OF_A_PERSON,) if found and not sounds_ordinary(found[1] or found[2]) else ()


def suspicion_outside(clue: Clue, where: str) -> Suspicion:
    """A clue in a text that is no cell."""
    return Suspicion(
        kind=clue.kind, file="", sheet="", row=None, column="", rule=clue.rule, severity=clue.severity, where=where
    )
