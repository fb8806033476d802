"""How the days, or the sessions, up to a stated one are spent: before any end, and after each of them.

Intervals by resampling patients, beside those from formulas: do they say the same?
"""

from __future__ import annotations

import numpy as np

from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import most_with_none, plateau_notes
from necrostats.measures.grouping import BAND, estimate_row, estimate_table, without_limits
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import (
    DAYS,
    CoursesAlong,
    by_point,
    competing,
    courses_along,
    named_point,
    named_tau,
)
from necrostats.registry.tables import Registry
from necrostats.results import Estimates, Method, Note
from necrostats.stats.curves import CumulativeIncidence, Quantile
from necrostats.stats.incidence import kaplan_meier_of, quantile
from necrostats.stats.intervals import Interval
from necrostats.stats.resampling import SEED, bootstrap, height_of, median_of, restricted_mean_of
from necrostats.stats.restricted_means import GroupFigures, heights, restricted_mean

BEFORE = "before any end"
AFTER = {"resolved": "after resolution"}
REFERENCES = (
    "Irwin, J Hyg 1949;47:188",
    "Andersen, Lifetime Data Anal 2013;19:397",
    "Tian et al., Biostatistics 2014;15:222",
)


@needing("How the days or sessions are spent", of_resolution)
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

    Counted: patients with an index drainage.
    Source: Irwin, J Hyg 1949;47:188; Andersen, Lifetime Data Anal 2013;19:397; Tian et al., Biostatistics 2014;15:222.
    """
    until = named_tau(axis, tau)
    courses = courses_along(registry, axis, by, definition)
    curve = courses.curve(level)
    lost = restricted_mean(curve, until)
    kept = restricted_mean(kaplan_meier_of(curve.table, level=level), until)
    variables = (BEFORE, *(AFTER.get(cause, _after(cause)) for cause in courses.causes))
    labels = list(courses.groups.labels)
    rows = [
        estimate_row(
            f"mean of the first {until} {axis}",
            variable,
            unit=axis,
            of="patients",
            n=int(courses.sizes[place]),
            group=label,
            **_figure(curve, kept if variable == BEFORE else lost, label, column - 1),
        )
        for column, variable in enumerate(variables)
        for place, label in enumerate(labels)
    ]
    table, days = estimate_table(rows, groups=labels), axis == DAYS
    return Estimates(
        title=f"How the first {until} {axis} are spent",
        frame=table,
        population=courses.population,
        method=Method(
            estimand=f"mean number of the first {until} {'days since index drainage' if days else 'necrosectomies'} "
            f"before any end, and after resolution, {competing(courses.causes)}; together they make {until}",
            estimator=f"area under the curves of Kaplan–Meier and Aalen–Johansen up to {until}",
            interval="t limits on the logit scale, with the infinitesimal jackknife error",
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*kept.notes, *without_limits(table), *courses.notes))),
    )


def _after(cause: str) -> str:
    return cause if cause.startswith("not resolved") else f"after {cause}"


def _figure(curve: CumulativeIncidence, figures: GroupFigures, label: str, cause: int) -> dict:
    """Estimate and limits of a group, and of a cause the number of its events; blank for a group with nobody."""
    names = figures.groups.tolist()
    if label not in names:
        return {"estimate": np.nan}
    place = names.index(label)
    where = (place,) if cause < 0 else (place, cause)
    counted = {} if cause < 0 else {"events": int(curve.table.events[place, cause].sum())}
    return {
        "estimate": float(figures.estimate[where]),
        "low": float(figures.low[where]),
        "high": float(figures.high[where]),
        **counted,
    }


FORMULA, RESAMPLED = "by formula", "by bootstrap"
RESAMPLING = (
    "Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13",
    "Hesterberg, Am Stat 2015;69:371",
)


@needing("Resolution, with intervals by formula and by bootstrap", of_resolution)
def bootstrap_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    axis: str = DAYS,
    at: int | None = None,
    tau: int | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    replicates: int = 2000,
    seed: int = SEED,
) -> Estimates:
    """Median, incidence at a point named in advance and mean after resolution, each with the interval of a formula and
    with percentile limits of `replicates` resamples of patients from `seed`, of shares and means expanded for few.

    `at` and `tau` as compare_resolution. Fewer than 10 patients in a group: no bootstrap limits, and a note.

    Counted: patients with an index drainage; resamples are of patients.
    Source: Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13; Hesterberg, Am Stat 2015;69:371.
    """
    point, until = named_point(axis, at), named_tau(axis, tau)
    courses = courses_along(registry, axis, by, definition)
    names = (
        (f"median {axis} to resolution", axis),
        (f"cumulative incidence of resolution {by_point(axis, point)}", "share"),
        (f"mean of the first {until} {axis} after resolution", axis),
    )
    curve = courses.curve(level)
    middle = quantile(curve, 0.5, midpoint=axis == DAYS)
    both = {FORMULA: _by_formula(curve, middle, point, until)}
    both[RESAMPLED] = _resampled(courses, point, until, level, replicates, seed)
    both = {way: _with_exact_shares(figures, curve, point, level) for way, figures in both.items()}
    labels = courses.groups.labels
    rows = [
        estimate_row(
            measure,
            way,
            unit=unit,
            of="patients",
            n=int(courses.sizes[place]),
            group=label,
            events=int(courses.resolved[place]),
            estimate=each.estimate,
            low=each.low,
            high=each.high,
        )
        for which, (measure, unit) in enumerate(names)
        for way, figures in both.items()
        for place, label in enumerate(labels)
        for each in [figures.get((label, which), _UNKNOWN)]
    ]
    table = estimate_table(rows, groups=labels)
    notes = [*without_limits(table[table["variable"] == FORMULA], BAND, named_by="measure")]
    notes += [*plateau_notes(middle, curve.table.groups.tolist())]
    notes += [note for figures in both.values() for each in figures.values() for note in each.notes]
    return Estimates(
        title="Resolution, with intervals by formula and by bootstrap",
        frame=table,
        population=courses.population,
        method=Method(
            estimand=f"median, incidence {by_point(axis, point)} and mean of the first {until} {axis} after documented "
            f"resolution, {competing(courses.causes)} competing",
            estimator="Aalen–Johansen",
            interval="by formula: delta-method standard error, log-log scale, for means t limits on the logit scale; "
            f"by bootstrap: percentiles of {replicates:,} resamples of patients (seed {seed}), of shares and means "
            "expanded for few patients",
            level=level,
            definition=f"{definition.sentence()} Counts are of patients resolved while observed.",
            references=(*RESAMPLING, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((*notes, *courses.notes))),
    )


_UNKNOWN = Interval(estimate=np.nan, low=np.nan, high=np.nan)


def _by_formula(
    curve: CumulativeIncidence, middle: Quantile, point: int, until: int
) -> dict[tuple[str, int], Interval]:
    figures = (middle, heights(curve, point), restricted_mean(curve, until))
    return {
        (label, which): Interval(
            estimate=float(each.estimate[place, 0]), low=float(each.low[place, 0]), high=float(each.high[place, 0])
        )
        for place, label in enumerate(curve.table.groups.tolist())
        for which, each in enumerate(figures)
    }


def _with_exact_shares(
    figures: dict[tuple[str, int], Interval], curve: CumulativeIncidence, point: int, level: float
) -> dict[tuple[str, int], Interval]:
    """The exact limit in place of none where nobody, or everybody, has resolved by the point."""
    step = max(int(np.searchsorted(curve.table.time, point, side="right")) - 1, 0)
    most = dict(zip(curve.table.groups.tolist(), most_with_none(curve.table, level)[:, step].tolist(), strict=True))
    return {key: _or_exact(each, most[key[0]]) if key[1] == _SHARE else each for key, each in figures.items()}


_SHARE = 1
"""The place of the share among the figures."""


def _or_exact(found: Interval, most: float) -> Interval:
    none, every = (np.isclose(found.estimate, share, rtol=0, atol=1e-12) for share in (0, 1))
    too_few = any(note.code == "SMALL_N" for note in found.notes)
    if too_few or not (none or every):
        return found
    low, high = (0.0, most) if none else (1 - most, 1.0)
    return Interval(estimate=float(every), low=low, high=high)


def _resampled(
    courses: CoursesAlong, point: int, until: int, level: float, replicates: int, seed: int
) -> dict[tuple[str, int], Interval]:
    rows = courses.known
    if not rows.any():
        return {}
    statistics = (
        median_of("resolved", midpoint=courses.axis == DAYS),
        height_of(point, "resolved"),
        restricted_mean_of(until, "resolved"),
    )
    filled = [label for label, n in zip(courses.groups.labels, courses.sizes, strict=True) if n]
    drawn = bootstrap(
        courses.time[rows],
        courses.cause[rows],
        statistics,
        group=courses.labels_of(rows),
        groups=filled,
        causes=courses.causes,
        replicates=replicates,
        random=seed,
        level=level,
    )
    return {
        (label, which): _named(drawn.interval(each.name, label), label)
        for label in filled
        for which, each in enumerate(statistics)
    }


def _named(found: Interval, label: str) -> Interval:
    notes = tuple(Note(code=each.code, text=f"{label}: {each.text}") for each in found.notes)
    return Interval(estimate=found.estimate, low=found.low, high=found.high, notes=notes)
