"""Groups by what was used up to a landmark, compared from there on among those still under treatment."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping
from necrostats.measures.necrosectomies import (
    NOT_RECORDED,
    NOT_USED,
    USED,
    check_class,
    necrosectomies,
    used_by_patient,
    uses_of,
)
from necrostats.measures.resolution import INTERVAL, NAMED_DAYS, REFERENCES, competing, record_notes
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population


def landmark_resolution(
    registry: Registry,
    *,
    by_ever: str,
    landmark: int = 28,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Incidence of resolution after day `landmark`, by whether a class of instrument had been used up to that day.

    Only patients still under treatment and under observation after that day count: what came before it can no longer
    depend on how long they were treated. Days stay counted from the index drainage. What is used after the landmark
    changes no group. Anderson JR, Cain KC, Gelber RD. J Clin Oncol 1983;1:710-719.
    """
    landmark = _checked(landmark, definition)
    ends = outcomes(registry, definition)
    still = ends.day > landmark
    used = _used_by(registry, ends, by_ever, landmark)
    name = by_ever.replace("_", " ")
    groups = _groups(name, landmark, used, still)
    landmarks = tuple(sorted({landmark, *(day for day in days if day > landmark)}))
    curve = incidence(ends.day, ends.cause, groups, ends.causes, axis="days", landmarks=landmarks, level=level)
    return Curves(
        title=f"Resolution after day {landmark}, by whether {name} was used up to then",
        table=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(groups.codes >= 0)),
            left_out={
                f"patients resolved, ended or last seen by day {landmark}": int(np.count_nonzero(~still)),
                f"patients of whom it is not recorded whether {name} was used": int(
                    np.count_nonzero(still & (used == NOT_RECORDED))
                ),
            },
        ),
        method=Method(
            estimand=f"probability of documented resolution by a day since index drainage, {competing(ends)} "
            f"competing, among those still under treatment after day {landmark}",
            estimator=f"Aalen–Johansen from the landmark, day {landmark}",
            interval=INTERVAL,
            level=level,
            definition=definition.sentence(),
            references=("Anderson et al., J Clin Oncol 1983;1:710", *REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*curve.notes, _note(name, landmark), *record_notes(ends)),
    )


def _checked(landmark: int, definition: ResolutionDefinition) -> int:
    if not 0 <= landmark < definition.horizon_days:
        raise ChoiceError(f"landmark is {landmark}: give a day from 0, before day {definition.horizon_days}.")
    return int(landmark)


def _used_by(registry: Registry, ends: Outcomes, instrument_class: str, landmark: int) -> np.ndarray:
    each = necrosectomies(registry, ends)
    early = each.day <= landmark
    uses = uses_of(registry, check_class(instrument_class))[each.session[early]]
    return used_by_patient(each.patient[early], uses, len(registry.patients))


def _groups(name: str, landmark: int, used: np.ndarray, still: np.ndarray) -> Grouping:
    labels = (f"{name} by day {landmark}", f"no {name} by day {landmark}")
    codes = np.select([~still | (used == NOT_RECORDED), used == USED, used == NOT_USED], [-1, 0, 1])
    return Grouping(labels=labels, codes=codes)


def _note(name: str, landmark: int) -> Note:
    return Note(
        code="IMMORTAL_TIME",
        text=f"Groups are fixed at day {landmark}, by what was used up to then; those who resolved before it are in "
        f"neither, and some of those without {name} had it later. Instruments were chosen, not assigned.",
    )
