"""The long sheets: scans, clinic, complications, deaths, other interventions and other endoscopies."""

from __future__ import annotations

from messy_export import dates as when
from messy_export.cells import SET_ASIDE, Cell, Typed
from messy_export.grid import Grid, row_lost
from messy_export.keys import type_key, type_operator
from messy_export.people import PEOPLE, Pen, Person, weighted
from messy_export.sizes import type_size, type_wrong_unit
from messy_export.unit import NECROSECTOMIES, Patient, Row
from messy_export.word_lists import SITES
from messy_export.words import type_code, type_number, type_yes_no

KEY = ("", "Study no")
OTHER_DATES = weighted(real=8, iso=6, serial=2, month_name=2, ambiguous=3)


def _plain(*labels: str) -> list[tuple[str, str]]:
    return [KEY, *(("", label) for label in labels)]


class LongSheet:
    """A sheet with one row a record."""

    def __init__(self, pen: Pen, name: str, table: str, labels: tuple[str, ...]) -> None:
        self.pen, self.table, self.labels = pen, table, labels
        self.grid = Grid(name, _plain(*labels))

    def record(self, patient: Patient, *typed: Typed, key: bool = True) -> list[Cell | None]:
        """One row: who, then a cell for each heading."""
        row = self.grid.row()
        if key:
            self.grid.key(row, KEY, type_key(self.pen, patient.code), patient.code)
        return [
            self.grid.put(row, ("", label), each, patient=patient.code, table=self.table)
            for label, each in zip(self.labels, typed, strict=True)
        ]

    def date(
        self,
        patient: Patient,
        person: Person,
        day: str,
        column: str = "day",
        deck: tuple[str, ...] = when.USUAL,
    ) -> Typed:
        date = patient.date_of(day)
        sure = when.whole_month_between(date, patient.index, date.max)
        return when.type_date(
            self.pen, person, date, patient.index, column, deck if sure else when.without_months(deck)
        )

    def person(self) -> Person:
        return PEOPLE[int(self.pen.rng.integers(len(PEOPLE)))]


def _lost_without(needed: Cell | None, others: list[Cell | None]) -> None:
    if needed is None or not needed.typed.fills:
        row_lost(others)


def scans(pen: Pen, patients: list[Patient]) -> Grid:
    """One row a collection on one scan; the study number only once for many patients."""
    sheet = LongSheet(pen, "Scans", "scans", ("Date  of\nscan", "Modalité", "Max size", "Where"))
    for patient in patients:
        person, once = sheet.person(), pen.deal("key once", ("merged", "once", "each", "each"))
        first = sheet.grid.next_row
        where = {each["collection_id"]: at for at, each in enumerate(patient.collections, start=1)}
        for at, scan in enumerate(patient.scans):
            typed = (
                sheet.date(patient, person, scan["day"]),
                type_code(pen, person, "modality", scan["modality"]),
                _scan_size(pen, scan),
                _where(pen, patient, where[scan["collection_id"]]),
            )
            cells = sheet.record(patient, *typed, key=at == 0 or once == "each")
            _lost_without(cells[0], cells[1:])
        if once == "merged" and len(patient.scans) > 1:
            sheet.grid.merges.append((first, 1, sheet.grid.next_row - 1, 1))
    return sheet.grid


def _scan_size(pen: Pen, scan: Row) -> Typed:
    wrong = type_wrong_unit(scan) if pen.deal("wrong unit", (True, *[False] * 40)) else None
    return wrong or type_size(pen, scan, unit="mm")


def _where(pen: Pen, patient: Patient, number: int) -> Typed:
    sites = [each["site"] for each in patient.collections]
    site = sites[number - 1]
    if len(sites) == 1:
        return Typed(value=None)
    fills = {"collection_id": f"@{number}"}
    if site and sites.count(site) == 1 and pen.chance(0.8):
        return Typed(value=pen.deal(f"site {site}", SITES[site]), fills=fills, mess="collection by its site")
    return Typed(value=number, fills=fills, mess="collection by its number")


def clinic(pen: Pen, patients: list[Patient]) -> Grid:
    """One row a review."""
    sheet = LongSheet(pen, "Clinic", "reviews", ("Date", "Symptom-free?", "Fever", "Eating"))
    for patient in patients:
        person = sheet.person()
        for review in patient.reviews:
            answers = [type_yes_no(pen, person, name, review[name]) for name in ("symptom_free", "fever", "oral_diet")]
            cells = sheet.record(patient, sheet.date(patient, person, review["day"]), *answers)
            _lost_without(cells[0], cells[1:])
    return sheet.grid


