"""What comes after resolution: the incidence of recurrence, death competing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.phrases import counted
from necrostats.measures.resolution import INTERVAL, REFERENCES
from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population

CAUSES = ("recurrence", "death")
NAMED_DAYS = (90, 180, 365)
USUAL_SIZE_MM = 30.0


def recurrence(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    size_mm: float | None = None,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Cumulative incidence of recurrence by day from resolution, death competing, among those who resolved.

    Recurrence is the first of: a scan with a collection longer than `size_mm` (the definition's size if left out, or
    30 mm where it has none), a further drainage or necrosectomy, a percutaneous drain, surgery. It counts from the
    day after resolution, at its earliest day; what may lie before resolution does not count. Censored at the last
    contact.
    """
    size = _size(definition, size_mm)
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    resolved = ends.cause == 1
    start = np.where(resolved, ends.day, NEVER)
    again, died, seen = _recurred(registry, start, size), end_days(registry, "death"), last_seen_days(registry)
    cause = np.select([(again < NEVER) & (again <= died), died < NEVER], [1, 2], 0)
    stop = np.select([cause == 1, cause == 2], [again, died], seen)
    chosen = Grouping(labels=groups.labels, codes=np.where(resolved, groups.codes, -1))
    landmarks = tuple(sorted(set(days)))
    curve = incidence(
        np.where(resolved, np.maximum(stop - start, 0), 0), np.where(resolved, cause, 0), chosen, CAUSES, axis="days",
        landmarks=landmarks, level=level,
    )  # fmt: skip
    return Curves(
        title="Recurrence after documented resolution",
        table=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        population=Population(
            patients=int(np.count_nonzero(chosen.codes >= 0)),
            left_out={
                "patients not resolved": int(np.count_nonzero(~resolved)),
                "resolved patients without a group": int(np.count_nonzero(resolved & (groups.codes < 0))),
            },
        ),
        method=Method(
            estimand="probability of recurrence by a day since documented resolution, death competing",
            estimator="Aalen–Johansen, exact ties",
            interval=INTERVAL,
            level=level,
            definition=f"{definition.sentence()} Recurrence: a scan with a collection longer than {size:g} mm, a "
            "further drainage or necrosectomy, a percutaneous drain or surgery, after the day of resolution.",
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=(*_kept(curve.notes), *_unscanned(registry, start, chosen)),
    )


def _size(definition: ResolutionDefinition, size_mm: float | None) -> float:
    size = size_mm if size_mm is not None else definition.size_mm
    size = USUAL_SIZE_MM if size is None else float(size)
    if size < 0:
        raise ChoiceError(f"size_mm is {size:g}: a longest axis in millimetres, 0 or more, is needed.")
    return size


def _recurred(registry: Registry, start: np.ndarray, size: float) -> np.ndarray:
    """The first day after resolution of anything that counts as recurrence; NEVER if none."""
    kinds = registry.sessions["session_type"].isin({*DRAINAGES, *NECROSECTOMIES}).to_numpy()
    large = (registry.scans["long_mm"] > size).fillna(False).to_numpy(dtype=bool)
    kind = registry.other_interventions["kind"].isin(
        ("surgical_necrosectomy", "minimally_invasive_necrosectomy", "percutaneous_drain")
    )
    percutaneous = (registry.stents["stent_type"] == "percutaneous").to_numpy()
    each = (
        ("sessions", "day", kinds), ("scans", "day", large), ("other_interventions", "day", kind.to_numpy()),
        ("stents", "placed_day", percutaneous),
    )  # fmt: skip
    return np.min([_first_after(registry, *one, start) for one in each], axis=0)


def _first_after(registry: Registry, table: str, column: str, kept: np.ndarray, start: np.ndarray) -> np.ndarray:
    frame = registry.tables[table]
    day = frame[column].fillna(-1).to_numpy(dtype=np.int64)
    patient = registry.position(table)
    kept = kept & (day > start[patient])
    first = np.full(start.size, NEVER)
    np.minimum.at(first, patient[kept], day[kept])
    return first


def _kept(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """Without the note that half had no recurrence: that is nothing to be wary of."""
    return tuple(note for note in notes if note.code != "NOT_REACHED")


def _unscanned(registry: Registry, start: np.ndarray, chosen: Grouping) -> tuple[Note, ...]:
    day = registry.scans["day"].fillna(-1).to_numpy(dtype=np.int64)
    patient = registry.position("scans")
    scanned = np.bincount(patient[day > start[patient]], minlength=start.size) > 0
    never = int(np.count_nonzero((chosen.codes >= 0) & ~scanned))
    if not never:
        return ()
    patients = counted(never, "resolved patient was", "resolved patients were")
    text = f"{patients} not scanned after resolution: a recurrence without symptoms or treatment would not be known."
    return (Note(code="MISSING", text=text),)
