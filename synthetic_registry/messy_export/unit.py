"""The invented unit's patients from the tidy csv files, with the calendar dates the spreadsheet would show."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

Row = dict[str, str]
LOCK = date(2026, 9, 30)
NECROSECTOMIES = ("necrosectomy", "drainage_and_necrosectomy")


@dataclass(frozen=True, kw_only=True)
class Patient:
    """One patient: the tidy rows, and the date of the index drainage."""

    row: Row
    index: date
    collections: tuple[Row, ...]
    sessions: tuple[Row, ...]
    uses: dict[str, tuple[str, ...]]
    stents: tuple[Row, ...]
    scans: tuple[Row, ...]
    reviews: tuple[Row, ...]
    events: tuple[Row, ...]
    interventions: tuple[Row, ...]

    @property
    def code(self) -> str:
        """The study code."""
        return self.row["patient_id"]

    @property
    def necrosectomies(self) -> tuple[Row, ...]:
        """The sessions that fill DEN1, DEN2 …, in order."""
        return tuple(each for each in self.sessions if each["session_type"] in NECROSECTOMIES)

    def date_of(self, day: str) -> date:
        """The calendar date of a day counted from the index drainage."""
        return self.index + timedelta(days=int(day))

    def event_beside(self, session: Row) -> str:
        """The event typed beside its session: on its day, and the only one; blank if none is."""
        mine = [each for each in self.events if each["session_id"] == session["session_id"]]
        plain = session["session_type"] != "stent_exchange" and session["events_checked"] == "yes"
        alone = len(mine) == 1 and mine[0]["day"] == session["day"] and mine[0]["event_type"] != "other"
        return mine[0]["event_type"] if plain and alone else ""


def _rows(folder: Path, table: str) -> list[Row]:
    with (folder / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _by(key: str, rows: Iterable[Row]) -> dict[str, tuple[Row, ...]]:
    found: dict[str, tuple[Row, ...]] = {}
    for row in rows:
        found[row[key]] = (*found.get(row[key], ()), row)
    return found


def read_unit(folder: Path, *, since: str, until: str = "9999Q4") -> list[Patient]:
    """The patients whose index drainage falls in the quarters from `since` to `until`, in order of its date."""
    names = ("collections", "sessions", "stents", "scans", "reviews", "adverse_events", "other_interventions")
    owned = {name: _by("patient_id", _rows(folder, name)) for name in names}
    uses = {
        session: tuple(row["instrument_class"] for row in sorted(rows, key=lambda row: int(row["use_order"])))
        for session, rows in _by("session_id", _rows(folder, "instrument_uses")).items()
    }
    patients = []
    for row in _rows(folder, "patients"):
        if since <= row["index_period"] <= until:
            of = {name: rows.get(row["patient_id"], ()) for name, rows in owned.items()}
            patients.append(
                Patient(
                    row=row,
                    index=LOCK - timedelta(days=int(row["observed_days"])),
                    collections=of["collections"],
                    sessions=tuple(sorted(of["sessions"], key=lambda each: int(each["day"]))),
                    uses={each["session_id"]: uses.get(each["session_id"], ()) for each in of["sessions"]},
                    stents=of["stents"],
                    scans=of["scans"],
                    reviews=of["reviews"],
                    events=of["adverse_events"],
                    interventions=of["other_interventions"],
                )
            )
    return sorted(patients, key=lambda each: (each.index, each.code))
