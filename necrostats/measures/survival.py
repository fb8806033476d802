"""How long patients stay free of death and surgery, and how long the series was followed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days
from necrostats.errors import ChoiceError, unknown_choice
from necrostats.measures.estimates import BAND, estimate_row, estimate_table, without_limits
from necrostats.measures.event_free import event_free
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.plateaus import plateau_notes
from necrostats.measures.resolution import NAMED_DAYS
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population
from necrostats.stats import follow_up as reverse

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
        table=curve.table,
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
    """
    groups = patient_groups(registry, by)
    died, seen = end_days(registry, "death"), last_seen_days(registry)
    known = groups.codes >= 0
    dead = died < NEVER
    middle = reverse.follow_up(
        np.where(dead, died, seen)[known], dead[known].astype(np.int64), group=groups.codes[known],
        groups=range(len(groups.labels)), level=level,
    )  # fmt: skip
    sizes = np.bincount(groups.codes[known], minlength=len(groups.labels))
    rows = [
        estimate_row("median follow-up", "follow-up", unit="days", of="patients", n=int(sizes[place]), group=label,
                     estimate=middle.estimate[place], low=middle.low[place], high=middle.high[place])
        for place, label in enumerate(groups.labels)
    ]  # fmt: skip
    table = estimate_table(rows, groups=groups.labels)
    return Estimates(
        title="Follow-up",
        table=table,
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

