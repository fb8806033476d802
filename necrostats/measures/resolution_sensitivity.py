"""Does the figure depend on how resolution is counted? Under every definition in use, and by collection.

By collection it is a secondary figure, since the collections of a patient belong together.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from necrostats.definitions.outcomes import CollectionOutcomes, collection_outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, RESOLUTION_CATALOGUE, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import (
    DERIVED,
    KNOWN_AT_THE_START,
    Grouping,
    counted,
    estimate_row,
    estimate_table,
    known_only_later,
    patient_groups,
)
from necrostats.measures.needs import answerable, needing, of_any_resolution, of_resolution
from necrostats.measures.resolution import INTERVAL, NAMED_DAYS, REFERENCES, sessions_to_resolution, time_to_resolution
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population

MEASURES = ("time", "sessions")
USUAL = {"time": 90, "sessions": 3}


@needing("Resolution under several definitions", of_any_resolution)
def sensitivity(
    registry: Registry,
    *,
    measure: str = "time",
    at: int | None = None,
    definitions: Sequence[ResolutionDefinition] = RESOLUTION_CATALOGUE,
    level: float = 0.95,
) -> Estimates:
    """Cumulative incidence of resolution by one day or session number, under each definition.

    `measure`: "time" or "sessions"; `at`: the day (90 if left out) or the session number (3). A definition whose
    horizon lies before that day has no figure there, and that is said. One row a definition, in their order:
    the same patients counted again, so that the rows are not independent and are not to be tested against each other.

    Counted: patients with an index drainage, the same under each definition.
    Source: of each definition, with what of it was read and what is from memory: `result.method.references`.
    """
    if measure not in MEASURES:
        raise unknown_choice("measure", measure, MEASURES)
    point = _point(measure, at)
    _check(definitions)
    asked, definitions = definitions, answerable(registry, definitions)
    curves = [_curve(registry, measure, point, each, level) for each in definitions]
    rows = [_row(curve, each, point) for curve, each in zip(curves, definitions, strict=True)]
    return Estimates(
        title=f"Resolution {_words(measure, point)} under {counted(len(rows), 'definition', 'definitions')}",
        frame=estimate_table(rows),
        population=_population(curves),
        method=Method(
            estimand=f"probability of being resolved {_words(measure, point)}, under each definition, its own other "
            "ends competing",
            estimator=curves[0].method.estimator,
            interval=INTERVAL,
            level=level,
            definition=" ".join(each.sentence() for each in definitions),
            references=tuple(_source(each) for each in definitions if each.reference),
        ),
        notes=(*_notes(definitions, measure, point, curves), *_unanswered(asked, definitions)),
    )


def _unanswered(asked: Sequence[ResolutionDefinition], answered: Sequence[ResolutionDefinition]) -> list[Note]:
    left = [each.name for each in asked if each not in answered]
    text = f"Not computed, for what is not recorded: {', '.join(left)}."
    return [Note(code="NOT_RECORDED", text=text)] if left else []


def _point(measure: str, at: int | None) -> int:
    point = USUAL[measure] if at is None else int(at)
    if point < (1 if measure == "time" else 0):
        raise ChoiceError(f"at is {at}: give a day from 1, or a number of sessions from 0.")
    return point


def _check(definitions: Sequence[ResolutionDefinition]) -> None:
    names = [each.name for each in definitions]
    if not names:
        raise ChoiceError("definitions is empty: give at least one ResolutionDefinition.")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ChoiceError(f'Two definitions have one name: "{twice[0]}". Give each a name of its own.')


def _curve(registry: Registry, measure: str, point: int, definition: ResolutionDefinition, level: float) -> Curves:
    curve_of = (
        partial(time_to_resolution, days=(point,))
        if measure == "time"
        else partial(sessions_to_resolution, up_to=point)
    )
    return curve_of(registry, definition=definition, level=level)


def _row(curve: Curves, definition: ResolutionDefinition, point: int) -> dict:
    rows = curve.frame[curve.frame["cause"] == "resolved"]
    found = rows[rows[curve.axis] == point].iloc[0]
    events = int(rows.loc[rows[curve.axis] <= point, "events"].sum())
    return estimate_row(
        "cumulative incidence of resolution",
        definition.name,
        unit="share",
        of="patients",
        events=events,
        n=curve.population.patients,
        estimate=found["estimate"],
        low=found["low"],
        high=found["high"],
    )


def _population(curves: list[Curves]) -> Population:
    """Who is counted can differ by definition: the largest numbers, counted and left out."""
    left_out: dict[str, int] = {}
    for curve in curves:
        for reason, number in curve.population.left_out.items():
            left_out[reason] = max(number, left_out.get(reason, 0))
    return Population(patients=max(curve.population.patients for curve in curves), left_out=left_out)


def _source(definition: ResolutionDefinition) -> str:
    return f"{definition.reference} ({definition.name}: {definition.provenance})"


def _words(measure: str, point: int) -> str:
    sessions = counted(point, "necrosectomy", "necrosectomies")
    return f"by day {point} since index drainage" if measure == "time" else f"within {sessions}"


def _notes(
    definitions: Sequence[ResolutionDefinition], measure: str, point: int, curves: list[Curves]
) -> tuple[Note, ...]:
    same = Note(
        code="MULTIPLICITY",
        text="The same patients are counted under every definition: the rows are not independent, and overlapping "
        "intervals say nothing about whether two definitions differ.",
    )
    short = [each.name for each in definitions if measure == "time" and each.horizon_days < point]
    ended = Note(code="NOT_MATURED", text=f"The count ends before day {point} under: {', '.join(short)}.")
    return (same, *([ended] if short else []), *_of_single_definitions(definitions, curves))


def _of_single_definitions(definitions: Sequence[ResolutionDefinition], curves: list[Curves]) -> list[Note]:
    """What the record leaves open, said once: for all definitions, or with the names of those it concerns."""
    found: dict[Note, list[str]] = {}
    for definition, curve in zip(definitions, curves, strict=True):
        for note in curve.notes:
            if note.code in ("MISSING", "SMALL_N"):
                found.setdefault(note, []).append(definition.name)
    everywhere = len(definitions)
    return [
        note if len(names) == everywhere else Note(code=note.code, text=f"{note.text} (Under: {'; '.join(names)}.)")
        for note, names in found.items()
    ]


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
    groups = _collection_groups(registry, by, ends)
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
        notes=(*_of_collections(curve.notes), *_found_late(ends, kept), *_undated_collections(registry)),
    )


def _collection_groups(registry: Registry, by: str | None, ends: CollectionOutcomes) -> Grouping:
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


def _found_late(ends: CollectionOutcomes, kept: np.ndarray) -> tuple[Note, ...]:
    late = int(np.count_nonzero(kept & (ends.start > 0)))
    was = counted(late, "collection was", "collections were")
    text = f"{was} found after the index drainage: counted from the day of detection, and the horizon with it."
    return (Note(code="LEFT_TRUNCATION", text=text),) if late else ()


def _undated_collections(registry: Registry) -> tuple[Note, ...]:
    lost = registry.collections["detected_day"].isna() & ~registry.collections["is_index"].fillna(False)
    number = int(lost.sum())
    have = counted(number, "collection has", "collections have")
    text = f"{have} no day of detection: counted from the index drainage."
    return (Note(code="MISSING", text=text),) if number else ()
