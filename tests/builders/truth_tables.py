"""Tables that were made of an export, held against the tables that its maker says they should be.

Rows are matched by patient and day, however the patient's code is typed; ids that an export does not hold are left out,
and so are pseudonyms, whose letters depend on the order of the rows.
"""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

KEYS = {
    "patients": (),
    "collections": (),
    "sessions": ("day",),
    "instrument_uses": ("day",),
    "stents": ("placed_day",),
    "scans": ("day",),
    "reviews": ("day",),
    "adverse_events": ("day",),
    "other_interventions": ("day",),
}
NOT_COMPARED = {
    "session_id",
    "stent_id",
    "scan_id",
    "event_id",
    "collection_id",
    "patient_id",
    "yield_as_written",
    "also_treated",
    "operator",
}
Row = dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One cell of the truth, or a value of which the truth has none: `truth` or `made` is then blank."""

    table: str
    key: tuple
    column: str
    truth: str
    made: str

    @property
    def right(self) -> bool:
        return self.truth == self.made

    @property
    def wrong(self) -> bool:
        return bool(self.truth and self.made) and not self.right


def compared(made: Path, truth: Path) -> Iterator[Compared]:
    """Every cell that the truth fills, and every further value in the rows that it has."""
    for table, key in KEYS.items():
        ours = _by_key(made, table, key)
        for place, rows in _by_key(truth, table, key).items():
            left = list(ours.get(place, []))
            for row in rows:
                found = max(left, key=lambda each, row=row: _likeness(each, row), default={})
                left = [each for each in left if each is not found]
                for column in [name for name in row if name not in (*NOT_COMPARED, *key)]:
                    cell = Compared(
                        table=table, key=place, column=column, truth=row[column], made=found.get(column, "")
                    )
                    if (cell.truth or cell.made) and not _same_blank(cell):
                        yield cell


def _same_blank(cell: Compared) -> bool:
    """A yield that is not approximate is left blank by the makers of the exports."""
    return cell.column == "yield_approximate" and not cell.truth and cell.made == "no"


def _likeness(one: Row, other: Row) -> int:
    return sum(one.get(name) == value for name, value in other.items())


def _by_key(folder: Path, table: str, key: tuple[str, ...]) -> dict[tuple, list[Row]]:
    sessions = {row["session_id"]: row for row in _rows(folder, "sessions")} if table == "instrument_uses" else {}
    found = defaultdict(list)
    for row in _rows(folder, table):
        row = {
            **row,
            **{name: sessions.get(row["session_id"], {}).get(name, "") for name in ("patient_id", "day") if sessions},
        }
        plain = {name: _plain(value) for name, value in row.items()}
        found[(_code(row["patient_id"]), *(plain[name] for name in key))].append(plain)
    return found


def _rows(folder: Path, table: str) -> list[Row]:
    path = folder / f"{table}.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def _code(text: str) -> str:
    bare = re.sub(r"[^A-Za-z0-9]", "", text or "").upper()
    found = re.fullmatch(r"([A-Z]*)0*(\d+)", bare)
    return found[1] + found[2] if found else bare


def _plain(value: str | None) -> str:
    text = (value or "").strip()
    if text.lower() in ("true", "yes"):
        return "yes"
    if text.lower() in ("false", "no"):
        return "no"
    try:
        return f"{float(text):g}"
    except ValueError:
        return text
