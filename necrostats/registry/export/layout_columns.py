"""One column of a group of rows in a layout: what its heading becomes, and how its cells are read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from necrostats.errors import ChoiceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout import (
    BORES,
    ENDS,
    GRAMMAR_UNITS,
    NO_WORDS,
    ColumnLayout,
    OwnWords,
    Words,
    home,
    is_date,
    shares_a_cell,
    targets,
)
from necrostats.registry.export.layout_keys import CODED_WORDS, YES_NO, Keys, choices_of, codes_of, merged, numbers_of
from necrostats.registry.quantities import read_axes, read_number, read_quantity


@dataclass(frozen=True, kw_only=True)
class Defaults:
    """What the layout says for every column."""

    order: str
    system: str
    decimal: str
    grouped: bool
    synonyms: Mapping[str, Words]
    languages: tuple[str, ...] = ()
    words: OwnWords = NO_WORDS


def columns_of(keys: Keys, table: str, defaults: Defaults) -> tuple[ColumnLayout, ...]:
    """The columns of a group: heading = "target", = { to = "target", … }, or a list where its cells hold several."""
    read = (each for heading, written in keys.content.items() for each in _of(keys, heading, written, table, defaults))
    return tuple(part for column in read for part in _parts(column, defaults))


def _of(keys: Keys, heading: str, written: object, table: str, defaults: Defaults) -> Iterator[ColumnLayout]:
    listed = written if isinstance(written, list) else [written]
    read = [_column(keys, heading, each, table, defaults) for each in listed]
    columns = [column for column in read if column is not None]
    if not isinstance(written, list):
        yield from columns
        return
    for column in columns:
        if not shares_a_cell(table, column.to):
            keys.problems.add(
                keys.at(f'"{heading}"'),
                "shares its cells with another target, and has no codes",
                "Only targets that hold codes, or yes and no, can share a cell.",
                column.to,
            )
    yield from (replace(column, sharing=tuple(columns)) for column in columns)


def _parts(column: ColumnLayout, defaults: Defaults) -> tuple[ColumnLayout, ...]:
    """A column whose cells hold the reason and the date of an end is read twice, once for each."""
    if column.to != "end":
        return (column,)
    codes = merged(defaults.synonyms.get("end_reason", {}), column.codes)
    return tuple(replace(column, to=to, codes=codes, of_end=True) for to in ENDS)


def _column(keys: Keys, heading: str, written: object, table: str, defaults: Defaults) -> ColumnLayout | None:
    place = f'"{heading}"'
    if not isinstance(written, str | dict):
        keys.wrong(place, written, 'a target, or a table such as { to = "day" }')
        return None
    options = Keys({"to": written} if isinstance(written, str) else written, keys.at(place), keys.problems)
    to = options.choice("to", targets(table))
    if not to:
        if "to" not in options.content:
            keys.problems.add(
                options.place,
                "it is not said what the column becomes",
                f"Add to = one of: {', '.join(targets(table))}.",
            )
        return None
    own = _own_words(options, table, to)
    order = options.choice("order", ("day_first", "month_first"), defaults.order)
    column = ColumnLayout(
        heading=heading,
        to=to,
        unit=options.text("unit"),
        ml_only=options.flag("ml_only"),
        decimal=options.choice("decimal", (".", ","), defaults.decimal),
        day_first={"day_first": True, "month_first": False}.get(order),
        system=options.choice("system", ("1900", "1904"), defaults.system),
        codes=merged(_general_words(table, to, defaults), own),
        own_codes=own,
        days=options.flag("days"),
        pseudonyms=options.flag("pseudonyms"),
        session=options.flag("session", True),
        grouped=defaults.grouped,
        words=defaults.words,
    )
    options.done()
    _check_unit(options, table, column)
    return column


def _own_words(options: Keys, table: str, to: str) -> Words:
    """The words that a column lists as its own."""
    table, to = home(table, to)
    numeric = to in ("size", "yield") or _kind(table, to) in ("number", "whole")
    keys = options.keys("codes")
    return numbers_of(keys) if numeric else codes_of(keys, YES_NO if is_date(table, to) else _choices(table, to))


def _general_words(table: str, to: str, defaults: Defaults) -> Words:
    """The words that the layout, or a language, lists for every column of the kind."""
    table, to = home(table, to)
    if is_date(table, to):
        return {word: code for word, code in defaults.synonyms.get("yes_no", {}).items() if code}
    said = merged(defaults.synonyms.get(_list_of(table, to), {}), defaults.synonyms.get(to, {}))
    choices = _choices(table, to)
    return {word: code for word, code in said.items() if not code or code in choices}


def _kind(table: str, to: str) -> str:
    return TABLES[table].column(to).kind if to not in CODED_WORDS and to in TABLES[table].names else ""


def _list_of(table: str, to: str) -> str:
    """The name under which synonyms of a target are listed."""
    kind = _kind(table, to)
    return CODED_WORDS.get(to) or ("yes_no" if kind == "yes_no" else to if kind == "code" else "")


def lists_of(table: str, to: str) -> set[str]:
    """The names under [synonyms] whose words count for a target."""
    own, target = home(table, to)
    return {to, target, "yes_no" if is_date(own, target) else _list_of(own, target)} - {""}


def _choices(table: str, to: str) -> tuple[str, ...]:
    return TABLES[table].column(to).codes if _kind(table, to) == "code" else choices_of(_list_of(table, to))


def _check_unit(options: Keys, table: str, column: ColumnLayout) -> None:
    if not column.unit:
        return
    try:
        if column.to == "yield":
            read_quantity("1", default_unit=column.unit)
        elif column.to in BORES:
            read_number("1", unit=BORES[column.to], default_unit=column.unit)
        elif column.to == "size":
            read_axes("1", column.unit)
        else:
            own = TABLES[table].column(column.to).unit if column.to in TABLES[table].names else "none"
            read_number("1", unit=GRAMMAR_UNITS[own], default_unit=column.unit)
    except ChoiceError as error:
        problem = "is no unit of this column"
        options.problems.add(options.at("unit"), problem, str(error).partition(". ")[2] or str(error), column.unit)
    except KeyError:
        options.problems.add(
            options.at("unit"),
            f"stands with {column.to}, which has no unit that can be changed",
            "Take it away.",
            column.unit,
        )
