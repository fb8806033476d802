"""The wide sheet: one row a patient, five columns a session, and the rest of the sessions in the last column."""

from __future__ import annotations

from datetime import date

from messy_export import dates as when
from messy_export.amounts import type_yield
from messy_export.cells import SET_ASIDE, UNKNOWN, Cell, Typed
from messy_export.grid import Grid, row_lost
from messy_export.keys import type_key, type_operator
from messy_export.last_column import type_rest
from messy_export.people import Pen, Person
from messy_export.sizes import type_size, type_solid
from messy_export.unit import LOCK, Patient, Row
from messy_export.wide_columns import (
    CODED,
    COLLECTION,
    COLOUR,
    COLOURS,
    INDEX,
    LAMS,
    LAST_SEEN,
    OLD_SCORE,
    REMARK_TEXTS,
    REMARKS,
    REST,
    STRAY,
    STUDY_NO,
    Heading,
    labels,
)
from messy_export.words import ROMAN, type_code, type_event, type_number, type_sites, type_tools, unknown


class PatientRow:
    """Types the row of one patient, or one of two."""

    def __init__(self, pen: Pen, person: Person, grid: Grid, patient: Patient) -> None:
        self.pen, self.person, self.grid, self.patient = pen, person, grid, patient
        self.row = grid.row()

    def put(self, heading: Heading, typed: Typed, table: str, place: str = "") -> Cell | None:
        return self.grid.put(self.row, heading, typed, patient=self.patient.code, table=table, place=place)

    def date(self, day: date, column: str, deck: tuple[str, ...]) -> Typed:
        return when.type_date(self.pen, self.person, day, self.patient.index, column, deck)

    def key(self) -> None:
        self.grid.key(self.row, STUDY_NO, type_key(self.pen, self.patient.code), self.patient.code)

    def baseline(self, *, again: bool = False) -> None:
        row = self.patient.row
        self.put(
            ("Baseline", "Age\n(yrs)"),
            type_number(self.pen, self.person, "age_years", row["age_years"], unit="yrs"),
            "patients",
        )
        for column, label in CODED[:2] if again else CODED:
            self.put(("Baseline", label), type_code(self.pen, self.person, column, row[column]), "patients")
        if not again:
            roman = (("II", ROMAN), ("2-3", "range where one number belongs"))
            self.put(
                ("Baseline", "ASA"),
                type_number(self.pen, self.person, "asa_class", row["asa_class"], bad=roman),
                "patients",
            )
            self._onset()

    def _onset(self) -> None:
        day = self.patient.row["onset_day"]
        if not day:
            typed = unknown(self.pen, self.person)
        else:
            onset = self.patient.date_of(day)
            early = when.whole_month_between(onset, date.min, self.patient.index)
            typed = self.date(onset, "onset_day", when.VAGUE if early else when.without_months(when.VAGUE))
        self.put(("Baseline", "Onset"), typed, "patients")

    def collections(self) -> None:
        found = self.patient.collections
        self.put(
            (COLLECTION, "Site(s)"),
            type_sites(self.pen, tuple(each["site"] for each in found)),
            "collections",
        )
        self.put((COLLECTION, "Size (cm)"), type_size(self.pen, found[0], unit="cm"), "collections", "1")
        self.put(
            (COLLECTION, "% solid"),
            type_solid(self.pen, self.person, found[0]["solid_percent"]),
            "collections",
            "1",
        )

    def index(self) -> bool:
        """The index drainage; False if its day cannot be known, and the whole patient is set aside."""
        pen, session = self.pen, self.patient.sessions[0]
        dated = self.put((INDEX, "date"), self._index_date(), "sessions", "index")
        minutes = type_number(pen, self.person, "minutes_total", session["minutes_total"], unit="min")
        self.put((INDEX, "min"), minutes, "sessions", "index")
        self.put((INDEX, "operator"), type_operator(pen, self.person, session["operator"]), "sessions", "index")
        if session["session_type"] == "drainage":
            self._event((INDEX, "compl."), session, "index")
        self._stent()
        return dated is not None and dated.typed.fills == {"day": "0"}

    def _index_date(self) -> Typed:
        forms = (*when.SAFE * 2, "month shown", "month shown", "impossible", "blank")
        typed = self.date(self.patient.index, "day", forms)
        return (
            Typed(value=typed.value, form=typed.form, fate=SET_ASIDE, mess="index known by month")
            if "day_latest" in typed.fills
            else typed
        )

    def _stent(self) -> None:
        stents = [
            each for each in self.patient.stents if each["stent_type"] == "lumen_apposing" and each["placed_day"] == "0"
        ]
        if not stents:
            return
        stent = stents[0]
        placed = self.put((LAMS, "in"), self.date(self.patient.index, "placed_day", when.SAFE), "stents")
        if stent["removed_day"]:
            out = self.date(self.patient.date_of(stent["removed_day"]), "removed_day", when.without_months(when.USUAL))
            self.put((LAMS, "out"), out, "stents")
        self.put(
            (LAMS, "mm"),
            type_number(self.pen, self.person, "diameter_mm", stent["diameter_mm"], unit="mm"),
            "stents",
        )
        self.put((LAMS, "why out"), type_code(self.pen, self.person, "end_reason", stent["end_reason"]), "stents")
        assert placed is not None

    def session(self, number: int, session: Row) -> None:
        """One necrosectomy under DEN{number}."""
        same_day = session["day"] == "0"
        place = "index" if same_day else f"DEN{number}"
        names = [(f"DEN{number}", label) for label in labels(number)]
        day = self.patient.date_of(session["day"])
        deck = (
            when.USUAL if when.whole_month_between(day, self.patient.index, LOCK) else when.without_months(when.USUAL)
        )
        dated = self.put(names[0], self.date(day, "day", when.OWN if same_day else deck), "sessions", place)
        uses = self.patient.uses[session["session_id"]]
        cells = [
            self.put(names[1], type_tools(self.pen, self.person, uses, place), "sessions", place),
            self.put(names[2], type_yield(self.pen, session), "sessions", place),
            self.put(names[3], type_code(self.pen, self.person, "texture", session["texture"]), "sessions", place),
            self._event(names[4], session, place),
        ]
        if dated is None or not dated.typed.fills:
            row_lost(cells)

    def _event(self, heading: Heading, session: Row, place: str) -> Cell | None:
        mine = self.patient.event_beside(session)
        return self.put(
            heading,
            type_event(self.pen, self.person, mine, session["events_checked"], place),
            "sessions",
            place,
        )

    def rest(self, sessions: tuple[Row, ...]) -> None:
        """The last column: all further sessions in one cell."""
        self.put(REST, type_rest(self.pen, self.patient, sessions), "sessions")

    def no_rest(self) -> None:
        """A word in the last column that says there was no further session."""
        self.put(
            REST,
            Typed(value=self.pen.deal("no rest", ("-", "n/a")), fate=UNKNOWN, mess="blank word"),
            "sessions",
        )

    def end(self) -> bool:
        """When last seen and the columns that are not read; False if last seen cannot be known."""
        row, pen = self.patient.row, self.pen
        for heading, words, share in (
            (COLOUR, COLOURS, 0.3),
            (REMARKS, REMARK_TEXTS, 0.3),
            (STRAY, ("check", "ask"), 0.04),
        ):
            if pen.chance(share) or (heading == STRAY and self.row == 7):
                self.put(heading, Typed(value=pen.deal(heading[1], words)), "")
        self.put(OLD_SCORE, Typed(value=int(pen.rng.integers(0, 9))), "")
        if row["death_day"] or pen.chance(0.15):
            return True
        typed = self.date(self.patient.date_of(row["last_contact_day"]), "last_contact_day", (*when.SAFE * 3, "early"))
        self.put(LAST_SEEN, typed, "patients")
        return bool(typed.fills)
