"""A layout file, checked whole: every mistake found at once, with its place, its value and the nearest match.

The rows of a sheet make tables: columns, numbered groups, the rest column. What only the whole layout shows comes last.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from necrostats.errors import RegistryError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.inert import inert_lines
from necrostats.registry.export.layout import (
    HEADING_OF_A_FORM,
    INSIDE,
    WHOLE,
    ColumnLayout,
    Layout,
    Overflow,
    OwnWords,
    RowsLayout,
    SheetLayout,
)
from necrostats.registry.export.layout_columns import Defaults, columns_of
from necrostats.registry.export.layout_keys import (
    Keys,
    Problems,
    check_rows,
    check_whole,
    constants,
    filled,
    synonyms,
)
from necrostats.registry.export.layout_lists import as_headed, habits_of, languages_of, none_happened
from necrostats.registry.messages import problem_report
from necrostats.registry.reading_xlsx import MOST_ROWS

MOST_NUMBERS = 99


def rows_of(keys: Keys, defaults: Defaults) -> RowsLayout:
    """One [[sheet.rows]]."""
    table = keys.choice("table", tuple(TABLES))
    if not table:
        if "table" not in keys.content:
            keys.problems.add(
                keys.at("table"), "it is not said which table the rows are for", f"Write one of: {', '.join(TABLES)}."
            )
        return RowsLayout(table="patients", columns=())
    rows = RowsLayout(
        table=table,
        columns=tuple(
            each
            for said in (keys.keys("columns"), as_headed(keys, table))
            for each in columns_of(said, table, defaults)
        ),
        numbers=keys.numbers("numbers", MOST_NUMBERS),
        constants=constants(keys.keys("constants"), table),
        index=_index(keys, table),
        merge_same_day=_same_day(keys, table),
        ends_stents=_only_for(keys, "ends_stents", table, "stents"),
        by_day=_only_for(keys, "by_day", table, "adverse_events"),
        overflow=_overflow(keys),
    )
    keys.done()
    check_rows(keys, rows)
    return rows


def _index(keys: Keys, table: str) -> str:
    value = keys.take("index")
    if value is True or value == "first_drainage":
        if table != "sessions":
            keys.problems.add(
                keys.at("index"), "stands with a table other than sessions", "Only a session can be the index drainage."
            )
        return "row" if value is True else "first_drainage"
    if "index" in keys.content and value is not False:
        keys.wrong("index", value, 'true or "first_drainage"')
    return ""


def _same_day(keys: Keys, table: str) -> bool:
    merge = keys.choice("same_day", ("separate", "merge")) == "merge"
    if merge and table != "sessions":
        keys.problems.add(keys.at("same_day"), "stands with a table other than sessions", "Take it away.")
    return merge


def _only_for(keys: Keys, key: str, table: str, wanted: str) -> bool:
    """An option of the rows of one table."""
    said = keys.flag(key)
    if said and table != wanted:
        keys.problems.add(keys.at(key), f"stands with a table other than {wanted}", "Take it away.")
    return said


def _overflow(keys: Keys) -> Overflow | None:
    if "overflow" not in keys.content:
        keys.take("overflow")
        return None
    own = keys.keys("overflow")
    overflow = Overflow(
        column=own.text("column"),
        between=own.text("between", ";"),
        parts=own.texts("parts"),
        between_parts=own.text("between_parts", "|"),
    )
    own.done()
    if not overflow.column or not overflow.parts:
        own.problems.add(
            own.place,
            "it lacks the column, or the parts of a session in it",
            "Give column = its heading, and parts = the headings of the group in order.",
        )
        return None
    if not (overflow.between.strip("\n") and overflow.between_parts) or overflow.between == overflow.between_parts:
        own.problems.add(
            own.place,
            "sessions and their parts cannot be told apart",
            "between and between_parts must be two different signs.",
        )
    return overflow


FORMAT = 1
_MOST_BYTES = 1 << 20
_PLACE = re.compile(r"\(at line (\d+), column \d+\)")


def read_layout(path: str | Path) -> Layout:
    """The layout in a TOML file. SourceError if there is no such file; RegistryError, with all `findings`, if it
    cannot be used."""
    file = Path(path)
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise SourceError(f"{file.name} is too large to be a layout.")
        content = file.read_bytes()
    except OSError as error:
        raise SourceError(f"{file.name} cannot be opened: {(error.strerror or 'unknown reason').lower()}.") from error
    return parse_layout(content, file.name)


def parse_layout(content: bytes | str, name: str = "layout.toml") -> Layout:
    """The layout in the text of a TOML file; RegistryError if it cannot be used."""
    raw = content.encode() if isinstance(content, str) else content
    problems = Problems(name)
    parsed = _toml(raw, problems)
    layout = _layout(Keys(parsed, "", problems)) if parsed is not None else None
    if layout is not None and not len(problems):
        check_whole(layout, problems)
    if len(problems) or layout is None:
        findings = problems.findings()
        raise RegistryError(problem_report(findings, name), findings=findings)
    return replace(layout, sha256=hashlib.sha256(raw).hexdigest(), name=name)


def _toml(raw: bytes, problems: Problems) -> dict[str, Any] | None:
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError:
        problems.add("", "the file is not UTF-8 text", "Save the layout as UTF-8.")
    except RecursionError:
        problems.add("", "the file is nested too deeply to be a layout", "Write it again from the example.")
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        line = _PLACE.search(said)
        what = _PLACE.sub("", said).strip()
        problems.add(
            "",
            f"the file breaks off: {what[:1].lower()}{what[1:]}",
            "A layout is a TOML file: texts in quotation marks, no key twice, tables in [brackets].",
            row=int(line[1]) if line else None,
        )
    return None


def _layout(top: Keys) -> Layout:
    problems = top.problems
    version = top.numbers("format", FORMAT)
    if version != (FORMAT,) and not len(problems):
        problems.add("format", "there is no format", f"Begin the layout with: format = {FORMAT}")
    ignore_sheets = top.texts("ignore_sheets")
    dates, numbers, ids, collections = (top.keys(name) for name in ("dates", "numbers", "ids", "collections"))
    languages = languages_of(top)
    defaults = Defaults(
        languages=languages,
        order=dates.choice("order", ("day_first", "month_first")),
        system=dates.choice("system", ("1900", "1904")),
        decimal=numbers.choice("decimal", (".", ",")),
        grouped=numbers.choice("groups", ("blanks",)) == "blanks",
        synonyms=synonyms(top.keys("synonyms"), languages),
        words=_own_words(top.keys("words")),
    )
    layout = Layout(
        sheets=(),
        ignore_sheets=ignore_sheets,
        accept=top.texts("accept"),
        none_happened=none_happened(top),
        data_lock=dates.day("data_lock"),
        earliest=dates.day("earliest"),
        sequential=dates.choice("periods", ("quarters", "sequential")) == "sequential",
        keep_ids=ids.choice("patients", ("generate", "keep")) == "keep",
        id_form=_form(ids),
        id_habits=habits_of(ids),
        index_named=bool(collections.choice("index", ("first",))),
        unnamed=collections.choice("unnamed", ("index", "all")),
        fill=filled(top.keys("fill")),
    )
    sheets = tuple(_sheet(each, defaults) for each in top.tables("sheet"))
    if "es" in defaults.languages and "m" not in defaults.synonyms.get("sex", {}):
        problems.add(
            "synonyms.sex",
            '"M" can be mujer or masculino in Spanish',
            'Say which: under [synonyms.sex] write "M" = "female" or "M" = "male".',
        )
    for each in (dates, numbers, ids, collections, top):
        each.done()
    if not sheets:
        problems.add("sheet", "there is no sheet", "Add a [[sheet]] for each sheet or csv file to read.")
    inert = inert_lines(_given(top, "synonyms"), _given(top, "words"), sheets)
    return replace(layout, sheets=sheets, inert=tuple(inert))


def _given(top: Keys, name: str) -> list[str]:
    content = top.content.get(name)
    return list(content) if isinstance(content, dict) else []


def _own_words(keys: Keys) -> OwnWords:
    words = OwnWords.of({name: keys.texts(name) for name in (*WHOLE, *INSIDE)})
    keys.done()
    return words


def _is_texts(value: object) -> bool:
    """Whether rows to skip are given by what their first cell says: "Total", ["Total", "Mean*"]; "1-3" are numbers."""
    listed = value if isinstance(value, list) else [value]
    return all(isinstance(each, str) and (re.search(r"[^\W\d]", each) or not re.search(r"\d", each)) for each in listed)


def _skipped_rows(keys: Keys) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """The rows to skip by number, and those by what their first cell says: either, or both in one list."""
    value = keys.content.get("skip_rows")
    mixed = isinstance(value, list) and {type(each) for each in value} == {int, str}
    if not mixed:
        said = _is_texts(value)
        return (() if said else keys.numbers("skip_rows", MOST_ROWS)), (keys.texts("skip_rows") if said else ())
    keys.take("skip_rows")
    return tuple(each for each in value if isinstance(each, int)), tuple(
        each for each in value if isinstance(each, str)
    )


def _form(ids: Keys) -> str:
    form = ids.text("form")
    if form and not re.fullmatch(r"[^0-9]*0+", form):
        ids.problems.add(
            ids.at("form"), "does not end in a run of zeros", 'Write the form of an id such as "P000" or "000".', form
        )
        return ""
    return form


def _column_letters(keys: Keys, key: str) -> str:
    letters = keys.text(key).strip().upper()
    if letters and not re.fullmatch("[A-Z]{1,3}", letters):
        keys.problems.add(keys.at(key), "is no column of a spreadsheet", 'Write its letters, such as "A".', letters)
        return ""
    return letters


def _where(keys: Keys, key: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Headings, each with what its cells must say: { "What" = "CT" }, { "What" = ["CT", "MRI"] }."""
    own = keys.keys(key)
    found = tuple((heading, own.texts(heading)) for heading in list(own.content))
    if found and "labels" in keys.content:
        keys.problems.add(keys.at(key), "stands with a form, which makes one row", "Take it away.")
    return tuple((heading, words) for heading, words in found if words)


