"""How long it takes: the incidence of documented resolution by day, with competing ends.

Where each course ended, along days or along session numbers: what every figure of resolution starts from.

How many sessions it takes: the incidence of resolution by necrosectomy session, with competing ends.

Where patients stand after each necrosectomy: resolved, still needing more, or ended otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import NEVER, Outcomes, end_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.curves import entry_days, entry_notes, event_free, incidence
from necrostats.measures.grouping import Grouping, counted, patient_groups
from necrostats.measures.needs import HELD, needing, of_resolution, resolution_and
from necrostats.measures.scan_schedule import gap_quartiles, imbalance, scan_gaps
from necrostats.measures.session_counts import counted_sessions, session_notes
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import CumulativeIncidence, aalen_johansen_of

NAMED_DAYS = (30, 60, 90, 180)
REFERENCES = ("Aalen and Johansen, Scand J Stat 1978;5:141", "Marubini and Valsecchi, Analysing Survival Data, 1995")


INTERVAL = (
    "delta-method standard error, log-log scale; Clopper–Pearson where fewer than 30 and none censored, and "
    "where none has had it yet or all have (on those still at risk once anybody was censored: conservative)"
)


@needing("Time to documented resolution", of_resolution)
def time_to_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
    seen_from: Mapping[str, int] | None = None,
) -> Curves:
    """Cumulative incidence of resolution by day from the index drainage, deaths and interventions competing.

    The day is that of the confirming scan. `days` are the days named in advance. `by` is something recorded at the
    index drainage. Patients unresolved at their last contact, or at the horizon, are censored there. `seen_from` gives,
    by patient_id, the day from which a referred patient was seen here (left entry); the registry does not hold it.

    Counted: patients with an index drainage.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    landmarks = tuple(sorted(set(days)))
    entry = entry_days(registry, seen_from)
    unseen = (entry > 0) & (entry >= ends.day)
    seen = Grouping(labels=groups.labels, codes=np.where(unseen, -1, groups.codes))
    curve = incidence(
        ends.day,
        ends.cause,
        seen,
        ends.causes,
        axis="days",
        landmarks=landmarks,
        level=level,
        entry=entry if entry.any() else None,
    )
    return Curves(
        title="Time to documented resolution",
        frame=curve.table,
        medians=curve.medians,
        beside=all_deaths(registry, seen.codes >= 0),
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(seen.codes >= 0)),
            collections=int(np.count_nonzero(seen.codes[registry.position("collections")] >= 0)),
            left_out={
                "patients without a group": groups.left_out,
                "patients whose course had ended before they were seen here": int(np.count_nonzero(unseen)),
            },
        ),
        method=incidence_method(
            f"probability of documented resolution by a day since index drainage, {competing(ends.causes)} competing",
            "Aalen–Johansen, exact ties",
            level,
            definition,
        ),
        notes=(
            *curve.notes,
            *entry_notes(entry),
            *record_notes(ends),
            _scan_note(),
            *_schedule(registry, ends, groups),
        ),
    )


def incidence_method(estimand: str, estimator: str, level: float, definition: ResolutionDefinition) -> Method:
    """How an incidence of resolution was made, under a definition."""
    return Method(
        estimand=estimand,
        estimator=estimator,
        interval=INTERVAL,
        level=level,
        definition=definition.sentence(),
        references=(*REFERENCES, *filter(None, [definition.reference])),
    )


def competing(causes: tuple[str, ...]) -> str:
    """The competing ends in words, of causes that begin with resolution."""
    *first, last = causes[1:]
    return f"{', '.join(first)} and {last}"


def all_deaths(registry: Registry, known: np.ndarray) -> tuple[str, ...]:
    """All deaths of the patients marked True (n,), to stand beside those that came first; nothing if nobody died."""
    died = int(np.count_nonzero(known & (end_days(registry, "death") < NEVER)))
    people = counted(int(np.count_nonzero(known)), "patient", "patients")
    return (f"All deaths while observed, before or after resolution: {died:,} of {people}.",) if died else ()


