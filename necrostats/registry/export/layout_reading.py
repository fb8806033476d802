"""A layout file, checked whole: every mistake found at once, with its place, its value and the nearest match."""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from necrostats.errors import RegistryError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout import Layout, SheetLayout
from necrostats.registry.export.layout_codes import filled, synonyms
from necrostats.registry.export.layout_keys import Keys, Problems
from necrostats.registry.export.layout_rows import Defaults, rows_of
from necrostats.registry.export.layout_whole import check_whole
from necrostats.registry.messages import problem_report
from necrostats.registry.reading_xlsx import MOST_ROWS

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
            "", f"the file breaks off: {what[:1].lower()}{what[1:]}",
            "A layout is a TOML file: texts in quotation marks, no key twice, tables in [brackets].",
            row=int(line[1]) if line else None,
        )  # fmt: skip
    return None


def _layout(top: Keys) -> Layout:
    problems = top.problems
    version = top.numbers("format", FORMAT)
    if version != (FORMAT,) and not len(problems):
        problems.add("format", "there is no format", f"Begin the layout with: format = {FORMAT}")
    ignore_sheets = top.texts("ignore_sheets")
    dates, numbers, ids, collections = (top.keys(name) for name in ("dates", "numbers", "ids", "collections"))
    defaults = Defaults(
        order=dates.choice("order", ("day_first", "month_first")),
        system=dates.choice("system", ("1900", "1904")),
        decimal=numbers.choice("decimal", (".", ",")),
        synonyms=synonyms(top.keys("synonyms")),
    )
    layout = Layout(
        sheets=(), ignore_sheets=ignore_sheets, data_lock=dates.day("data_lock"), earliest=dates.day("earliest"),
        sequential=dates.choice("periods", ("quarters", "sequential")) == "sequential",
        keep_ids=ids.choice("patients", ("generate", "keep")) == "keep", id_form=_form(ids),
        index_named=bool(collections.choice("index", ("first",))),
        unnamed=collections.choice("unnamed", ("index", "all")), fill=filled(top.keys("fill")),
    )  # fmt: skip
    sheets = tuple(_sheet(each, defaults) for each in top.tables("sheet"))
    for each in (dates, numbers, ids, collections, top):
        each.done()
    if not sheets:
        problems.add("sheet", "there is no sheet", "Add a [[sheet]] for each sheet or csv file to read.")
    return replace(layout, sheets=sheets)


def _form(ids: Keys) -> str:
    form = ids.text("form")
    if form and not re.fullmatch(r"[^0-9]*0+", form):
        ids.problems.add(
            ids.at("form"), "does not end in a run of zeros", 'Write the form of an id such as "P000" or "000".', form
        )
        return ""
    return form


def _sheet(keys: Keys, defaults: Defaults) -> SheetLayout:
    sheet = SheetLayout(
        names=keys.texts("name"), header_rows=keys.numbers("header_rows", 1000) or (1,), patient=keys.texts("patient"),
        each_row_is_a_patient=keys.flag("each_row_is_a_patient"), carry_down=keys.texts("carry_down"),
        ignore=keys.texts("ignore"), skip_rows=keys.numbers("skip_rows", MOST_ROWS),
        rows=tuple(rows_of(each, defaults) for each in keys.tables("rows")),
    )  # fmt: skip
    if bool(sheet.patient) == sheet.each_row_is_a_patient:
        keys.problems.add(
            keys.at("patient"), "it must be said once who the rows are about",
            "Name the column that holds the study code (patient = …), or write each_row_is_a_patient = true.",
        )  # fmt: skip
    if not sheet.rows:
        keys.problems.add(
            keys.at("rows"), "it is not said what the rows make",
            f"Add [[sheet.rows]] with a table: {', '.join(TABLES)}.",
        )  # fmt: skip
    keys.done()
    return sheet
