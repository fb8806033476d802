"""The words of a layout that stand for codes: synonyms, constants, and what fills empty cells."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.export.layout_keys import Keys
from necrostats.registry.export.names import folded, hint
from necrostats.registry.export.targets import code_column, plain_columns
from necrostats.registry.quantities.vocabulary import SIZES
from necrostats.registry.tidy_cells import read_cell
from necrostats.registry.verdicts import Verdict

YES_NO = ("yes", "no")
LAST_RECORD, DATA_LOCK = "last_record", "data_lock"
_DAY_FILLS = {("patients", "last_contact_day"): (LAST_RECORD, DATA_LOCK)}


def synonyms(keys: Keys) -> dict[str, dict[str, str]]:
    """[synonyms]: column → folded word → code."""
    names = sorted({column.name for table in TABLES.values() for column in table.columns if column.kind == "code"})
    known = ["yes_no", *names]
    found = {name: codes_of(keys.keys(name), choices_of(name)) for name in known}
    keys.done()
    return {name: words for name, words in found.items() if words}


def choices_of(name: str) -> tuple[str, ...]:
    """The codes that words of a column (or of "yes_no") can stand for."""
    if name == "yes_no":
        return YES_NO
    if name == "yield_words":
        return SIZES
    column = code_column(name)
    return column.codes if column else ()


def codes_of(keys: Keys, choices: tuple[str, ...]) -> dict[str, str]:
    """A table of words → codes; every code must be on the list, or blank."""
    listed = {folded(code): code for code in choices}
    found = {}
    for word in list(keys.content):
        code = folded(keys.text(word))
        if code and code not in listed:
            problem, remedy = f"is not on the list{hint(code, choices)}", f"Write one of: {', '.join(choices)}."
            keys.problems.add(keys.at(f'"{word}"'), problem, remedy, code)
        else:
            found[folded(word)] = listed.get(code, "")
    return found


def constants(keys: Keys, table: str) -> dict[str, str]:
    """A table of columns → values, each as the codebook has it."""
    found = {}
    for name in list(keys.content):
        value = _value(keys, name)
        if name not in plain_columns(table):
            keys.problems.add(
                keys.at(name), f"is no column of {table} that can be filled{hint(name, plain_columns(table))}",
                "Correct the name.",
            )  # fmt: skip
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
                keys.at(f'"{name}"'), f"is no table and column that can be filled{hint(name, known)}",
                'Write "table.column" in quotation marks.',
            )  # fmt: skip
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
