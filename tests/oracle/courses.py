"""How each patient's course ended, from METHODS' rules for the default definition of resolution, row by row.

Longest axis of every known collection at most 30 mm on a scan after day 0; symptom-free at the nearest answered review
within 30 days, not before day 0 and not after further treatment; no drain and no surgery before; horizon 180 days.

Where the rules leave it open, as necrostats does: of two reviews as near the later decides, of two on one day the
unwell one; resolution stands on the day of surgery or a drain; a collection is found at the latest by its first scan;
what shows whether a session was enough lies on a later day; a percutaneous stent is a percutaneous drain.
"""

from __future__ import annotations

from dataclasses import dataclass

from oracle.tables import Row, day, of_each

HORIZON = 180
SIZE_MM = 30.0
REVIEW_DAYS = 30
NECROSECTOMIES = ("necrosectomy", "drainage_and_necrosectomy")
SURGERY = ("surgical_necrosectomy", "minimally_invasive_necrosectomy")
RESOLVED, DEATH, SURGICAL, DRAIN = "resolved", "death", "surgery", "percutaneous drain"
UNRESOLVED = f"not resolved within {HORIZON} days"
LOST = ""

_DATED = (
    ("sessions", "day"),
    ("scans", "day"),
    ("reviews", "day"),
    ("stents", "placed_day"),
    ("stents", "removed_day"),
    ("adverse_events", "day"),
    ("other_interventions", "day"),
    ("collections", "detected_day"),
)


@dataclass(frozen=True)
class Course:
    """One patient's end: the day, its cause ("" when lost to view), and what the session axis needs."""

    patient: str
    end: str
    day: int
    last_seen: int
    observed: int
    died: bool
    necrosectomies: int
    all_necrosectomies: int
    assessed: bool
    shown: bool

    @property
    def session_end(self) -> str:
        """The end on the session axis: one seen unresolved on the horizon day has ended too."""
        at_horizon = self.end == LOST and self.last_seen >= HORIZON and self.assessed
        return UNRESOLVED if at_horizon else self.end

    @property
    def sessions(self) -> int | None:
        """Sessions had at the end; of one lost before anything showed whether the last was enough, one less.

        None where not even drainage alone can be judged: such a patient is left out.
        """
        if self.session_end != LOST or self.shown:
            return self.necrosectomies
        return self.necrosectomies - 1 if self.necrosectomies else None


def courses(tables: dict[str, list[Row]]) -> list[Course]:
    """One course a patient, in the order of the patients."""
    by_patient = {name: of_each(rows) for name, rows in tables.items() if name not in ("patients", "instrument_uses")}
    return [
        _course(patient, {name: rows.get(patient["patient_id"], []) for name, rows in by_patient.items()})
        for patient in tables["patients"]
    ]


def answerable(tables: dict[str, list[Row]]) -> bool:
    """Whether the unit records at all what resolution is judged by: a size on a scan, an answer at a review."""
    sized = any(row["long_mm"] is not None for row in tables["scans"])
    return sized and any(row["symptom_free"] is not None for row in tables["reviews"])


def last_seen(patient: Row, own: dict[str, list[Row]]) -> int:
    """The last contact, or a later record of the patient, not after the lock."""
    days = [day(row, column) for name, column in _DATED for row in own[name]]
    seen = max([day(patient, "last_contact_day"), *(each for each in days if each is not None)])
    return min(seen, day(patient, "observed_days"))


