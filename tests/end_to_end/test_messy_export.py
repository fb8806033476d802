"""The committed messy workbook: every cell becomes what the truth says, or is set aside with a finding."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
from openpyxl import load_workbook

from builders.export_truth import Expected, compare, read_truth
from necrostats.bundled import synthetic_registry
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.loading import ReadExport, read_with_layout
from necrostats.registry.export.tidying import tidy

HOME = synthetic_registry()
EXPORT = HOME / "export"
BOOK, LAYOUT = EXPORT / "unit_export.xlsx", EXPORT / "layout.toml"
HEADER_ROWS = {"DEN": (2, 3)}
MESS = (
    "about",
    "another unit",
    "arithmetic",
    "axes",
    "axes with unit",
    "blank word",
    "centimetres among millimetres",
    "collection by its number",
    "collection by its site",
    "collections miscounted",
    "cubic centimetres",
    "date in text, day first",
    "date in text, month first",
    "decimal comma",
    "decimal sign not said",
    "event",
    "formula",
    "formula with an error",
    "formula without a result",
    "grams",
    "index known by month",
    "key in another form",
    "last column",
    "last column, unreadable",
    "less than",
    "litres",
    "month first",
    "month only",
    "more than",
    "names nobody",
    "negative",
    "no event",
    "no size",
    "no such date",
    "not checked",
    "number with its unit",
    "one or the other",
    "order of day and month not said",
    "out and in",
    "per cent",
    "points elsewhere",
    "question mark for instruments",
    "range",
    "range backwards",
    "range where one number belongs",
    "roman number",
    "see report",
    "serial number",
    "several collections",
    "several instruments",
    "shown as per cent",
    "the unit's own word",
    "trailing remark",
    "two codes in one cell",
    "two events or an unlisted one",
    "two rows disagree",
    "unlisted word",
    "vague date",
    "word",
    "x2",
    "yes and no",
    "zero",
)


@pytest.fixture(scope="module")
def truth() -> list[Expected]:
    return read_truth(EXPORT / "truth.csv", header_rows=HEADER_ROWS)


@pytest.fixture(scope="module")
def read() -> ReadExport:
    return read_with_layout(BOOK, LAYOUT)


def write(folder: Path, *arguments: str, cwd: Path) -> None:
    script = HOME / "messy_export" / "write.py"
    command = [sys.executable, str(script), "--to", str(folder), *arguments]
    subprocess.run(command, check=True, cwd=cwd, capture_output=True)


def test_every_cell_becomes_what_the_truth_says_or_is_set_aside_with_a_finding(truth, read):
    verdicts = compare(truth, ledger_of(read), read.registry.findings)
    print("\n" + "\n".join(f"{count:7,} {outcome}" for outcome, count in sorted(verdicts.counts.items())))
    print(f"{sum(verdicts.counts.values()):7,} cells of the workbook")
    assert not verdicts.wrong, "\n".join(verdicts.wrong[:40])
    assert verdicts.counts["value"] > 5_000
    assert verdicts.counts["set aside (either)"] <= 15


def test_the_comparison_notices_a_value_that_is_wrong_and_a_cell_that_is_lost(truth, read):
    ledger = ledger_of(read)
    telling = ledger["field"].isin(["age_years", "sex", "day", "yield_low", "long_mm"])
    told = ledger[(ledger["outcome"] == "value") & telling]
    changed = told.sample(40, random_state=5).index
    lost = told.drop(changed).sample(40, random_state=5).drop_duplicates(["sheet", "row", "column"])
    ledger.loc[changed, "value"] = ledger.loc[changed, "value"] + "1"
    cells = list(zip(lost["sheet"], lost["row"], lost["column"], strict=True))
    gone = [place in set(cells) for place in zip(ledger["sheet"], ledger["row"], ledger["column"], strict=True)]
    clean = compare(truth, ledger_of(read), read.registry.findings)
    spoilt = compare(truth, ledger[[not each for each in gone]], read.registry.findings)
    assert not clean.wrong
    assert len(spoilt.wrong) >= 60


def test_a_key_is_set_aside_in_the_ledger_where_its_patient_is_and_nowhere_else(read):
    ledger, kept = ledger_of(read), set(read.registry.patients["patient_id"].astype(object))
    keys = ledger[ledger["rule"] == "key"]
    aside = keys["outcome"] == "set aside"
    assert aside.any() and kept.isdisjoint(keys.loc[aside, "value"])
    assert set(keys.loc[~aside, "value"]) <= kept


def test_instruments_stand_in_the_order_in_which_they_were_typed(truth, read):
    uses = read.registry.instrument_uses.sort_values("use_order")
    made = uses.groupby("session_id", observed=True)["instrument_class"].agg(lambda each: tuple(map(str, each)))
    typed: Counter = Counter()
    for cell in truth:
        if cell.becomes.startswith("instrument_uses") and cell.reading == "":
            typed[tuple(cell.values.values())] += 1
    assert typed
    counted = Counter(made)
    assert all(counted[classes] >= times for classes, times in typed.items())


def test_no_cell_and_no_row_is_lost(tmp_path, truth):
    tidied = tidy(BOOK, LAYOUT, tmp_path / "tidy")
    print(f"\n{tidied.counts}")
    assert tidied.counts.complete
    below = [cell for cell in truth if cell.becomes != "heading" and cell.written.strip()]
    titles = [cell for cell in truth if cell.becomes == "heading"]
    assert titles
    assert tidied.counts.cells == len(below)


def test_every_kind_of_mess_is_there_many_times(truth):
    found = Counter(cell.mess for cell in truth)
    print("\n" + ", ".join(f"{mess} {found[mess]}" for mess in MESS))
    assert set(found) - {""} == set(MESS)
    assert not [mess for mess in MESS if found[mess] < 2]


def cells_of(path: Path) -> dict[str, list[tuple]]:
    book = load_workbook(path)
    return {sheet.title: [*sheet.iter_rows(values_only=True), *map(str, sheet.merged_cells.ranges)] for sheet in book}


def test_the_committed_workbook_is_what_the_routine_writes_and_it_writes_the_same_bytes_twice(tmp_path):
    write(tmp_path / "once", cwd=tmp_path)
    write(tmp_path / "again", cwd=tmp_path)
    for name in ("unit_export.xlsx", "truth.csv", "layout.toml"):
        assert (tmp_path / "once" / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name
    for name in ("truth.csv", "layout.toml"):
        assert (tmp_path / "once" / name).read_bytes() == (EXPORT / name).read_bytes(), name
    assert cells_of(tmp_path / "once" / "unit_export.xlsx") == cells_of(BOOK)


@pytest.mark.parametrize("seed", [1, 2])
def test_another_unit_of_typists_is_read_as_truly(tmp_path, seed):
    write(tmp_path, "--seed", str(seed), "--since", "2025Q4", cwd=tmp_path)
    read = read_with_layout(tmp_path / "unit_export.xlsx", LAYOUT)
    truth = read_truth(tmp_path / "truth.csv", header_rows=HEADER_ROWS)
    verdicts = compare(truth, ledger_of(read), read.registry.findings)
    assert not verdicts.wrong, "\n".join(verdicts.wrong[:40])
    assert verdicts.counts["value"] > 800
