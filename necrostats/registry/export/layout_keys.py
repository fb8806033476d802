"""Keys of a layout taken one by one: of the right type, on the list, and none left over; every problem kept."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime
from typing import Any

import pandas as pd

from necrostats.registry.export.cells import hint
from necrostats.registry.findings import findings_frame

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