def _course(patient: Row, own: dict[str, list[Row]]) -> Course:
    necrosectomies = sorted(day(row) for row in own["sessions"] if row["session_type"] in NECROSECTOMIES)
    died = day(patient, "death_day") if patient["vital_status"] == "dead" else None
    surgery = [day(row) for row in own["other_interventions"] if row["kind"] in SURGERY and day(row) >= 0]
    drains = _drains(own)
    resolved = _resolution(own, sorted([*necrosectomies, *surgery, *drains]))
    # Death stands where two ends share a day; then resolution, since nothing came before it.
    ends = [(died, 0, DEATH), (resolved, 1, RESOLVED)]
    ends += [(min(surgery, default=None), 2, SURGICAL), (min(drains, default=None), 3, DRAIN)]
    known = [each for each in ends if each[0] is not None and each[0] <= HORIZON]
    seen = last_seen(patient, own)
    end_day, _, end = min(known) if known else (min(seen, HORIZON), 9, LOST)
    until = [each for each in necrosectomies if each <= end_day]
    return Course(
        patient=patient["patient_id"],
        end=end,
        day=end_day,
        last_seen=seen,
        observed=day(patient, "observed_days"),
        died=died is not None,
        necrosectomies=len(until),
        all_necrosectomies=len(necrosectomies),
        assessed=_assessed(own),
        shown=_shown(own, until, end_day),
    )


def _drains(own: dict[str, list[Row]]) -> list[int]:
    kinds = [day(row) for row in own["other_interventions"] if row["kind"] == "percutaneous_drain"]
    stents = [day(row, "placed_day") for row in own["stents"] if row["stent_type"] == "percutaneous"]
    return [each for each in [*kinds, *stents] if each >= 0]


def _resolution(own: dict[str, list[Row]], treatments: list[int]) -> int | None:
    """The first scan day on which every collection known by then is small, and the nearest review agrees."""
    days = sorted({day(row) for row in own["scans"] if row["long_mm"] is not None and day(row) > 0})
    for when in days:
        if _all_small(own, when) and _well(own["reviews"], when, treatments):
            return when
    return None


def _all_small(own: dict[str, list[Row]], when: int) -> bool:
    for collection in own["collections"]:
        scans = [
            (day(row), float(row["long_mm"]))
            for row in own["scans"]
            if row["collection_id"] == collection["collection_id"] and row["long_mm"] is not None
        ]
        past = [each for each in scans if each[0] <= when]
        found = day(collection, "detected_day") or 0
        if not past and found > when:
            continue
        # A scan finds it too. The last scan decides; of two on one day the larger.
        if not past or max(past)[1] > SIZE_MM:
            return False
    return True


def _well(reviews: list[Row], when: int, treatments: list[int]) -> bool:
    """Whether the nearest answered review was free of symptoms; as near, the later; on one day, the unwell one."""
    answered = [
        (abs(day(row) - when), -day(row), row["symptom_free"] == "yes")
        for row in reviews
        if row["symptom_free"] is not None and day(row) >= 0 and not _treated_between(treatments, when, day(row))
    ]
    if not answered:
        return False
    distance, _, well = min(answered)
    return well and distance <= REVIEW_DAYS


def _treated_between(treatments: list[int], scan: int, review: int) -> bool:
    """Whether the patient was treated again after the scan and before the review."""
    return any(scan < each <= review for each in treatments)


def _assessed(own: dict[str, list[Row]]) -> bool:
    """Whether anything tells resolved from not: a size after day 0 with an answer, or a large one, or symptoms."""
    sizes = [float(row["long_mm"]) for row in own["scans"] if row["long_mm"] is not None and day(row) > 0]
    answered = any(row["symptom_free"] is not None and day(row) >= 0 for row in own["reviews"])
    unwell = any(row["symptom_free"] == "no" and day(row) > 0 for row in own["reviews"])
    return (bool(sizes) and answered) or unwell or any(size > SIZE_MM for size in sizes)


def _shown(own: dict[str, list[Row]], until: list[int], end_day: int) -> bool:
    """Whether a scan with a size or an answered review came on a day after the last session's, up to the end."""
    scans = [day(row) for row in own["scans"] if row["long_mm"] is not None]
    reviews = [day(row) for row in own["reviews"] if row["symptom_free"] is not None]
    last_session = until[-1] if until else 0
    return any(last_session < each <= end_day for each in [*scans, *reviews])
