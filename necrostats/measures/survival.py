"""How long patients stay free of death and surgery, and how long the series was followed.

What comes after resolution: the incidence of recurrence, death competing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.curves import event_free, incidence, plateau_notes
from necrostats.measures.grouping import (
    BAND,
    Grouping,
    counted,
    estimate_row,
    estimate_table,
    patient_groups,
    without_limits,
)
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import INTERVAL as INCIDENCE_INTERVAL
from necrostats.measures.resolution import NAMED_DAYS, REFERENCES
from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population
from necrostats.stats.incidence import follow_up as reverse_follow_up

ENDS = ("death", "surgery", "percutaneous drain")
INTERVAL = (
    "Greenwood's standard error, log-log scale; Clopper–Pearson where fewer than 30 and none censored, and "
    "where none has had it yet"
)
KAPLAN_MEIER = "Kaplan and Meier, J Am Stat Assoc 1958;53:457"


def event_free_survival(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    ends: Sequence[str] = ("death", "surgery"),
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Kaplan–Meier share of patients alive and free of these ends, by day from the index drainage.

    `ends`: any of "death", "surgery" (surgical or minimally invasive necrosectomy) and "percutaneous drain".
    Resolution ends nothing: patients are followed to the first end or the last contact. A day known only as a range
    counts at its earliest.

    Counted: patients with an index drainage.
    Source: Kaplan and Meier, J Am Stat Assoc 1958;53:457.
    """
    chosen = _chosen(ends)
    groups = patient_groups(registry, by)
    first = np.min([end_days(registry, each) for each in chosen], axis=0)
    seen = last_seen_days(registry)
    happened = first < NEVER
    landmarks = tuple(sorted(set(days)))
    name = f"free of {_listed(chosen)}"
    curve = event_free(
        np.where(happened, first, seen), happened, groups, name, axis="days", landmarks=landmarks, level=level
    )
    return Curves(
        title=f"Survival {name}",
        frame=curve.table,
        medians=curve.medians,
        landmarks=landmarks,
        falling=True,
        population=_population(registry, groups),
        method=Method(
            estimand=f"probability of being {name} by a day since index drainage, resolved or not",
            estimator="Kaplan–Meier, exact ties",
            interval=INTERVAL,
            level=level,
            definition="Surgery: surgical or minimally invasive necrosectomy." if "surgery" in chosen else "",
            references=(KAPLAN_MEIER,),
        ),
        notes=curve.notes,
    )


def follow_up(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Estimates:
    """Median days of follow-up by reverse Kaplan–Meier: the end of follow-up is the event, death cuts it short.

    From the index drainage to the last contact, whether resolved or not.

    Counted: patients with an index drainage.
    Source: Schemper and Smith, Control Clin Trials 1996;17:343.
    """
    groups = patient_groups(registry, by)
    died, seen = end_days(registry, "death"), last_seen_days(registry)
    known = groups.codes >= 0
    dead = died < NEVER
    middle = reverse_follow_up(
        np.where(dead, died, seen)[known],
        dead[known].astype(np.int64),
        group=groups.codes[known],
        groups=range(len(groups.labels)),
        level=level,
    )
    sizes = np.bincount(groups.codes[known], minlength=len(groups.labels))
    rows = [
        estimate_row(
            "median follow-up",
            "follow-up",
            unit="days",
            of="patients",
            n=int(sizes[place]),
            group=label,
            estimate=middle.estimate[place],
            low=middle.low[place],
            high=middle.high[place],
        )
        for place, label in enumerate(groups.labels)
    ]
    table = estimate_table(rows, groups=groups.labels)
    return Estimates(
        title="Follow-up",
        frame=table,
        population=_population(registry, groups),
        method=Method(
            estimand="median time under observation from the index drainage, had nobody died",
            estimator="reverse Kaplan–Meier",
            interval="log-log band of the curve, inverted",
            level=level,
            definition="from the index drainage to the last contact, resolved or not; deaths are censored",
            references=("Schemper and Smith, Control Clin Trials 1996;17:343",),
        ),
        notes=(*_never_half(table), *plateau_notes(middle, groups.labels), *without_limits(table, BAND)),
    )


def _never_half(table: pd.DataFrame) -> tuple[Note, ...]:
    missing = table.loc[table["estimate"].isna() & (table["n"] > 0), "group"].astype(str)
    if missing.empty:
        return ()
    text = f"The median was not reached: deaths cut follow-up short too often ({', '.join(missing)})."
    return (Note(code="NOT_REACHED", text=text),)


def _chosen(ends: Sequence[str]) -> tuple[str, ...]:
    given = (ends,) if isinstance(ends, str) else tuple(ends)
    for each in given:
        if each not in ENDS:
            raise unknown_choice("end", each, ENDS)
    if not given:
        raise ChoiceError(f"ends is empty: choose from {', '.join(ENDS)}.")
    return tuple(each for each in ENDS if each in given)


def _listed(chosen: tuple[str, ...]) -> str:
    *first, last = chosen
    return f"{', '.join(first)} and {last}" if first else last


def _population(registry: Registry, groups: Grouping) -> Population:
    return Population(
        patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
    )


CAUSES = ("recurrence", "death")
RECURRENCE_DAYS = (90, 180, 365)
USUAL_SIZE_MM = 30.0


@needing("Recurrence after documented resolution", of_resolution)
def recurrence(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    size_mm: float | None = None,
    days: Sequence[int] = RECURRENCE_DAYS,
) -> Curves:
    """Cumulative incidence of recurrence by day from resolution, death competing, among those who resolved.

    Recurrence is the first of: a scan with a collection longer than `size_mm` (the definition's size if left out, or
    30 mm where it has none), a further drainage or necrosectomy, a percutaneous drain, surgery. It counts from the
    day after resolution, at its earliest day; what may lie before resolution does not count. Censored at the last
    contact.

    Counted: patients who resolved, from that day.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995.
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
        np.where(resolved, np.maximum(stop - start, 0), 0),
        np.where(resolved, cause, 0),
        chosen,
        CAUSES,
        axis="days",
        landmarks=landmarks,
        level=level,
    )
    return Curves(
        title="Recurrence after documented resolution",
        frame=curve.table,
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
            interval=INCIDENCE_INTERVAL,
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
        ("sessions", "day", kinds),
        ("scans", "day", large),
        ("other_interventions", "day", kind.to_numpy()),
        ("stents", "placed_day", percutaneous),
    )
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
