"""What a column and a table of a registry are, and the shorthand in which the codebook is written.

Scales: a value outside `low`..`high` cannot be right and is set aside; one outside `likely_low`..`likely_high` is
kept and asked about.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

KINDS = ("id", "ids", "text", "code", "whole", "number", "yes_no", "day", "period")
LATEST = "_latest"


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column: its kind, the codes or scale it allows, its unit and what it means.

    A blank is a gap in the record where the column is `expected`, and only in rows whose column `applies[0]`
    holds one of the codes `applies[1]` (everywhere if that is blank); elsewhere a blank is an answer.
    """

    name: str
    kind: str
    meaning: str
    required: bool = False
    codes: tuple[str, ...] = ()
    ordered: bool = False
    unit: str = ""
    low: float | None = None
    high: float | None = None
    likely_low: float | None = None
    likely_high: float | None = None
    refers_to: str = ""
    expected: bool = True
    applies: tuple[str, tuple[str, ...]] = ("", ())

    @property
    def latest(self) -> str:
        """The partner of a day known only as a range: the last day it can be (blank = exact)."""
        return self.name + LATEST if self.kind == "day" else ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table: what a row is, its key (blank if it has none) and its columns in order."""

    name: str
    row: str
    key: str
    columns: tuple[Column, ...]
    required: bool = False

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if there is none."""
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.all_columns}

    @cached_property
    def all_columns(self) -> tuple[Column, ...]:
        """The columns, each day followed by its optional partner for a range."""
        return tuple(each for column in self.columns for each in _with_partner(column))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of the columns in order, without the partners."""
        return tuple(column.name for column in self.columns)

    @cached_property
    def required_columns(self) -> tuple[Column, ...]:
        """The columns without which a row means nothing."""
        return tuple(column for column in self.columns if column.required)


def _with_partner(column: Column) -> tuple[Column, ...]:
    if column.kind != "day":
        return (column,)
    meaning = f"last day that {column.name} can be; blank = exact"
    return column, Column(name=column.latest, kind="whole", meaning=meaning, unit="days")


def key(name, refers_to="", meaning="", required=True) -> Column:
    """The key of a table, or of the table it refers to."""
    return Column(name=name, kind="id", refers_to=refers_to, required=required, expected=required, meaning=meaning)


def day(name, meaning, *, required=False, **limits) -> Column:
    """A whole day from the index drainage; it gets a partner for a range."""
    return Column(name=name, kind="day", unit="days", meaning=meaning, required=required, **limits)


def code(name, codes, meaning, **rest) -> Column:
    """One of a list of codes, given with blanks between."""
    return Column(name=name, kind="code", codes=tuple(codes.split()), meaning=meaning, **rest)


def number(name, unit, meaning, *, low=0.0, **limits) -> Column:
    """A number on a scale, from 0 unless said."""
    return Column(name=name, kind="number", unit=unit, meaning=meaning, low=low, **limits)


def whole(name, unit, meaning, *, low=0, required=False, **limits) -> Column:
    """A whole number on a scale, from 0 unless said."""
    return Column(name=name, kind="whole", unit=unit, meaning=meaning, low=low, required=required, **limits)


def yes_no(name, meaning, **rest) -> Column:
    """Yes or no."""
    return Column(name=name, kind="yes_no", meaning=meaning, **rest)


def text(name, meaning, *, expected=False) -> Column:
    """Words, which may rightly be blank unless said."""
    return Column(name=name, kind="text", meaning=meaning, expected=expected)


def period(name, meaning, *, required=False) -> Column:
    """The label of a period."""
    return Column(name=name, kind="period", meaning=meaning, required=required)
