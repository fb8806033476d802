"""Every kind of refusal is lifted by the very lines it prints: on the command line, and in a layout."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
import xlsxwriter

from builders.exports import HEADINGS, WIDE, wide_line, workbook
from necrostats.cli import DONE, FAILED, MISUSE, main

LINE = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="snare", DEN1_yield="100 ml")
MAIL, PHONE, PERSON, DOCTOR = "j.brandelow@example.org", "0171 5550 1234", "Ottilie Brandelow", "d/w Dr Brandelow"
SECRETS = ("brandelow", "5550", "example.org", "ottilie", "4321987", "05/05/1960", "quorlis")
REFUSED = "may tell who somebody is"
ROUNDS = 4


def column(heading: str, *cells: object) -> dict:
    """The wide sheet with a further column."""
    cells = cells or ("none",)
    return {"DEN": [[*HEADINGS, heading], *([*wide_line(str(n), 50 + n), each] for n, each in enumerate(cells))]}


def book(sheets: dict, name: str = "unit.xlsx", **properties: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        path = workbook(folder / name, sheets)
        if properties:
            from openpyxl import load_workbook

            loaded = load_workbook(path)
            for key, text in properties.items():
                setattr(loaded.properties, key, text)
            loaded.save(path)
        return path

    return make


def drawn(draw: Callable) -> Callable[[Path], Path]:
    """The wide sheet in a workbook to which something is done that is no cell."""

    def make(folder: Path) -> Path:
        path = folder / "unit.xlsx"
        with xlsxwriter.Workbook(path) as made:
            shown = made.add_format({"num_format": "dd/mm/yyyy"})
            sheet = made.add_worksheet("DEN")
            for row, line in enumerate((HEADINGS, LINE)):
                for place, value in enumerate(line):
                    if isinstance(value, date):
                        sheet.write_datetime(row, place, value, shown)
                    else:
                        sheet.write(row, place, value)
            draw(made, sheet)
        return path

    return make


def csvs(**files: list) -> Callable[[Path], Path]:
    """A folder of csv files."""

    def make(folder: Path) -> Path:
        home = folder / "export"
        home.mkdir()
        for name, lines in files.items():
            text = "\n".join(",".join(map(str, line)) for line in lines)
            (home / f"{name.replace('_', ' ')}.csv").write_text(text, encoding="utf-8")
        return home

    return make


def in_a_folder(name: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        home = folder / name
        home.mkdir()
        workbook(home / "unit.xlsx", {"DEN": [HEADINGS, LINE]})
        return home

    return make


def chart(made, sheet) -> None:
    made.add_chartsheet(PERSON).set_chart(_bars(made))


def _bars(made):
    bars = made.add_chart({"type": "column"})
    bars.add_series({"values": "=DEN!$B$2:$B$2"})
    return bars


PLAIN = {"DEN": [HEADINGS, LINE]}
KINDS = {
    "a column headed by what it asks for": book(column("Date of birth", "05/05/1960")),
    "a heading that is a person's": book(column("Brandelow, Ottilie", 3)),
    "a heading with a hard clue": book(column(MAIL, 3)),
    "a heading with signs that shells know": book(column('Remarks (50 % "GP" $x `y` \\ !z)', DOCTOR)),
    "a heading over two lines": book(column("Remarks\nof the GP", DOCTOR)),
    "a heading with marks that nobody sees": book(column("Re\u200bmarks\u202e", DOCTOR)),
    "a heading that holds the sign between": book(column("Remarks; GP!", DOCTOR)),
    "a column without a heading": book(column("", DOCTOR)),
    "a heading twice": book(
        {"DEN": [[*HEADINGS, "Note", "Note"], [*LINE, "none", DOCTOR], [*wide_line("2", 51), "", "none"]]}
    ),
    "cells of a column": book(column("Remarks", "none", MAIL, "none", "none", "none", "none")),
    "a whole column of cells": book(column("Contact", PHONE, "0171 5550 1235", "0171 5550 1236")),
    "a cell that only looks so": book(column("Remarks", "Konsil Quorlis", *["none"] * 9)),
    "a record number": book(column("MRN", "4321987")),
    "another export's ids": book(column("Uuid", "3f2a9c10-7b5e-4d11-9c3a-0f6d1b2e8a77")),
    "a date where a study code belongs": book({"DEN": [HEADINGS, wide_line("KM 12/03/1961"), *[LINE] * 1]}),
    "a name as a study code": book({"DEN": [HEADINGS, wide_line("Mrs Ottilie Brandelow"), LINE]}),
    "a sheet whose name is a person's": book({**PLAIN, PERSON: [("a",), (1,)]}),
    "a cell in a sheet whose name is a person's": book({**PLAIN, PERSON: [("a", "Remarks"), (1, MAIL)]}),
    "two sheets whose names are persons'": book({**PLAIN, PERSON: [("a",), (1,)], "Anna Quorlis": [("a",), (1,)]}),
    "a sheet whose name holds a number": book({**PLAIN, "MRN 4321987": [("a",), (1,)]}),
    "a sheet of a chart": drawn(chart),
    "a hidden sheet": drawn(lambda made, _: _hidden(made)),
    "a file whose name is a person's": book(PLAIN, name="Ottilie Brandelow.xlsx"),
    "a file whose name is written like a login": book(PLAIN, name="o.brandelow.xlsx"),
    "several files whose names are persons'": csvs(
        DEN=[HEADINGS, LINE], Ottilie_Brandelow=[("a",), (1,)], Anna_Quorlis=[("a", "Remarks"), (1, MAIL)]
    ),
    "a folder whose name is a person's": in_a_folder("Ottilie Brandelow"),
    "a cell of a csv file": csvs(DEN=[HEADINGS, LINE], Notes=[("a", "Remarks"), (1, MAIL)]),
    "a property of the workbook": book(PLAIN, creator=PERSON),
    "a property with a hard clue": book(PLAIN, description=MAIL),
    "a defined name": drawn(lambda made, _: made.define_name("Dr_Brandelow_MRN_4321987", "=DEN!$A$1")),
    "a comment": drawn(lambda _, sheet: sheet.write_comment(1, 1, MAIL)),
    "comments on two sheets of which one is a person's": drawn(lambda made, sheet: _two_comments(made, sheet)),
    "the head of a printed page": drawn(lambda _, sheet: sheet.set_header(f"&C{MAIL}")),
    "the foot of a printed page": drawn(lambda _, sheet: sheet.set_footer(f"&R{DOCTOR}")),
    "a text box": drawn(lambda _, sheet: sheet.insert_textbox("K9", MAIL)),
    "a title above the headings": book({"DEN": [[MAIL], HEADINGS, LINE]}),
    "a title above, in a file whose name is a person's": book(
        {"DEN": [[MAIL], HEADINGS, LINE]}, name="Ottilie Brandelow.xlsx"
    ),
    "more places than are printed at once": book(
        {"DEN": [[*HEADINGS, *(f"Note {n}" for n in range(60))], [*LINE, *[MAIL] * 60]]}
    ),
    "all at once": book(
        {**column("Remarks", MAIL), "Ottilie Brandelow": [("x", "MRN"), (1, "4321987")]},
        name="Anna Quorlis.xlsx",
        creator=PERSON,
    ),
}
LAYOUTS = {
    "a title above the headings": ('patient = "Study no"', 'patient = "Study no"\nheader_rows = 2'),
    "a title above, in a file whose name is a person's": (
        'patient = "Study no"',
        'patient = "Study no"\nheader_rows = 2',
    ),
}


def _hidden(made) -> None:
    sheet = made.add_worksheet("Old")
    sheet.hide()
    sheet.write_row(0, 0, ["x", "Tel"])
    sheet.write_row(1, 0, ["1", PHONE])


def _two_comments(made, sheet) -> None:
    sheet.write_comment(1, 1, MAIL)
    other = made.add_worksheet(PERSON)
    other.write(0, 0, "x")
    other.write_comment(0, 0, MAIL)


def layout_of(kind: str, folder: Path) -> Path:
    path = folder / "layout.toml"
    path.write_text(WIDE.replace(*LAYOUTS.get(kind, ("", ""))), encoding="utf-8")
    return path


def ran(capsys, *command: object) -> tuple[int, str]:
    """The exit code of a command, and everything that it printed."""
    code = main([str(each) for each in command])
    printed = capsys.readouterr()
    said = printed.out + printed.err
    assert "Traceback" not in said and "should not have" not in said
    return code, said


def printed_lines(said: str) -> list[str]:
    """The lines of a refusal that say what lets a place pass, as they stand."""
    return [line.strip() for line in said.splitlines() if re.match(r" {4}--accept \S", line)]


def shown(said: str) -> list[str]:
    """The secrets that are shown, but for the names of files in the lines that tell how far a run has come."""
    told = "\n".join(line for line in said.splitlines() if not line.startswith("necrostats: reading"))
    return [secret for secret in SECRETS if secret in told.casefold()]


def lifted(capsys, *command: object) -> tuple[list[str], str]:
    """The lines that a command prints until it is no longer refused, each taken word for word by a shell's rules."""
    lines: list[str] = []
    for _ in range(ROUNDS):
        code, said = ran(capsys, *command, *(word for line in lines for word in shlex.split(line)))
        if REFUSED not in said:
            assert code in (DONE, FAILED), said
            return lines, said
        assert code in (MISUSE, FAILED) and not shown(said), said
        new = printed_lines(said)
        assert new and not set(new) & set(lines), said
        lines += new
    raise AssertionError(said)