def record_notes(ends: Outcomes) -> tuple[Note, ...]:
    """What the record leaves open about the ends."""
    scans = counted(ends.unsized_scans, "scan has", "scans have")
    collections = counted(ends.undated_collections, "collection has", "collections have")
    baselines = counted(ends.without_baseline, "collection has", "collections have")
    later = counted(ends.seen_later, "patient has", "patients have")
    ranged = int(ends.ranged.sum())
    unassessed = int(ends.unassessed.sum())
    unseen = counted(unassessed, "patient has", "patients have")
    patients = counted(ranged, "patient has", "patients have")
    aside = counted(ends.interventions_set_aside, "row", "rows")
    said = {
        f"{scans} no longest axis and can document nothing.": ends.unsized_scans,
        f"{collections} no day of detection: counted from the index drainage.": ends.undated_collections,
        f"{baselines} no size at baseline and cannot be shown to be resolved.": ends.without_baseline,
        f"{unseen} no scan after day 0, or not the review that the definition asks for: censored at the last contact, "
        "and nothing shows whether resolved by then.": unassessed,
        f"{aside} of other_interventions could not be read: a surgery or drain among them is missing here.": (
            ends.interventions_set_aside
        ),
        f"{later} a record after the last contact day: seen until that record.": ends.seen_later,
        f"{patients} an end whose day is known only as a range: the latest day counts for resolution, the earliest for "
        "a competing end.": ranged,
    }
    never = " or ".join(ends.never_recorded)
    said[f"No row of other_interventions is {never}: none is right only if it is kept there."] = len(
        ends.never_recorded
    )
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)


def _scan_note() -> Note:
    return Note(
        code="INTERVAL_CENSORED",
        text="Resolution is dated by the scan that showed it; it happened at some time since the scan before.",
    )


def _schedule(registry: Registry, ends: Outcomes, groups: Grouping) -> tuple[Note, ...]:
    """Whether groups were scanned at different gaps."""
    if len(groups.labels) < 2:
        return ()
    return imbalance(gap_quartiles(scan_gaps(registry, ends), groups), groups.labels)


DAYS, SESSIONS = "days", "sessions"
AXES = (DAYS, SESSIONS)
NAMED_POINT: Mapping[str, int] = {DAYS: 90, SESSIONS: 3}
NAMED_TAU: Mapping[str, int] = {DAYS: 180, SESSIONS: 8}


@dataclass(frozen=True, kw_only=True, eq=False)
class CoursesAlong:
    """One entry a patient, in the order of `registry.patients`: `time` (n,) and `cause` (n,) along `axis`.

    `cause` is 0 for last seen unresolved, else a place in `causes` counted from 1.
    Of `groups`, patients who are not counted have the code -1; `left_out` says why.
    """

    axis: str
    time: np.ndarray
    cause: np.ndarray
    causes: tuple[str, ...]
    groups: Grouping
    ends: Outcomes
    left_out: Mapping[str, int]
    notes: tuple[Note, ...]

    @property
    def known(self) -> np.ndarray:
        """Which patients are counted (n,)."""
        return self.groups.codes >= 0

    @property
    def sizes(self) -> np.ndarray:
        """How many patients each group has (G,)."""
        return np.bincount(self.groups.codes[self.known], minlength=len(self.groups.labels))

    @property
    def population(self) -> Population:
        """Who is counted, and who was left out and why."""
        return Population(patients=int(np.count_nonzero(self.known)), left_out=self.left_out)

    @property
    def resolved(self) -> np.ndarray:
        """How many patients of each group were resolved while observed (G,)."""
        hit = self.known & (self.cause == 1)
        return np.bincount(self.groups.codes[hit], minlength=len(self.groups.labels))

    def labels_of(self, patients: np.ndarray) -> np.ndarray:
        """The labels of the groups of patients who are counted."""
        return np.array(self.groups.labels)[self.groups.codes[patients]]

    def curve(self, level: float) -> CumulativeIncidence:
        """Incidence by cause of the groups with anybody in them, under their labels."""
        filled = [label for label, n in zip(self.groups.labels, self.sizes, strict=True) if n]
        counts = event_table(
            self.time[self.known],
            self.cause[self.known],
            group=self.labels_of(self.known),
            causes=self.causes,
            groups=filled,
        )
        return aalen_johansen_of(counts, level=level)


def courses_along(registry: Registry, axis: str, by: str | None, definition: ResolutionDefinition) -> CoursesAlong:
    """The ends of courses by days since index drainage, or by necrosectomies; ChoiceError for another axis."""
    if axis not in AXES:
        raise unknown_choice("axis", axis, AXES)
    groups, ends = patient_groups(registry, by), outcomes(registry, definition)
    ungrouped = {"patients without a group": groups.left_out}
    if axis == DAYS:
        return CoursesAlong(
            axis=axis,
            time=ends.day,
            cause=ends.cause,
            causes=ends.causes,
            groups=groups,
            ends=ends,
            left_out=ungrouped,
            notes=record_notes(ends),
        )
    counted = counted_sessions(registry, ends)
    never = int(np.count_nonzero(~counted.enters))
    return CoursesAlong(
        axis=axis,
        time=counted.sessions,
        cause=counted.cause,
        causes=counted.causes,
        groups=Grouping(labels=groups.labels, codes=np.where(counted.enters, groups.codes, -1)),
        ends=ends,
        left_out={**ungrouped, "patients with no scan or review after the index drainage": never},
        notes=(*session_notes(counted), *record_notes(ends)),
    )


