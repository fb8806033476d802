"""500 identifiers planted in exports, each read, checked, tidied and drafted from: none may show anywhere."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import xlsxwriter

from builders.clean_exports import FIRST_REMARKS, SECOND_REMARKS, clean_columns
from builders.identifier_phrasings import FIRST, SECOND
from builders.planted_identifiers import Planted, planted
from builders.written import text_in
from necrostats.cli import main
from necrostats.errors import NecrostatsError, RegistryError
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.privacy.names import is_ordinary

ROWS, EACH, CLEAN = 5, 250, 100
ALWAYS_EACH = 10  # one in so many is no slow test
LAYOUT = """
format = 1
[dates]
order = "day_first"
data_lock = 2027-12-31
[fill]
"patients.vital_status" = "alive"
"patients.last_contact_day" = "last_record"
[[sheet]]
patient = "Study ID"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Sex" = "sex", "Aetiology" = "aetiology", "Index drainage date" = "index_date" }
[[sheet.rows]]
table = "collections"
columns = { "Size (mm)" = { to = "size", unit = "mm" } }
[[sheet.rows]]
table = "sessions"
numbers = [1]
constants = { session_type = "necrosectomy" }
[sheet.rows.columns]
"DEN{n} date" = "day"
"DEN{n} tools" = "instruments"
"DEN{n} yield" = { to = "yield", unit = "ml" }
"DEN{n} adverse events" = "event"
"""
REMARKS = {"first": FIRST_REMARKS, "second": SECOND_REMARKS}
PLANTS = [
    (f"{name} {number}", name, plant)
    for name, phrasings in (("first", FIRST), ("second", SECOND))
    for number, plant in enumerate(planted(phrasings, count=EACH, seed=20_261))
]
tally: Counter = Counter()


def thinned(cases: list[tuple]) -> list:
    """The cases as parameters, all but one in so many marked as slow."""
    marks = [() if place % ALWAYS_EACH == 0 else pytest.mark.slow for place in range(len(cases))]
    return [pytest.param(*case, marks=mark) for case, mark in zip(cases, marks, strict=True)]


@pytest.fixture(scope="module", autouse=True)
def told() -> Iterator[None]:
    yield
    planted_, missed = tally["planted"], tally["missed"]
    print(f"\nplanted {planted_}: refused {tally['refused']}, withheld {tally['withheld']}, ")
    print(f"a date in a column that is not read {tally['unread']}, ")
    print(f"missed {missed}; clean exports {tally['clean']}, of them refused {tally['false alarm']}")


def export(folder: Path, columns: dict[str, list[str]], *, book: bool) -> Path:
    lines = [list(columns), *zip(*columns.values(), strict=True)]
    path = folder / ("unit.xlsx" if book else "unit.csv")
    if book:
        with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as made:
            sheet = made.add_worksheet("DEN")
            for row, line in enumerate(lines):
                for column, text in enumerate(line):
                    sheet.write_string(row, column, text) if text else None
    else:
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(lines)
    return path


OWN_WORDS = frozenset(
    ("street", "held", "mail", "social", "security", "private", "card", "plate", "insurance", "serial")
)


def telling(plant: Planted) -> set[str]:
    """The parts of a planted text by which it would be known: itself, its numbers, its words that are no common ones
    and that a refusal does not say itself."""
    numbers = re.findall(r"[0-9]{5,}|(?<![0-9])(?!19|20)[0-9]{4}(?![0-9])|[0-9]{1,3}(?:[./:-][0-9]+){2,}", plant.text)
    words = [word for word in re.findall(r"[^\W\d_]{4,}", plant.text) if not is_ordinary(word)]
    long = [plant.text] if len(plant.text) > 3 else []
    return {part.casefold() for part in (*long, *numbers, *words)} - OWN_WORDS


@dataclass(frozen=True, kw_only=True)
class Run:
    """Whether the privacy check refused an export, or withheld a cell of it, and all that was printed, raised,
    represented and written.
    """

    refused: bool
    withheld: bool
    said: str


def everything(source: Path, layout: Path, capsys) -> Run:
    """Read, check, tidy and draft a layout from an export."""
    said, refused, withheld = [], False, False
    try:
        found = read_with_layout(source, layout)
        withheld = "MAY_BE_A_NAME" in set(found.registry.findings["rule"])
        said.append(repr(found))
    except NecrostatsError as error:
        refused = isinstance(error, RegistryError) and "tell who somebody is" in str(error)
        said += [str(error), repr(error), repr(error.__dict__), repr(error.__cause__), repr(error.__context__)]
    to = source.parent / "tidy"
    main(["check", str(source), "--layout", str(layout), "--all"])
    main(["--verbose", "tidy", str(source), "--layout", str(layout), "--to", str(to), "--all"])
    main(["draft-layout", str(source)])
    printed = capsys.readouterr()
    written = [text_in(each) for each in sorted(to.glob("*"))] if to.exists() else []
    return Run(
        refused=refused, withheld=withheld, said="\n".join([*said, printed.out, printed.err, *written]).casefold()
    )


def set_up(folder: Path, name: str, number: int, plant: Planted | None, *, book: bool) -> tuple[Path, Path]:
    columns = clean_columns(rows=ROWS, seed=number, remarks=REMARKS[name], sessions=1)
    columns = {" ".join(heading.split()): cells for heading, cells in columns.items()}
    columns["Index drainage date"] = columns["DEN1 date"] = [f"0{row + 1}/03/2024" for row in range(ROWS)]
    if plant:
        heading = plant.heading or "DEN1 remarks"
        columns.setdefault(heading, [""] * ROWS)[number % ROWS] = plant.text
    layout = folder / "layout.toml"
    layout.write_text(LAYOUT, encoding="utf-8")
    return export(folder, columns, book=book), layout


@pytest.mark.parametrize(("label", "name", "plant"), thinned(PLANTS), ids=[label for label, _, _ in PLANTS])
def test_a_planted_identifier_is_refused_or_withheld_and_shows_nowhere(tmp_path, capsys, caplog, label, name, plant):
    number = int(label.split()[1])
    source, layout = set_up(tmp_path, name, number, plant, book=number % 5 == 0)
    tally["planted"] += 1
    ran = everything(source, layout, capsys)
    unread = plant.kind == "date" and not ran.refused
    tally["refused" if ran.refused else "withheld" if ran.withheld else "unread" if unread else "missed"] += 1
    said = (ran.said + caplog.text.casefold()).replace(plant.heading.casefold(), "")
    shown = [part for part in telling(plant) if part in said]
    assert ran.refused or ran.withheld or unread
    assert not shown, f"{len(shown)} parts of a planted {plant.kind} are shown: {shown}"
    if ran.refused:
        assert not (tmp_path / "tidy").exists()


@pytest.mark.parametrize("number", thinned([(number,) for number in range(CLEAN)]))
def test_a_clean_export_is_not_refused(tmp_path, number):
    name = ("first", "second")[number % 2]
    source, layout = set_up(tmp_path, name, 1000 + number, None, book=number % 5 == 0)
    tally["clean"] += 1
    tally["false alarm"] += 1
    read_with_layout(source, layout)
    tally["false alarm"] -= 1


def test_the_test_would_notice_a_value_that_is_shown(tmp_path, capsys):
    plant = Planted(kind="name", heading="DEN1 yield", text="Brandelow 300-200")
    source, layout = set_up(tmp_path, "first", 3, plant, book=False)
    assert everything(source, layout, capsys).withheld
    source.write_text(source.read_text(encoding="utf-8").replace("Brandelow ", ""), encoding="utf-8")
    assert "300-200" in everything(source, layout, capsys).said