@pytest.mark.parametrize("kind", KINDS)
def test_a_refusal_is_lifted_by_its_own_lines(tmp_path, capsys, kind):
    source, layout = KINDS[kind](tmp_path), layout_of(kind, tmp_path)
    lines, _ = lifted(capsys, "tidy", source, "--layout", layout, "--to", tmp_path / "tidy")
    assert lines and (tmp_path / "tidy" / "patients.csv").is_file()


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_texts_lift_it_in_a_layout(tmp_path, capsys, kind):
    source, layout = KINDS[kind](tmp_path), layout_of(kind, tmp_path)
    lines, _ = lifted(capsys, "check", source, "--layout", layout)
    accept = ", ".join(line.removeprefix("--accept ") for line in lines)
    layout.write_text(f"accept = [{accept}]\n{layout.read_text(encoding='utf-8')}", encoding="utf-8")
    code, said = ran(capsys, "tidy", source, "--layout", layout, "--to", tmp_path / "tidy")
    assert REFUSED not in said and code in (DONE, FAILED)


@pytest.mark.parametrize("kind", KINDS)
def test_a_draft_prints_the_same_lines_for_the_names_and_headings_that_it_refuses(tmp_path, capsys, kind):
    source, layout = KINDS[kind](tmp_path), layout_of(kind, tmp_path)
    drafted, _ = lifted(capsys, "draft-layout", source)
    read, _ = lifted(capsys, "check", source, "--layout", layout)
    assert set(drafted) <= set(read)


