"""How long until a collection is gone: a secondary figure, since the collections of a patient belong together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.definitions.outcomes import CollectionOutcomes, collection_outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import unknown_choice
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import (
    DERIVED,
    KNOWN_AT_THE_START,
    Grouping,
    counted,
    known_only_later,
    patient_groups,
)
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import NAMED_DAYS, REFERENCES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population

OF_THE_COLLECTION = ("site", "is_index")


@needing("Time to documented resolution of collections", of_resolution)
def collection_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Incidence of resolution of collections by day, ends of their patients competing; errors clustered by patient.

    Each collection counts from the index drainage, or from the day it was found if that is later, and its horizon with
    it. It is gone on the first scan that shows it small enough, whatever its patient's other collections do; where the
    definition asks for a symptom-free review, the patient's counts. `by`: something of the patient known at the index
    drainage, or "site" or "is_index".

    Counted: collections, from the index drainage or the day they were found.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
    """
    ends = collection_outcomes(registry, definition)
    groups = _groups(registry, by, ends)
    known = groups.codes >= 0
    counting = Grouping(labels=groups.labels, codes=np.where(ends.followed, groups.codes, -1))
    landmarks = tuple(sorted(set(days)))
    curve = incidence(
        ends.days,
        ends.cause,
        counting,
        ends.causes,
        axis="days",
        landmarks=landmarks,
        level=level,
        cluster=ends.patient,
    )
    kept = counting.codes >= 0
    *others, last = ends.causes[1:]
    return Curves(
        title="Time to documented resolution of collections",
        frame=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        of="collections",
        population=Population(
            patients=int(np.unique(ends.patient[kept]).size),
            collections=int(np.count_nonzero(kept)),
            left_out={
                "collections without a group": int(np.count_nonzero(~known)),
                "collections not followed from their first day on": int(np.count_nonzero(known & ~ends.followed)),
            },
        ),
        method=Method(
            estimand="probability that a collection is documented as resolved by a day since index drainage, or since "
            f"it was found if later, {', '.join(others)} and {last} of its patient competing",
            estimator="Aalen–Johansen, exact ties, one row a collection",
            interval="influence summed by patient (infinitesimal jackknife), t on patients − 1, log-log scale",
            level=level,
            definition=f"{definition.sentence().replace('every known collection', 'the collection')} A patient is "
            "resolved only when all collections are, so the figure by patient comes first.",
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*_of_collections(curve.notes), *_late(ends, kept), *_undated(registry)),
    )


def _groups(registry: Registry, by: str | None, ends: CollectionOutcomes) -> Grouping:
    if by in OF_THE_COLLECTION:
        values = registry.collections[by]
        if by == "is_index":
            yes = values.fillna(False).to_numpy(dtype=bool)
            return Grouping(labels=("index collection", "other collection"), codes=np.where(yes, 0, 1))
        labels = tuple(str(each) for each in values.cat.categories)
        return Grouping(labels=labels, codes=values.cat.codes.to_numpy().astype(np.int64))
    choices = (*KNOWN_AT_THE_START, *DERIVED, *OF_THE_COLLECTION)
    if by is not None and by not in choices and not known_only_later(by):
        raise unknown_choice("grouping", by, choices)
    groups = patient_groups(registry, by)
    return Grouping(labels=groups.labels, codes=groups.codes[ends.patient])


def _of_collections(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """What is said of patients at risk, said of collections, and what is said of clusters, said of patients."""
    clusters = {True: ("clusters", "patients"), False: ("patients", "collections")}
    return tuple(Note(code=each.code, text=each.text.replace(*clusters[each.code == "FEW_CLUSTERS"])) for each in notes)


def _late(ends: CollectionOutcomes, kept: np.ndarray) -> tuple[Note, ...]:
    late = int(np.count_nonzero(kept & (ends.start > 0)))
    was = counted(late, "collection was", "collections were")
    text = f"{was} found after the index drainage: counted from the day of detection, and the horizon with it."
    return (Note(code="LEFT_TRUNCATION", text=text),) if late else ()


def _undated(registry: Registry) -> tuple[Note, ...]:
    lost = registry.collections["detected_day"].isna() & ~registry.collections["is_index"].fillna(False)
    number = int(lost.sum())
    have = counted(number, "collection has", "collections have")
    text = f"{have} no day of detection: counted from the index drainage."
    return (Note(code="MISSING", text=text),) if number else ()