def complications(pen: Pen, patients: list[Patient], named: dict[str, set[str]]) -> Grid:
    """The events that are not typed beside their session; `named`: the sessions with a number, by patient."""
    sheet = LongSheet(
        pen, "Complications", "adverse_events", ("DEN no", "Date", "What", "AGREE", "Treated by", "Nights")
    )
    for patient in patients:
        person = sheet.person()
        of = {each["session_id"]: each for each in patient.sessions}
        for event in patient.events:
            session = of.get(event["session_id"])
            if session is not None and _beside_its_session(patient, session):
                continue
            typed = [type_code(pen, person, name, event[name]) for name in ("event_type", "agree_grade", "treatment")]
            nights = type_number(pen, person, "extra_nights", event["extra_nights"])
            cells = sheet.record(
                patient,
                _den_no(pen, patient, session, named[patient.code]),
                sheet.date(patient, person, event["day"]),
                *typed,
                nights,
            )
            _lost_without(cells[1], cells)
    return sheet.grid


def _beside_its_session(patient: Patient, session: Row) -> bool:
    own_cell = session["session_type"] in NECROSECTOMIES or session is patient.sessions[0]
    return own_cell and patient.event_beside(session) != ""


def _den_no(pen: Pen, patient: Patient, session: Row | None, named: set[str]) -> Typed:
    if session is None or session["session_id"] not in named:
        return Typed(value=None)
    number = patient.necrosectomies.index(session) + 1
    value = {"number": number, "text": str(number), "named": f"DEN {number}"}[
        pen.deal("den no", ("number", "text", "named"))
    ]
    return Typed(value=value, fills={"session_id": f"@DEN{number}"})


def deaths(pen: Pen, patients: list[Patient]) -> tuple[Grid, set[str]]:
    """Deaths, typed month first; and the patients whose day of death cannot be known."""
    sheet = LongSheet(pen, "Deaths", "patients", ("Date of death", "Cause"))
    lost = set()
    for patient in (each for each in patients if each.row["death_day"]):
        form = pen.deal("death", ("slashes", "slashes", "real", "iso", "slashes", "no such date"))
        day = patient.date_of(patient.row["death_day"])
        dated = {
            "slashes": Typed(
                value=f"{day:%m/%d/%y}",
                fills={"death_day": patient.row["death_day"]},
                mess="date in text, month first",
            ),
            "real": Typed(value=day, form="mm/dd/yyyy", fills={"death_day": patient.row["death_day"]}),
            "iso": Typed(value=day.isoformat(), fills={"death_day": patient.row["death_day"]}),
            "no such date": Typed(value=f"02/31/{day:%y}", fate=SET_ASIDE, mess="no such date"),
        }[form]
        lost |= set() if dated.fills else {patient.code}
        sheet.record(patient, dated, type_code(pen, sheet.person(), "death_cause", patient.row["death_cause"]))
    return sheet.grid, lost


def interventions(pen: Pen, patients: list[Patient]) -> Grid:
    """Drains, embolisations and surgery."""
    sheet = LongSheet(pen, "IR + surgery", "other_interventions", ("Date", "What", "Why"))
    for patient in patients:
        person = sheet.person()
        for each in patient.interventions:
            why = Typed(value=each["reason"] or None, fills={"reason": each["reason"]})
            cells = sheet.record(
                patient,
                sheet.date(patient, person, each["day"]),
                type_code(pen, person, "kind", each["kind"]),
                why,
            )
            _lost_without(cells[0], cells[1:])
    return sheet.grid


def other_scopes(pen: Pen, patients: list[Patient]) -> Grid:
    """Endoscopies that were no necrosectomy, by people whose order of day and month nobody knows."""
    sheet = LongSheet(pen, "Other scopes", "sessions", ("Date", "Procedure", "Operator"))
    for patient in patients:
        person = sheet.person()
        for session in patient.sessions[1:]:
            if session["session_type"] in NECROSECTOMIES:
                continue
            dated = sheet.date(patient, person, session["day"], deck=OTHER_DATES)
            kind = type_code(pen, person, "session_type", session["session_type"])
            cells = sheet.record(patient, dated, kind, type_operator(pen, person, session["operator"]))
            _lost_without(cells[0], cells[1:])
    return sheet.grid
