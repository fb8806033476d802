"""How the days, or the sessions, up to a stated one are spent: before any end, and after each of them."""

from __future__ import annotations

import numpy as np

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.estimates import estimate_row, estimate_table, without_limits
from necrostats.measures.resolution import competing
from necrostats.measures.resolution_axis import DAYS, courses_along, named_tau
from necrostats.registry.tables import Registry
from necrostats.results import Estimates, Method
from necrostats.stats.curves import CumulativeIncidence
from necrostats.stats.group_figures import GroupFigures
from necrostats.stats.incidence import kaplan_meier_of
from necrostats.stats.restricted_means import restricted_mean

BEFORE = "before any end"
AFTER = {"resolved": "after resolution"}
REFERENCES = ("Irwin, J Hyg 1949;47:188", "Andersen, Lifetime Data Anal 2013;19:397",
              "Tian et al., Biostatistics 2014;15:222")  # fmt: skip


def restricted_mean_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    tau: int | None = None,
    axis: str = DAYS,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Estimates:
    """Of the first `tau` days (180) or necrosectomies (8), the mean number before any end and after each end.

    The rows of a group add up to `tau`. "Before any end" are the days under treatment, or the sessions used; "after
    resolution" is the restricted mean time lost to resolution, the area under its incidence. With axis="sessions" a
    patient's courses count by the rule of sessions_to_resolution. NaN and a note where a group was not followed to
    `tau`. Raises as time_to_resolution does.
    """
    until = named_tau(axis, tau)
    courses = courses_along(registry, axis, by, definition)
    curve = courses.curve(level)
    lost = restricted_mean(curve, until)
    kept = restricted_mean(kaplan_meier_of(curve.table, level=level), until)
    variables = (BEFORE, *(AFTER.get(cause, f"after {cause}") for cause in courses.ends.causes))
    labels = list(courses.groups.labels)
    rows = [
        estimate_row(
            f"mean of the first {until} {axis}", variable, unit=axis, of="patients", n=int(courses.sizes[place]),
            group=label, **_figure(curve, kept if variable == BEFORE else lost, label, column - 1),
        )
        for column, variable in enumerate(variables)
        for place, label in enumerate(labels)
    ]  # fmt: skip
    table, days = estimate_table(rows, groups=labels), axis == DAYS
    return Estimates(
        title=f"How the first {until} {axis} are spent",
        table=table,
        population=courses.population,
        method=Method(
            estimand=f"mean number of the first {until} {'days since index drainage' if days else 'necrosectomies'} "
            f"before any end, and after resolution, {competing(courses.ends)}; together they make {until}",
            estimator=f"area under the curves of Kaplan–Meier and Aalen–Johansen up to {until}",
            interval="t limits on the logit scale, with the infinitesimal jackknife error",
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*kept.notes, *without_limits(table), *courses.notes))),
    )


def _figure(curve: CumulativeIncidence, figures: GroupFigures, label: str, cause: int) -> dict:
    """Estimate and limits of a group, and of a cause the number of its events; blank for a group with nobody."""
    names = figures.groups.tolist()
    if label not in names:
        return {"estimate": np.nan}
    place = names.index(label)
    where = (place,) if cause < 0 else (place, cause)
    counted = {} if cause < 0 else {"events": int(curve.table.events[place, cause].sum())}
    return {
        "estimate": float(figures.estimate[where]), "low": float(figures.low[where]),
        "high": float(figures.high[where]), **counted,
    }  # fmt: skip
