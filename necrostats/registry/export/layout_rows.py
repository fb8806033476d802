"""The part of a layout that says what the rows of one sheet make: tables, columns, numbered groups, the rest column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from necrostats.errors import ChoiceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout import NUMBER, ColumnLayout, Overflow, RowsLayout, Words
from necrostats.registry.export.layout_codes import choices_of, codes_of, constants, merged
from necrostats.registry.export.layout_keys import Keys
from necrostats.registry.export.names import folded, hint
from necrostats.registry.export.targets import GRAMMAR_UNITS, is_date, targets
from necrostats.registry.quantities import read_axes, read_number, read_quantity

MOST_NUMBERS = 99
_CODED = {"instruments": "instrument_class", "event": "event_type", "collections": "site", "collection": "site",
          "yield": "yield_words"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Defaults:
    """What the layout says for every column."""

    order: str
    system: str
    decimal: str
    synonyms: Mapping[str, Words]


def rows_of(keys: Keys, defaults: Defaults) -> RowsLayout:
    """One [[sheet.rows]]."""
    table = keys.choice("table", tuple(TABLES))
    if not table:
        if "table" not in keys.content:
            keys.problems.add(keys.at("table"), "it is not said which table the rows are for",
                              f"Write one of: {', '.join(TABLES)}.")  # fmt: skip
        return RowsLayout(table="patients", columns=())
    rows = RowsLayout(
        table=table, columns=_columns(keys.keys("columns"), table, defaults),
        numbers=keys.numbers("numbers", MOST_NUMBERS), constants=constants(keys.keys("constants"), table),
        index=_index(keys, table), merge_same_day=_same_day(keys, table), overflow=_overflow(keys),
    )  # fmt: skip
    keys.done()
    _check(keys, rows)
    return rows


def _index(keys: Keys, table: str) -> str:
    value = keys.take("index")
    if value is True or value == "first_drainage":
        if table != "sessions":
            keys.problems.add(keys.at("index"), "stands with a table other than sessions",
                              "Only a session can be the index drainage.")  # fmt: skip
        return "row" if value is True else "first_drainage"
    if "index" in keys.content and value is not False:
        keys.wrong("index", value, 'true or "first_drainage"')
    return ""


def _same_day(keys: Keys, table: str) -> bool:
    merge = keys.choice("same_day", ("separate", "merge")) == "merge"
    if merge and table != "sessions":
        keys.problems.add(keys.at("same_day"), "stands with a table other than sessions", "Take it away.")
    return merge


def _columns(keys: Keys, table: str, defaults: Defaults) -> tuple[ColumnLayout, ...]:
    return tuple(
        column
        for heading, written in keys.content.items()
        if (column := _column(keys, heading, written, table, defaults)) is not None
    )


def _column(keys: Keys, heading: str, written: object, table: str, defaults: Defaults) -> ColumnLayout | None:
    place = f'"{heading}"'
    if not isinstance(written, str | dict):
        keys.wrong(place, written, 'a target, or a table such as { to = "day" }')
        return None
    options = Keys({"to": written} if isinstance(written, str) else written, keys.at(place), keys.problems)
    to = options.choice("to", targets(table))
    if not to:
        if "to" not in options.content:
            keys.problems.add(options.place, "it is not said what the column becomes",
                              f"Add to = one of: {', '.join(targets(table))}.")  # fmt: skip
        return None
    order = options.choice("order", ("day_first", "month_first"), defaults.order)
    column = ColumnLayout(
        heading=heading, to=to, unit=options.text("unit"), ml_only=options.flag("ml_only"),
        decimal=options.choice("decimal", (".", ","), defaults.decimal),
        day_first={"day_first": True, "month_first": False}.get(order),
        system=options.choice("system", ("1900", "1904"), defaults.system),
        codes=_words(options, table, to, defaults), days=options.flag("days"), pseudonyms=options.flag("pseudonyms"),
        session=options.flag("session", True),
    )  # fmt: skip
    options.done()
    _check_unit(options, table, column)
    return column


def _words(options: Keys, table: str, to: str, defaults: Defaults) -> Words:
    kind = TABLES[table].column(to).kind if to not in _CODED and to in TABLES[table].names else ""
    name = _CODED.get(to) or ("yes_no" if kind == "yes_no" else to if kind == "code" else "")
    choices = TABLES[table].column(to).codes if kind == "code" else choices_of(name)
    own = codes_of(options.keys("codes"), choices)
    general = {word: code for word, code in defaults.synonyms.get(name, {}).items() if not code or code in choices}
    return merged(general, own)


def _check_unit(options: Keys, table: str, column: ColumnLayout) -> None:
    if not column.unit:
        return
    try:
        if column.to == "yield":
            read_quantity("1", default_unit=column.unit)
        elif column.to == "size":
            read_axes("1", column.unit)
        else:
            own = TABLES[table].column(column.to).unit if column.to in TABLES[table].names else "none"
            read_number("1", unit=GRAMMAR_UNITS[own], default_unit=column.unit)
    except ChoiceError as error:
        problem = "is no unit of this column"
        options.problems.add(options.at("unit"), problem, str(error).partition(". ")[2] or str(error), column.unit)
    except KeyError:
        options.problems.add(options.at("unit"), f"stands with {column.to}, which has no unit that can be changed",
                             "Take it away.", column.unit)  # fmt: skip


def _overflow(keys: Keys) -> Overflow | None:
    if "overflow" not in keys.content:
        keys.take("overflow")
        return None
    own = keys.keys("overflow")
    overflow = Overflow(
        column=own.text("column"), between=own.text("between", ";"), parts=own.texts("parts"),
        between_parts=own.text("between_parts", "|"),
    )  # fmt: skip
    own.done()
    if not overflow.column or not overflow.parts:
        own.problems.add(own.place, "it lacks the column, or the parts of a session in it",
                         "Give column = its heading, and parts = the headings of the group in order.")  # fmt: skip
        return None
    if not (overflow.between.strip("\n") and overflow.between_parts) or overflow.between == overflow.between_parts:
        own.problems.add(own.place, "sessions and their parts cannot be told apart",
                         "between and between_parts must be two different signs.")  # fmt: skip
    return overflow


def _check(keys: Keys, rows: RowsLayout) -> None:
    problems = keys.problems
    if not rows.columns:
        problems.add(keys.at("columns"), "no column is mapped", f'Add "Heading" = one of: '
                     f"{', '.join(targets(rows.table))}.")  # fmt: skip
    for column in rows.columns:
        if (NUMBER in column.heading) != bool(rows.numbers):
            problems.add(keys.at(f'columns."{column.heading}"'), "has {n} without numbers, or numbers without {n}",
                         'Write {n} in every heading of a numbered group, and numbers = "1-7".')  # fmt: skip
    twice = {column.to for column in rows.columns if sum(column.to == other.to for other in rows.columns) > 1}
    for target in sorted(twice):
        problems.add(keys.at("columns"), f'two columns become "{target}"', "One row has one of each: make two rows.")
    if rows.index and not any(is_date(rows.table, column.to) for column in rows.columns):
        problems.add(keys.at("index"), 'no column becomes "day"', "The index drainage needs its date.")
    _check_overflow(keys, rows)


def _check_overflow(keys: Keys, rows: RowsLayout) -> None:
    if rows.overflow is None:
        return
    known = {folded(column.heading): column for column in rows.columns}
    for part in rows.overflow.parts:
        if folded(part) not in known:
            keys.problems.add(keys.at("overflow.parts"), "is no heading of this group"
                              f"{hint(part, [column.heading for column in rows.columns])}",
                              "Name the columns of the group, with {n}.", part)  # fmt: skip
    if rows.table != "sessions" or "day" not in {known[folded(part)].to for part in rows.overflow.parts
                                                 if folded(part) in known}:  # fmt: skip
        keys.problems.add(keys.at("overflow"), "it needs the table sessions, and a part that is the date",
                          "Without a date a session cannot be placed.")  # fmt: skip