@pytest.mark.parametrize("kind", KINDS)
def test_accepting_one_place_lets_no_other_pass(tmp_path, capsys, kind):
    source, layout = KINDS[kind](tmp_path), layout_of(kind, tmp_path)
    lines, _ = lifted(capsys, "check", source, "--layout", layout)
    for left_out in lines[:3]:
        others = [word for line in lines if line != left_out for word in shlex.split(line)]
        code, said = ran(capsys, "check", source, "--layout", layout, *others)
        assert code in (MISUSE, FAILED) and printed_lines(said) == [left_out]


TIDY = {
    "patients": [
        "patient_id,age_years,index_period,observed_days,last_contact_day,vital_status,{extra}",
        "P001,50,2024Q1,400,300,alive,{cell}",
    ],
    "collections": ["collection_id,patient_id,is_index", "C1,P001,yes"],
    "sessions": ["session_id,patient_id,collection_id,day,session_type", "S1,P001,C1,0,drainage"],
}
OURS = {
    "a strange column": ("remarks", MAIL, None),
    "a heading that is a person's": ('"Brandelow, Ottilie"', "1", None),
    "a file nobody asked for": ("remarks", "", "Ottilie Brandelow.csv"),
    "a file named by a record number": ("remarks", "", "MRN 4321987.csv"),
}


