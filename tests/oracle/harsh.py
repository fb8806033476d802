"""Invented registries that nobody would wish for: many deaths, scans and reviews missing, ties, few patients.

Every row is one the codebook allows, so that reading sets nothing aside. Days are drawn from a few, so that they tie.
"""

from __future__ import annotations

import csv
import random
from dataclasses import dataclass, field
from pathlib import Path

from oracle.tables import NAMES

Row = dict[str, object]

SIZES = (8, 29, 30, 30.5, 31, 60, 120)
KINDS = ("bleeding", "bleeding", "perforation", "infection", "stent_migration", "sepsis")
CLASSES = ("snare", "net", "powered_debrider", "snare", "forceps", "lavage", "peroxide", "other", "unknown")
OTHERS = ("percutaneous_drain", "surgical_necrosectomy", "minimally_invasive_necrosectomy", "embolisation", "ercp")
EDGES = (0, 29, 30, 31, 90, 179, 180, 181)
HEADINGS = {
    "patients": "patient_id index_period observed_days last_contact_day vital_status death_day death_cause",
    "collections": "collection_id patient_id is_index detected_day long_mm",
    "sessions": "session_id patient_id collection_id day period session_type yield_low yield_high yield_unit "
    "yield_words yield_includes_lavage events_checked",
    "instrument_uses": "session_id instrument_class use_order yield_low yield_high yield_unit",
    "stents": "stent_id patient_id collection_id stent_type placed_day removed_day end_reason",
    "scans": "scan_id patient_id collection_id day long_mm",
    "reviews": "patient_id day symptom_free",
    "adverse_events": "event_id patient_id session_id day event_type",
    "other_interventions": "patient_id day kind",
}


@dataclass
class Harshness:
    """How hard one registry is: shares drawn once for all its patients."""

    patients: int
    deaths: float
    unscanned: float
    unreviewed: float
    unchecked: float
    drains: float
    step: int


def harshness(seed: int) -> Harshness:
    """From 3 to 300 patients, small series as often as large ones."""
    draw = random.Random(f"harshness {seed}")
    return Harshness(
        patients=round(3 * 100 ** draw.random()),
        deaths=draw.choice((0, 0.05, 0.3, 0.7)),
        unscanned=draw.choice((0, 0.1, 0.5, 0.9)),
        unreviewed=draw.choice((0, 0.1, 0.5, 0.9)),
        unchecked=draw.choice((0, 0.1, 0.5, 1)),
        drains=draw.choice((0, 0.1, 0.4)),
        step=draw.choice((1, 1, 5, 15)),
    )


def harsh_registry(seed: int) -> dict[str, list[Row]]:
    """The nine tables of one registry, the same for the same seed."""
    unit = _Unit(random.Random(seed), harshness(seed))
    for number in range(unit.how.patients):
        unit.add_patient(f"P{number:03}")
    return unit.tables


