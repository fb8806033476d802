"""truth.csv of the messy export beside what a reading made of each cell: same place, same table, same value."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

Place = tuple[str, int, str]
Named = dict[str, dict[str, str]]
NOT_READ = ("heading", "skipped", "ignored", "not mentioned", "duplicate")
LEFT_OPEN = ("*",)
_SAID_ANYWAY = {("yield_approximate", "no")}
_NOT_LISTED = ("yield_as_written", "use_order", "is_index", "also_treated")


@dataclass(frozen=True, kw_only=True)
class Expected:
    """One cell of the truth. `values`: (table, place, column) → value; blank unless the cell gives values."""

    sheet: str
    row: int
    letters: str
    heading: str
    written: str
    patient: str
    becomes: str
    reading: str
    mess: str
    values: Mapping[tuple[str, str, str], str]

    @property
    def place(self) -> Place:
        """Where a ledger shows the cell."""
        return self.sheet, self.row, self.heading


@dataclass(kw_only=True)
class Verdicts:
    """How many cells came out how, and every cell that came out wrong."""

    counts: Counter = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def say(self, outcome: str) -> None:
        self.counts[outcome] += 1

    def accuse(self, cell: Expected, problem: str) -> None:
        self.counts["WRONG"] += 1
        place = f"{cell.sheet}!{cell.letters}{cell.row}"
        self.wrong.append(f"{place} {cell.written!r} -> {cell.becomes!r} ({cell.reading}): {problem}")


def plain(heading: str) -> str:
    """A heading without accents, in lower case, with single blanks."""
    letters = unicodedata.normalize("NFKD", heading.casefold())
    return " ".join("".join(each for each in letters if not unicodedata.combining(each)).split())


def read_truth(path: Path, *, header_rows: Mapping[str, tuple[int, ...]]) -> list[Expected]:
    """Every cell of truth.csv; `header_rows` gives those of each sheet (row 1 if it is not named)."""
    with path.open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    headings = _headings(lines, header_rows)
    return [
        Expected(
            sheet=line["sheet"],
            row=int(line["row"]),
            letters=line["column"],
            written=line["written"],
            heading=headings[line["sheet"]].get(line["column"], f"({line['column'].lower()})"),
            patient=line["patient"],
            becomes=line["becomes"],
            reading=line["reading"],
            mess=line["mess"],
            values=_values(line["becomes"], f"{line['sheet']} {line['row']}"),
        )
        for line in lines
    ]


def number_of(letters: str) -> int:
    """A → 1, AB → 28."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _headings(lines: Iterable[Mapping[str, str]], header_rows: Mapping[str, tuple[int, ...]]) -> Named:
    """The heading of each column: the group above it, carried to the right, and its own."""
    found: dict[str, dict[str, str]] = defaultdict(dict)
    group: dict[str, str] = {}
    rows = [line for line in lines if int(line["row"]) in header_rows.get(line["sheet"], (1,))]
    for line in sorted(rows, key=lambda line: (line["sheet"], number_of(line["column"]), int(line["row"]))):
        sheet, column = line["sheet"], line["column"]
        top = int(line["row"]) == header_rows.get(sheet, (1,))[0]
        if top:
            group[sheet] = line["written"]
            found[sheet][column] = plain(line["written"])
        else:
            found[sheet][column] = plain(f"{group[sheet]} {line['written']}")
    return found


def _values(becomes: str, row: str) -> dict[tuple[str, str, str], str]:
    if "=" not in becomes:
        return {}
    found = {}
    for part in becomes.split(" ; "):
        where, _, values = part.partition(": ")
        matched = re.fullmatch(r"(\w+)(?:\[(.+)\])?", where)
        assert matched, becomes
        for value in values.split(", "):
            column, _, text = value.partition("=")
            found[matched[1], matched[2] or row, column] = text
    return found


def compare(truth: Iterable[Expected], ledger: pd.DataFrame, findings: pd.DataFrame) -> Verdicts:
    """Each cell of the truth beside the lines of the ledger and the findings about its cell or row."""
    lines: dict[Place, list] = defaultdict(list)
    for line in ledger.itertuples():
        lines[line.sheet, int(line.row), plain(line.column)].append(line)
    located = findings[findings["row"].notna() & findings["sheet"].notna()]
    places = zip(located["sheet"], located["row"].astype(int), located["column"].fillna("").map(plain), strict=True)
    asked = set(places)
    judge = _Judge(lines=lines, cells=asked, rows={place[:2] for place in asked})
    for cell in truth:
        judge.cell(cell)
    return judge.verdicts