@pytest.mark.parametrize("kind", OURS)
def test_a_refusal_of_our_own_tables_is_lifted_by_its_lines_too(tmp_path, capsys, kind):
    extra, cell, file = OURS[kind]
    home = tmp_path / "registry"
    home.mkdir()
    for name, lines in TIDY.items():
        (home / f"{name}.csv").write_text("\n".join(lines).format(extra=extra, cell=cell), encoding="utf-8")
    if file:
        (home / file).write_text("a\n1\n", encoding="utf-8")
    lines, _ = lifted(capsys, "check", home)
    assert lines
    assert REFUSED not in ran(capsys, "tidy", home, "--to", tmp_path / "to", *shlex.split(" ".join(lines)))[1]


def test_a_cell_withheld_alone_is_read_once_its_own_line_is_given(tmp_path, capsys):
    source = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line(DEN1_date=INDEX, DEN1_tools="Quorlis")]})
    layout = layout_of("", tmp_path)
    _, said = ran(capsys, "check", source, "--layout", layout)
    line = re.search(r'--accept "[^"]+"', said)
    assert line and "MAY_BE" not in said
    _, again = ran(capsys, "check", source, "--layout", layout, *shlex.split(line[0]))
    assert "looks like a name" in said and "looks like a name" not in again


INDEX = date(2024, 3, 8)


@pytest.mark.parametrize("heading", ["Status 30.09.2025", "CT 2024-03-12", "12/03/2024", "Stand 3. März 2024"])
def test_a_date_in_a_heading_is_nobodys_and_stops_nothing_and_is_not_repeated_beside_a_patient(
    tmp_path, capsys, heading
):
    source, layout = book(column(heading, "x"))(tmp_path), layout_of("", tmp_path)
    _, said = ran(capsys, "tidy", source, "--layout", layout, "--to", tmp_path / "tidy", "--all")
    assert REFUSED not in said and "(date)" in said
    written = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "tidy").glob("*.csv"))
    assert not [part for part in ("2025", "2024-03", "12/03", "März") if part in written + said]
    assert REFUSED not in ran(capsys, "draft-layout", source)[1]


@pytest.mark.parametrize("heading", ["12.03.1961", "born 12.03.1961", "geb. 3.4.56"])
def test_a_heading_that_may_be_a_birth_still_stops(tmp_path, capsys, heading):
    source, layout = book(column(heading, "x"))(tmp_path), layout_of("", tmp_path)
    assert REFUSED in ran(capsys, "check", source, "--layout", layout)[1]


@pytest.mark.parametrize("where", ["ignore", "map"])
def test_a_heading_that_the_layout_writes_out_is_vouched_for_as_a_sheet_is(tmp_path, capsys, where):
    source, layout = book(column("Brandelow, Ottilie", "x"))(tmp_path), layout_of("", tmp_path)
    plain = layout.read_text(encoding="utf-8")
    assert REFUSED in ran(capsys, "check", source, "--layout", layout)[1]
    named = {
        "ignore": ('patient = "Study no"', 'patient = "Study no"\nignore = ["Brandelow, Ottilie"]'),
        "map": ('"Age" = "age_years"', '"Age" = "age_years", "Brandelow, Ottilie" = "sex"'),
    }[where]
    layout.write_text(plain.replace(*named), encoding="utf-8")
    assert REFUSED not in ran(capsys, "check", source, "--layout", layout)[1]


@pytest.mark.parametrize(
    "draw",
    [
        lambda _, sheet: sheet.data_validation(
            1, 1, 5, 1, {"validate": "any", "input_title": "Ask", "input_message": f"ask {PERSON}"}
        ),
        lambda _, sheet: sheet.write_url(8, 0, f"mailto:{MAIL}", string="4"),
        lambda made, sheet: sheet.insert_chart("K9", _bars(made), {"description": DOCTOR}),
    ],
    ids=["the prompt of a validation", "where a link leads", "the description of a chart"],
)
def test_what_is_never_read_stops_nothing_and_goes_nowhere(tmp_path, capsys, draw):
    source, layout = drawn(draw)(tmp_path), layout_of("", tmp_path)
    _, said = ran(capsys, "tidy", source, "--layout", layout, "--to", tmp_path / "tidy", "--all")
    written = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "tidy").glob("*.csv"))
    assert REFUSED not in said
    assert not shown(said + written)