def write(folder: Path, tables: dict[str, list[Row]]) -> Path:
    """One csv a table, with headings even where it has no row."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, HEADINGS[name].split(), restval="")
            writer.writeheader()
            writer.writerows({key: "" if cell is None else cell for key, cell in row.items()} for row in tables[name])
    return folder


@dataclass
class _Unit:
    draw: random.Random
    how: Harshness
    tables: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in NAMES})

    def add(self, table: str, **row: object) -> None:
        self.tables[table].append(row)

    def happens(self, share: float) -> bool:
        return self.draw.random() < share

    def day(self, last: int, first: int = 0) -> int:
        """A day up to `last`, on an edge now and then, else on a step that makes ties likely."""
        if self.happens(0.15):
            return min(max(self.draw.choice(EDGES), first), last)
        return min(max(self.draw.randint(first, max(first, last)) // self.how.step * self.how.step, first), last)

    def add_patient(self, who: str) -> None:
        observed = self.draw.choice((*EDGES, self.draw.randint(0, 400), 400, 400, 400))
        died = self.day(observed) if self.happens(self.how.deaths) else None
        last = observed if died is None else died
        contact = last if died is not None or self.happens(0.5) else self.day(last)
        self.add(
            "patients",
            patient_id=who,
            index_period="2024Q1",
            observed_days=observed,
            last_contact_day=contact,
            vital_status="alive" if died is None else "dead",
            death_day=died,
            death_cause=None if died is None else "other",
        )
        # What happens is mostly packed into the first 200 days, where it can decide something.
        near = min(last, 200)
        self._add_collections(who, near)
        self._add_treatment(who, near, last)
        self._add_findings(who, near, last)

    def _add_collections(self, who: str, near: int) -> None:
        for number in range(self.draw.choice((1, 1, 1, 2, 3))):
            found = None if number == 0 or self.happens(0.3) else self.day(near, -20)
            name = f"{who}C{number}"
            self.add(
                "collections",
                collection_id=name,
                patient_id=who,
                is_index="yes" if number == 0 else "no",
                detected_day=found,
                long_mm=None if self.happens(0.5) else 110,
            )
            if self.happens(self.how.unscanned):
                continue
            for place in range(self.draw.randint(0, 5)):
                size = None if self.happens(0.1) else self.draw.choice(SIZES)
                when = self.day(near, -10)
                self.add("scans", scan_id=f"{name}N{place}", patient_id=who, collection_id=name, day=when, long_mm=size)

    def _add_treatment(self, who: str, near: int, last: int) -> None:
        kinds = [("drainage", 0)] if self.happens(0.9) else [("drainage_and_necrosectomy", 0)]
        more = ("necrosectomy", "necrosectomy", "necrosectomy", "inspection", "stent_removal")
        kinds += [(self.draw.choice(more), self.day(near)) for _ in range(self.draw.choice((0, 0, 1, 2, 3, 4, 10)))]
        for number, (kind, when) in enumerate(kinds):
            self._add_session(who, f"{who}S{number}", kind, when)
        for kind in OTHERS:
            if self.happens(self.how.drains / 4):
                self.add("other_interventions", patient_id=who, day=self.day(near, -5), kind=kind)
        for number in range(self.draw.choice((0, 1, 2))):
            placed = self.day(near)
            kind = "percutaneous" if self.happens(self.how.drains / 4) else "lumen_apposing"
            self.add(
                "stents",
                stent_id=f"{who}T{number}",
                patient_id=who,
                collection_id=f"{who}C0",
                stent_type=kind,
                placed_day=placed,
                removed_day=self.draw.choice((None, placed, self.day(last, placed))),
            )

    def _add_session(self, who: str, name: str, kind: str, when: int) -> None:
        checked = self.draw.choice((None, "no")) if self.happens(self.how.unchecked) else "yes"
        self.add(
            "sessions",
            session_id=name,
            patient_id=who,
            collection_id=f"{who}C0",
            day=when,
            period="2024Q1",
            session_type=kind,
            events_checked=checked,
            **(self._yield() if "necrosectomy" in kind else {}),
        )
        if "necrosectomy" in kind:
            for order, tool in enumerate(self.draw.sample(sorted({*CLASSES}), self.draw.choice((0, 1, 1, 1, 1, 2)))):
                amount = self._amount() if self.happens(0.2) else {}
                self.add("instrument_uses", session_id=name, instrument_class=tool, use_order=order + 1, **amount)

    def _yield(self) -> Row:
        words = {"yield_words": self.draw.choice(("none", "small", "large"))} if self.happens(0.3) else {}
        lavage = {"yield_includes_lavage": self.draw.choice(("yes", "no"))} if self.happens(0.3) else {}
        return {**words, **lavage, **(self._amount() if self.happens(0.8) else {})}

    def _amount(self) -> Row:
        unit = self.draw.choice(("ml", "ml", "ml", "g", "percent_cleared"))
        low = self.draw.choice((0, 5, 20, 50, 80))
        high = self.draw.choice((low, low, low, low, low + 20, None if unit != "percent_cleared" else low))
        return {"yield_low": low, "yield_high": high, "yield_unit": unit}

    def _add_findings(self, who: str, near: int, last: int) -> None:
        if not self.happens(self.how.unreviewed):
            for _ in range(self.draw.randint(0, 6)):
                free = self.draw.choice(("yes", "yes", "yes", "no", None))
                self.add("reviews", patient_id=who, day=self.day(near, -10), symptom_free=free)
        sessions = [row for row in self.tables["sessions"] if row["patient_id"] == who]
        for number in range(self.draw.choice((0, 0, 0, 0, 1, 1, 2, 4))):
            home = self.draw.choice([*sessions, None])
            about = min(last, (home or sessions[0])["day"] + self.draw.choice((0, 1, 15, 30, 31, 45)))
            self.add(
                "adverse_events",
                event_id=f"{who}E{number}",
                patient_id=who,
                session_id=home and home["session_id"],
                day=about if self.happens(0.8) else self.day(last),
                event_type=self.draw.choice(KINDS),
            )