@dataclass(kw_only=True)
class _Judge:
    lines: Mapping[Place, list]
    cells: set[Place]
    rows: set[tuple[str, int]]
    ids: dict[tuple[str, str, str], str] = field(default_factory=dict)
    owners: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    verdicts: Verdicts = field(default_factory=Verdicts)

    def cell(self, cell: Expected) -> None:
        told = self.lines.get(cell.place, [])
        given = [line for line in told if line.outcome == "value"]
        if cell.becomes == "key":
            self._key(cell, told)
        elif cell.becomes in NOT_READ:
            self._quiet(cell, given, cell.becomes)
        elif cell.becomes in ("unknown", "set aside"):
            self._nothing(cell, told, given)
        elif cell.values:
            self._values(cell, told, given)
        else:
            self.verdicts.accuse(cell, "the truth cannot be read")

    def _quiet(self, cell: Expected, given: list, outcome: str) -> None:
        if given:
            self.verdicts.accuse(cell, f"became {[(line.field, line.value) for line in given]}")
        else:
            self.verdicts.say(outcome)

    def _key(self, cell: Expected, told: list) -> None:
        """A key names its patient, read or set aside as the patient is."""
        named = [line.value for line in told if line.rule == "key"]
        if cell.patient and named != [cell.patient]:
            self.verdicts.accuse(cell, f"is taken for {named}")
        else:
            self.verdicts.say("key")

    def _nothing(self, cell: Expected, told: list, given: list) -> None:
        said = [line for line in given if line.value and line.field not in _NOT_LISTED]
        aside = any(line.outcome == "set aside" for line in told)
        found = cell.place in self.cells or (aside and cell.place[:2] in self.rows) or self._gone(cell)
        if cell.becomes == "set aside" and not found:
            self.verdicts.accuse(cell, "no finding names it")
        else:
            self._quiet(cell, said, cell.becomes)

    def _gone(self, cell: Expected) -> bool:
        """Whether the whole row is set aside."""
        return any(line.outcome == "set aside" for line in self.lines.get((cell.sheet, cell.row, ""), []))

    def _values(self, cell: Expected, told: list, given: list) -> None:
        if not given:
            self._aside(cell, told)
            return
        wanted = Counter(
            (table, column, text)
            for (table, _, column), text in cell.values.items()
            if text and text not in LEFT_OPEN and not text.startswith("@")
        )
        named = {column for (_, _, column), text in cell.values.items() if text in LEFT_OPEN or text.startswith("@")}
        dead = {"last_contact_day"} if any(line.field == "death_day" for line in given) else set()
        open_fields = named | dead | set(_NOT_LISTED)
        got = Counter(
            (line.table, line.field, _tidy(line.value))
            for line in given
            if line.value and line.field not in open_fields and (line.field, line.value) not in _SAID_ANYWAY
        )
        if got != wanted and not self._silent(given):
            self.verdicts.accuse(cell, f"became {sorted(got)}")
        elif cell.reading == "asked" and cell.place not in self.cells:
            self.verdicts.accuse(cell, "is not asked about")
        elif problem := self._rows(cell, given):
            self.verdicts.accuse(cell, problem)
        else:
            self.verdicts.say("value")

    @staticmethod
    def _silent(given: list) -> bool:
        """A cell that says the same as another one, which gave the value."""
        return all(not line.value for line in given)

    def _aside(self, cell: Expected, told: list) -> None:
        told_aside = any(line.outcome == "set aside" for line in told)
        if not (told_aside or cell.place in self.cells or cell.place[:2] in self.rows):
            self.verdicts.accuse(cell, f"is lost: {[(line.outcome, line.rule) for line in told]}")
        elif cell.reading in ("either", "row"):
            self.verdicts.say(f"set aside ({cell.reading})")
        else:
            self.verdicts.accuse(cell, f"is set aside: {[(line.outcome, line.rule) for line in told]}")

    def _rows(self, cell: Expected, given: list) -> str:
        """The same place must be the same row of its table, and another place another row."""
        for table in ("patients", "collections", "sessions", "stents", "scans", "adverse_events"):
            places = list(dict.fromkeys(place for (each, place, _) in cell.values if each == table))
            ids = list(dict.fromkeys(line.id for line in given if line.table == table and line.id and line.value))
            if len(places) != len(ids):
                continue
            for place, row in zip(places, ids, strict=True):
                if problem := self._row(cell, table, place, row):
                    return problem
        return ""

    def _row(self, cell: Expected, table: str, place: str, row: str) -> str:
        name = (table, cell.patient, place if table != "patients" else "")
        if self.ids.setdefault(name, row) != row:
            return f"belongs to {row}, but {name} is {self.ids[name]}"
        if self.owners.setdefault((table, row), name[1:]) != name[1:]:
            return f"belongs to {row}, which is {self.owners[table, row]}"
        return ""


def _tidy(value: str) -> str:
    text = str(value)
    return text.removesuffix(".0") if re.fullmatch(r"-?\d+\.0", text) else text