def _sheet(keys: Keys, defaults: Defaults) -> SheetLayout:
    skipped = _skipped_rows(keys)
    labels, values = _column_letters(keys, "labels"), _column_letters(keys, "values")
    if bool(labels) != bool(values):
        keys.problems.add(
            keys.at("labels"),
            "a form needs both the column of its labels and that of its values",
            'Write, for instance, labels = "A" and values = "B".',
        )
    sheet = SheetLayout(
        names=keys.texts("name"),
        header_rows=keys.numbers("header_rows", 1000) or ((HEADING_OF_A_FORM,) if labels else (1,)),
        starts=keys.texts("starts"),
        ends=keys.texts("ends"),
        labels=labels,
        values=values,
        label_rows=keys.numbers("label_rows", MOST_ROWS),
        patient=keys.texts("patient"),
        session=keys.text("session"),
        each_row_is_a_patient=keys.flag("each_row_is_a_patient"),
        carry_down=keys.texts("carry_down"),
        ignore=keys.texts("ignore"),
        skip_rows=skipped[0],
        skip_texts=skipped[1],
        where=_where(keys, "where"),
        skip_where=_where(keys, "skip_where"),
        rows=tuple(rows_of(each, defaults) for each in keys.tables("rows")),
    )
    sheet = replace(sheet, rows=tuple(_naming_sessions(rows, sheet.session) for rows in sheet.rows))
    if bool(sheet.patient) + bool(sheet.session) + sheet.each_row_is_a_patient != 1:
        keys.problems.add(
            keys.at("patient"),
            "it must be said once who the rows are about",
            "Name the column that holds the study code (patient = …) or the session (session = …), "
            "or write each_row_is_a_patient = true.",
        )
    if not sheet.rows:
        keys.problems.add(
            keys.at("rows"),
            "it is not said what the rows make",
            f"Add [[sheet.rows]] with a table: {', '.join(TABLES)}.",
        )
    keys.done()
    return sheet


_WITH_SESSION = ("instrument_uses", "adverse_events")


def _naming_sessions(rows: RowsLayout, session: str) -> RowsLayout:
    """The column by which a sheet says whose its rows are names the session of what they make, too."""
    if not session or rows.table not in _WITH_SESSION or rows.holds("session"):
        return rows
    return replace(rows, columns=(*rows.columns, ColumnLayout(heading=session, to="session")))