def named_point(axis: str, at: int | None, least: int = 0) -> int:
    """The day or session number asked for, or the usual one."""
    return _whole("at", NAMED_POINT.get(axis, 0) if at is None else at, least)


def named_tau(axis: str, tau: int | None) -> int:
    """The day or session number up to which a mean is restricted, or the usual one."""
    return _whole("tau", NAMED_TAU.get(axis, 1) if tau is None else tau, 1)


def by_point(axis: str, at: int) -> str:
    """A point in words: "by day 90", "within 3 sessions"."""
    return f"by day {at}" if axis == DAYS else f"within {at} {'session' if at == 1 else 'sessions'}"


def _whole(name: str, value: int, least: int) -> int:
    if value != int(value) or value < least:
        raise ChoiceError(f"{name} is {value}: a whole number of days or sessions, {least} or more, is needed.")
    return int(value)


NAMED_SESSIONS = tuple(range(9))
RISK_SET = "a patient under treatment is at risk at k only if something after session k showed whether it was enough"


@needing("Sessions to documented resolution", resolution_and(HELD))
def sessions_to_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Curves:
    """Probability of being resolved within k necrosectomies, k = 0, 1, 2 …, deaths and interventions competing.

    k = 0 means drainage alone was enough. A patient still under treatment after k sessions is at risk at k only if a
    scan or review after session k showed whether it was enough; otherwise the patient leaves before k. A patient some
    of whose sessions were set aside is censored at the sessions that are known.

    Counted: patients with an index drainage of whom it is known whether k sessions were enough.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    courses = courses_along(registry, SESSIONS, by, definition)
    landmarks = tuple(range(up_to + 1))
    curve = incidence(
        courses.time,
        courses.cause,
        courses.groups,
        courses.causes,
        axis=SESSIONS,
        landmarks=landmarks,
        level=level,
    )
    return Curves(
        title="Sessions to documented resolution",
        frame=curve.table,
        medians=curve.medians,
        beside=all_deaths(registry, courses.known),
        landmarks=landmarks,
        population=courses.population,
        method=incidence_method(
            f"probability of being resolved within k necrosectomies, with {competing(courses.causes)} competing",
            f"Aalen–Johansen on the session number; {RISK_SET}",
            level,
            definition,
        ),
        notes=(*curve.notes, *courses.notes),
    )


STILL = "still needing more"


@needing("Where patients stand after each necrosectomy", resolution_and(HELD))
def session_states(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    up_to: int = NAMED_SESSIONS[-1],
) -> Curves:
    """Share of patients resolved, still needing more, and ended otherwise after k necrosectomies, k = 0, 1, 2 …

    The incidence of `sessions_to_resolution` with all competing ends in one, and what remains: the three add up to 1.
    Patients enter and leave the risk set by the same rule.

    Counted: patients with an index drainage of whom it is known whether k sessions were enough.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    courses = courses_along(registry, SESSIONS, by, definition)
    otherwise = _otherwise(courses.causes)
    merged, causes = np.minimum(courses.cause, 2), ("resolved", otherwise)
    axis = {"axis": SESSIONS, "landmarks": tuple(range(up_to + 1)), "level": level}
    curve = incidence(courses.time, merged, courses.groups, causes, **axis)
    left = event_free(courses.time, merged > 0, courses.groups, STILL, **axis)
    return Curves(
        title="Where patients stand after each necrosectomy",
        frame=_joined(curve.table, left.table, (*causes, STILL)),
        medians=curve.medians,
        beside=all_deaths(registry, courses.known),
        landmarks=axis["landmarks"],
        remaining=STILL,
        population=courses.population,
        method=incidence_method(
            f"share of patients resolved, still needing more, and ended by {otherwise}, after k necrosectomies",
            f"Aalen–Johansen on the session number, and Kaplan–Meier for those who remain; {RISK_SET}",
            level,
            definition,
        ),
        notes=(*curve.notes, *courses.notes),
    )


def _otherwise(causes: tuple[str, ...]) -> str:
    *first, last = causes[1:]
    return f"{', '.join(first)} or {last}"


def _joined(incidences: pd.DataFrame, left: pd.DataFrame, causes: tuple[str, ...]) -> pd.DataFrame:
    """Both tables in one; nothing happens to those who remain, so their events are 0."""
    both = [each.assign(cause=each["cause"].astype(object)) for each in (incidences, left.assign(events=0))]
    table = pd.concat(both, ignore_index=True)
    table["cause"] = pd.Categorical(table["cause"], categories=list(causes), ordered=True)
    return table.sort_values(["group", "cause"], kind="stable", ignore_index=True)
