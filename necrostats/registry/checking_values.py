"""Rules about amounts: yields, volumes, minutes, instruments of one session.

Rules about the severity of adverse events: grade against treatment, fatal grades against deaths.

Rules about one patient: alive or dead, until when, how many sessions, entered once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from necrostats.registry.codebook import ADVERSE_EVENTS, MOST_LIKELY_SESSIONS, MOST_LIKELY_YIELD, NECROSECTOMIES
from necrostats.registry.drafts import Draft, DraftTable, Flag

YIELDED = ("sessions", "instrument_uses")
SIZED = ("collections", "scans")
SLACK = 1.1


def yields(draft: Draft) -> Iterator[Flag]:
    """A yield runs from low to high, and no more than 100 % is cleared."""
    for name in YIELDED:
        table = draft[name]
        low, high = table.numbers("yield_low"), table.numbers("yield_high")
        percent = table.holds("yield_unit", ["percent_cleared"])
        yield _stopped(
            table,
            "YIELD_ORDER",
            low > high,
            "yield_high",
            "is lower than yield_low",
            "Write the lower number under yield_low. Both are set aside until then.",
        )
        yield _stopped(
            table,
            "YIELD_ORDER",
            np.isnan(low) & ~np.isnan(high),
            "yield_high",
            "stands without a yield_low",
            'Write 0 under yield_low if it means "less than".',
        )
        for column, value in (("yield_low", low), ("yield_high", high)):
            at_fault = percent & (value > 100) & ~(low > high)
            if column == "yield_high":
                at_fault &= ~(low > 100)
            yield _stopped(
                table,
                "OFF_SCALE",
                at_fault,
                column,
                "is above 100 percent_cleared",
                "Correct the number or yield_unit.",
            )


def _stopped(table: DraftTable, rule: str, broken: np.ndarray, column: str, problem: str, remedy: str) -> Flag:
    return Flag(
        rule=rule,
        table=table.table.name,
        at=np.flatnonzero(table.kept & broken),
        severity="stops",
        column=column,
        takes="cell",
        problem=problem,
        remedy=remedy,
    )


def two_primaries(draft: Draft) -> Iterator[Flag]:
    """At most one primary instrument a session: otherwise the flags go, and the uses stay."""
    uses = draft["instrument_uses"]
    session = draft.link("instrument_uses", "session_id")
    primary = uses.kept & uses.yes("is_primary")
    count = np.bincount(session[primary], minlength=1)
    yield _stopped(
        uses,
        "TWO_PRIMARIES",
        primary & (count[session.clip(0, len(count) - 1)] > 1),
        "is_primary",
        "marks one of several primary instruments of one session",
        "Mark one instrument a session. None counts as primary until then.",
    )


def mixed_units(draft: Draft) -> Iterator[Flag]:
    """Yields written in more than one unit are never compared with each other."""
    for name in YIELDED:
        units = units_of_yields(draft[name])
        yield mixed_units_flag(name, units, _with_a_unit(draft[name]))


def mixed_units_flag(table: str, units: Mapping[str, int], held: np.ndarray) -> Flag:
    """Rows (mask) whose yields are in so many units; about nothing if there is one unit only."""
    listed = ", ".join(f"{unit} ({count})" for unit, count in sorted(units.items()))
    return Flag(
        rule="MIXED_UNITS",
        table=table,
        at=np.flatnonzero(held) if len(units) > 1 else np.empty(0, np.int64),
        severity="asks",
        column="yield_unit",
        once=True,
        problem=f"yields are written in several units: {listed}",
        remedy="Nothing is converted or pooled: each unit is reported by itself.",
    )


def units_of_yields(table: DraftTable) -> Counter[str]:
    """How many yields of a table are in each unit."""
    cells = table.cells["yield_unit"]
    counts = np.bincount(cells.which[_with_a_unit(table)], minlength=len(cells.values))
    units: Counter[str] = Counter()
    for unit, count in zip(cells.values, counts, strict=True):
        if count:
            units[unit] += int(count)
    return units


def _with_a_unit(table: DraftTable) -> np.ndarray:
    return table.kept & table.known("yield_unit") & table.known("yield_low")


def without_unit(draft: Draft) -> Iterator[Flag]:
    """A yield in numbers without a unit can be counted in none."""
    for name in YIELDED:
        table = draft[name]
        bare = table.kept & table.known("yield_low") & ~table.known("yield_unit")
        yield Flag(
            rule="NO_UNIT",
            table=name,
            at=np.flatnonzero(bare),
            severity="asks",
            column="yield_low",
            problem="is a yield without a yield_unit",
            remedy="Write ml, g or percent_cleared under yield_unit. The number is kept, and counts in no unit.",
        )


def large_yields(draft: Draft) -> Iterator[Flag]:
    """An amount hardly anybody removes in one session."""
    for name in YIELDED:
        table = draft[name]
        amount = np.fmax(table.numbers("yield_low"), table.numbers("yield_high"))
        at = np.flatnonzero(table.kept & table.holds("yield_unit", ["ml", "g"]) & (amount > MOST_LIKELY_YIELD))
        says = [f"with its unit is {each:,.0f}, above {MOST_LIKELY_YIELD:,}, which is unlikely" for each in amount[at]]
        yield Flag(
            rule="YIELD_UNLIKELY",
            table=name,
            at=at,
            severity="asks",
            column="yield_low",
            problem=np.array(says, dtype=object),
            remedy="Correct it if it is a slip of the pen. It is kept, and out of every mean and model until a person "
            'confirms its session: registry.confirming("the session_id").',
        )


def volumes(draft: Draft) -> Iterator[Flag]:
    """A volume far from that of an ellipsoid with the axes given."""
    for name in SIZED:
        table = draft[name]
        axes = (table.numbers(axis) for axis in ("long_mm", "mid_mm", "short_mm"))
        ellipsoid = np.pi / 6 * np.prod(list(axes), axis=0) / 1000
        volume = table.numbers("volume_ml")
        far = (volume < 0.5 * ellipsoid) | (volume > 2 * ellipsoid)
        at = np.flatnonzero(table.kept & far)
        says = [f"ml is far from the {ml:.0f} ml that the three axes make" for ml in ellipsoid[at]]
        yield Flag(
            rule="VOLUME_AND_AXES",
            table=name,
            at=at,
            severity="asks",
            column="volume_ml",
            problem=np.array(says, dtype=object),
            remedy="Are the axes in mm and the volume in ml? Both are kept as they stand.",
        )


def minutes(draft: Draft) -> Iterator[Flag]:
    """The instruments of a session used for longer than the session took."""
    uses, sessions = draft["instrument_uses"], draft["sessions"]
    session, each = draft.link("instrument_uses", "session_id"), uses.numbers("minutes")
    rows = uses.kept & (session >= 0) & ~np.isnan(each)
    total = np.bincount(session[rows], weights=each[rows], minlength=len(sessions))
    at = np.flatnonzero(sessions.kept & (total > SLACK * sessions.numbers("minutes_total")))
    says = [f"minutes is less than the {sum_:g} minutes of its instruments" for sum_ in total[at]]
    yield Flag(
        rule="MINUTES_OF_USES",
        table="sessions",
        at=at,
        severity="asks",
        column="minutes_total",
        problem=np.array(says, dtype=object),
        remedy="Correct one of them. Both are kept.",
    )


def no_instrument(draft: Draft) -> Iterator[Flag]:
    """A necrosectomy for which no instrument is written."""
    uses, sessions = draft["instrument_uses"], draft["sessions"]
    if not uses.given:
        return
    session = draft.link("instrument_uses", "session_id")
    named = np.bincount(session[session >= 0], minlength=len(sessions)) > 0
    yield Flag(
        rule="NO_INSTRUMENT",
        table="sessions",
        at=np.flatnonzero(sessions.kept & sessions.holds("session_type", NECROSECTOMIES) & ~named),
        severity="asks",
        column="session_id",
        problem="is a necrosectomy that names no instrument",
        remedy="Add its instruments to instrument_uses; one row with unknown, if nobody knows.",
    )


LOWEST_GRADE = {
    "transfusion": "II",
    "endoscopic": "IIIa",
    "radiological": "IIIa",
    "surgical": "IIIb",
    "organ_support": "IVa",
}
FATAL = (("agree_grade", "V"), ("asge_severity", "fatal"), ("clavien_grade", "V"))


def fatal_events(draft: Draft) -> Iterator[Flag]:
    """A fatal event in a patient not recorded as dead; a death from the procedure without a fatal event."""
    events, patients = draft["adverse_events"], draft["patients"]
    owner = draft.patients_of("adverse_events")
    alive = np.append(~patients.holds("vital_status", ["dead"]), False)[owner]
    for column, grade in FATAL:
        yield Flag(
            rule="FATAL_BUT_ALIVE",
            table="adverse_events",
            at=np.flatnonzero(events.kept & events.holds(column, [grade]) & alive),
            severity="asks",
            column=column,
            problem="is a fatal event, but the patient is not recorded as dead",
            remedy="Correct the grade, or the patient's vital_status and death_day.",
        )
    if events.given:
        fatal = events.kept & _is_fatal(events)
        has_one = np.bincount(owner[fatal], minlength=len(patients)) > 0
        yield Flag(
            rule="DEATH_WITHOUT_EVENT",
            table="patients",
            at=np.flatnonzero(patients.kept & patients.holds("death_cause", ["procedure"]) & ~has_one),
            severity="asks",
            column="death_cause",
            problem="is the cause of death, but no adverse event of the patient is fatal",
            remedy="Add the event with AGREE grade V, or correct the cause.",
        )


def _is_fatal(events: DraftTable) -> np.ndarray:
    return np.logical_or.reduce([events.holds(column, [grade]) for column, grade in FATAL])


def grade_against_treatment(draft: Draft) -> Iterator[Flag]:
    """An AGREE grade lower than the treatment the event needed implies."""
    events = draft["adverse_events"]
    grades = ADVERSE_EVENTS.column("agree_grade").codes
    for treatment, lowest in LOWEST_GRADE.items():
        lower = grades[: grades.index(lowest)]
        yield Flag(
            rule="GRADE_AND_TREATMENT",
            table="adverse_events",
            at=np.flatnonzero(
                events.kept & events.holds("treatment", [treatment]) & events.holds("agree_grade", lower)
            ),
            severity="asks",
            column="agree_grade",
            problem=f"is lower than AGREE gives an event with the treatment {treatment}: {lowest} or higher",
            remedy="Correct the grade or the treatment. AGREE IIIa and IIIb are not those of Clavien–Dindo.",
        )


def life_and_death(draft: Draft) -> Iterator[Flag]:
    """Dead if and only if there is a day of death; the last contact not after it, nor after the data lock."""
    patients = draft["patients"]
    dead = patients.holds("vital_status", ["dead"])
    died, contact, lock = (patients.numbers(name) for name in ("death_day", "last_contact_day", "observed_days"))
    locked = "Correct the day, or observed_days: the days from index drainage to the data lock."
    yield _row(
        patients,
        "DEATH_WITHOUT_DAY",
        dead & np.isnan(died),
        "vital_status",
        "has no day of death",
        "Give death_day, or correct vital_status.",
    )
    yield _row(
        patients,
        "DAY_WITHOUT_DEATH",
        ~dead & ~np.isnan(died),
        "death_day",
        "is the day of death of a patient who is not recorded as dead",
        "Correct vital_status, or take death_day away.",
    )
    yield _row(
        patients,
        "AFTER_DEATH",
        contact > patients.latest("death_day"),
        "last_contact_day",
        "lies after the patient's death",
        "Correct last_contact_day or death_day.",
    )
    yield _row(patients, "AFTER_LOCK", contact > lock, "last_contact_day", "lies after observed_days", locked)
    yield _row(patients, "AFTER_LOCK", died > lock, "death_day", "lies after observed_days", locked)


def _row(table: DraftTable, rule: str, broken: np.ndarray, column: str, problem: str, remedy: str) -> Flag:
    return Flag(
        rule=rule,
        table=table.table.name,
        at=np.flatnonzero(table.kept & broken),
        severity="stops",
        column=column,
        takes="row",
        problem=problem,
        remedy=remedy,
    )


def many_sessions(draft: Draft) -> Iterator[Flag]:
    """More sessions than a course of treatment usually takes."""
    patients, sessions = draft["patients"], draft["sessions"]
    count = np.bincount(draft.link("sessions")[sessions.kept], minlength=len(patients))
    at = np.flatnonzero(patients.kept & (count > MOST_LIKELY_SESSIONS))
    yield Flag(
        rule="MANY_SESSIONS",
        table="patients",
        at=at,
        severity="asks",
        column="patient_id",
        problem=np.array([f"has {number} sessions" for number in count[at]], dtype=object),
        remedy=f"More than {MOST_LIKELY_SESSIONS} is unusual: are they all sessions, and all this patient's?",
    )


def twins(draft: Draft) -> Iterator[Flag]:
    """Two patients of the same age, sex, aetiology, onset and days of sessions: the same one entered twice?"""
    signs = signs_of_patients(draft)
    yield twin_flag(signs.index.to_numpy()[signs.duplicated(keep=False).to_numpy()])


def twin_flag(at: np.ndarray) -> Flag:
    """Patients `at` who seem to be entered twice."""
    return Flag(
        rule="SAME_PATIENT_TWICE",
        table="patients",
        at=at,
        severity="asks",
        column="patient_id",
        problem="has the age, sex, aetiology and days of sessions of another patient",
        remedy="If it is one patient under two ids, keep one. Both are counted until then.",
    )


def signs_of_patients(draft: Draft) -> pd.Series:
    """By row in patients, a number that only patients entered twice would share; none for those with little to tell."""
    patients, sessions = draft["patients"], draft["sessions"]
    alike = pd.DataFrame({name: patients.texts(name) for name in ("age_years", "sex", "aetiology", "onset_day")})
    alike["count"] = np.bincount(draft.link("sessions")[sessions.kept], minlength=len(patients))
    alike["pattern"] = _pattern(draft)
    several = alike[["age_years", "sex", "aetiology"]].notna().all(axis=1) & (alike["count"] >= 2) & patients.kept
    return pd.util.hash_pandas_object(alike[several], index=False, categorize=True)


def _pattern(draft: Draft) -> np.ndarray:
    """For each patient, a number that is the same where the days of the sessions are the same, in any order."""
    sessions = draft["sessions"]
    rows = np.flatnonzero(sessions.kept)
    days = pd.util.hash_array(sessions.numbers("day")[rows])
    pattern = np.zeros(len(draft["patients"]), dtype=np.uint64)
    np.add.at(pattern, draft.link("sessions")[rows], days)
    return pattern
