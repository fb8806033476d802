"""How long it takes: the incidence of documented resolution by day, with competing ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.left_entry import entry_days, entry_notes
from necrostats.measures.phrases import counted
from necrostats.measures.scan_gaps import gap_quartiles, imbalance, scan_gaps
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population

NAMED_DAYS = (30, 60, 90, 180)
REFERENCES = ("Aalen and Johansen, Scand J Stat 1978;5:141", "Marubini and Valsecchi, Analysing Survival Data, 1995")


INTERVAL = (
    "delta-method standard error, log-log scale; Clopper–Pearson where fewer than 30 and none censored, and "
    "where none has had it yet"
)


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
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    landmarks = tuple(sorted(set(days)))
    entry = entry_days(registry, seen_from)
    unseen = (entry > 0) & (entry >= ends.day)
    seen = Grouping(labels=groups.labels, codes=np.where(unseen, -1, groups.codes))
    curve = incidence(
        ends.day, ends.cause, seen, ends.causes, axis="days", landmarks=landmarks, level=level,
        entry=entry if entry.any() else None,
    )  # fmt: skip
    return Curves(
        title="Time to documented resolution",
        table=curve.table,
        medians=curve.medians,
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
            f"probability of documented resolution by a day since index drainage, {competing(ends)} competing",
            "Aalen–Johansen, exact ties",
            level,
            definition,
        ),
        notes=(
            *curve.notes, *entry_notes(entry), *record_notes(ends), _scan_note(), *_schedule(registry, ends, groups),
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


def competing(ends: Outcomes) -> str:
    """The competing ends in words."""
    *first, last = ends.causes[1:]
    return f"{', '.join(first)} and {last}"


def record_notes(ends: Outcomes) -> tuple[Note, ...]:
    """What the record leaves open about the ends."""
    scans = counted(ends.unsized_scans, "scan has", "scans have")
    collections = counted(ends.undated_collections, "collection has", "collections have")
    baselines = counted(ends.without_baseline, "collection has", "collections have")
    later = counted(ends.seen_later, "patient has", "patients have")
    ranged = int(ends.ranged.sum())
    patients = counted(ranged, "patient has", "patients have")
    said = {
        f"{scans} no longest axis and can document nothing.": ends.unsized_scans,
        f"{collections} no day of detection: counted from the index drainage.": ends.undated_collections,
        f"{baselines} no size at baseline and cannot be shown to be resolved.": ends.without_baseline,
        f"{later} a record after the last contact day: seen until that record.": ends.seen_later,
        f"{patients} an end whose day is known only as a range: the latest day counts for resolution, the earliest for "
        "a competing end.": ranged,
    }
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
