"""Documented, mid-point and interval-censored resolution side by side: how much of the time is waiting for a scan.

Between which two scans each course was resolved: what is known of the day, and no more.

The median day of resolution by five routes: documented, mid-point, between scans, log-normal and Weibull.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, counts_as_gone, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence, most_of
from necrostats.measures.grouping import Grouping, estimate_row, estimate_table, patient_groups
from necrostats.measures.needs import needing, of_resolution
from necrostats.measures.resolution import INTERVAL, NAMED_DAYS, REFERENCES, all_deaths, competing, record_notes
from necrostats.measures.scan_schedule import gap_quartiles, imbalance, scan_gaps
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note, Population
from necrostats.stats.intervals import Interval
from necrostats.stats.npmle import FEWEST_PATIENTS, ROUNDING, SEED, IntervalCensoredCurve, npmle, npmle_band
from necrostats.stats.parametric_times import parametric_times

ONWARDS = np.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class ScanRanges:
    """One entry a patient, in the order of `registry.patients`: resolved within (left, right].

    `left` (n,) is the last day on which the patient was known not to be resolved, before the end of the course: a scan
    still showed a collection, or a review found symptoms where the definition asks for none (0, the index drainage, if
    there is neither); `right` (n,) the day of the scan that documented resolution, infinite where none did.
    `unscanned` counts the courses without any such day.
    """

    left: np.ndarray
    right: np.ndarray
    unscanned: int


def scan_ranges(registry: Registry, ends: Outcomes, definition: ResolutionDefinition) -> ScanRanges:
    """The ranges of resolution; a day known as a range counts at its earliest on the left, at its latest on the right.

    A scan that shows nothing left but is not followed by a symptom-free review narrows nothing: it says neither.
    """
    resolved = ends.cause == 1
    left = np.zeros(len(registry.patients))
    still_there = registry.scans["long_mm"].notna().to_numpy() & ~counts_as_gone(registry, definition)
    unwell = registry.reviews["symptom_free"].eq(False).fillna(False).to_numpy(dtype=bool)
    for name, unresolved in {"scans": still_there, "reviews": unwell & definition.symptom_free}.items():
        patient, days = registry.position(name).astype(np.int64), registry.tables[name]
        first = days["day"].fillna(0).to_numpy(dtype=np.int64)
        latest = days["day_latest"].fillna(days["day"]).fillna(0).to_numpy(dtype=np.int64)
        before = np.where(resolved[patient], latest < ends.day[patient], first <= ends.day[patient])
        told = unresolved & (first > 0) & before
        np.maximum.at(left, patient[told], first[told].astype(float))
    return ScanRanges(
        left=left,
        right=np.where(resolved, ends.day.astype(float), ONWARDS),
        unscanned=int(np.count_nonzero((left == 0) & ~resolved)),
    )


def never_resolved(registry: Registry, ends: Outcomes, horizon: int) -> np.ndarray:
    """For courses that ended otherwise, the day up to which they count as not resolved (n,): the lock or the horizon.

    Somebody who died or was operated on does not resolve afterwards; leaving them in keeps the share that of all
    patients, with those ends competing, instead of the share had they not happened.
    """
    lock = registry.patients["observed_days"].fillna(0).to_numpy(dtype=np.int64)
    return np.maximum(np.minimum(lock, horizon), ends.day).astype(float)


def middles(ranges: ScanRanges) -> np.ndarray:
    """The middle of each range (n,), in whole days rounded up; infinite where it is open."""
    return np.ceil((ranges.left + ranges.right) / 2)


DOCUMENTED, MIDDLE, BETWEEN = "resolved", "resolved, mid-point", "resolved, interval-censored"
WAYS = (DOCUMENTED, MIDDLE, BETWEEN)
NPMLE_REFERENCES = (
    "Turnbull, J R Stat Soc B 1976;38:290",
    "Gentleman and Geyer, Biometrika 1994;81:618",
    "Hesterberg, Am Stat 2015;69:371",
)


@needing("Time to resolution, dated in three ways", of_resolution)
def interval_censored_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
    replicates: int = 500,
    seed: int = SEED,
) -> Curves:
    """Incidence of resolution by day, dated in three ways, as three causes of one curve; other ends compete in each.

    "resolved": the day of the scan that documented it, as time_to_resolution. "resolved, mid-point": half-way from
    the last day known unresolved, by scan or by a review with symptoms. "resolved, interval-censored": the non-
    parametric maximum-likelihood estimate from those ranges, with a band of expanded percentiles of `replicates`
    bootstraps of patients from `seed`, the exact limit while nobody or once everybody has resolved; where the data
    leave it open it is given half-way between `least` and `most`, two further columns of the table. Of it,
    `at_risk` counts patients whose range had not ended by then and `events` ranges that end on the day. Patients
    who ended otherwise count as never resolved up to the data lock.

    Counted: patients with an index drainage.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995;
        Turnbull, J R Stat Soc B 1976;38:290; Gentleman and Geyer, Biometrika 1994;81:618; Hesterberg, Am Stat
        2015;69:371.
    """
    groups, ends = patient_groups(registry, by), outcomes(registry, definition)
    ranges = scan_ranges(registry, ends, definition)
    landmarks = tuple(sorted(set(days)))
    resolved = ends.cause == 1
    middle = np.where(resolved, middles(ranges), ends.day).astype(np.int64)
    curves = [
        incidence(time, ends.cause, groups, ends.causes, axis="days", landmarks=landmarks, level=level)
        for time in (ends.day, middle)
    ]
    parts = [_first_cause(each.table, way) for each, way in zip(curves, WAYS, strict=False)]
    medians = [_first_cause(each.medians, way) for each, way in zip(curves, WAYS, strict=False)]
    otherwise = ends.cause > 1
    left = np.where(otherwise, never_resolved(registry, ends, definition.horizon_days), ranges.left)
    every_day = np.union1d(np.arange(definition.horizon_days + 1), landmarks)
    fitted = [
        _between(left[rows], ranges.right[rows], every_day, replicates, seed, level)
        for rows in (groups.codes == place for place in range(len(groups.labels)))
    ]
    parts.append(pd.concat([_labelled(table, groups, place) for place, (table, _, _) in enumerate(fitted)]))
    medians.append(pd.concat([_labelled(table, groups, place) for place, (_, table, _) in enumerate(fitted)]))
    small = tuple(note for *_, notes in fitted for note in notes)
    return Curves(
        title="Time to resolution, dated in three ways",
        frame=_stacked(parts),
        medians=_stacked(medians),
        beside=all_deaths(registry, groups.codes >= 0),
        landmarks=landmarks,
        population=Population(
            patients=len(registry.patients) - groups.left_out,
            collections=len(registry.collections),
            left_out={"patients without a group": groups.left_out},
        ),
        method=Method(
            estimand="probability of resolution by a day since index drainage, "
            f"{competing(ends.causes)} competing, dated by "
            "the scan that documented it, half-way from the last day known unresolved (a scan that still showed "
            "a collection, or a review with symptoms where the definition asks for none), and at any time between them",
            estimator="Aalen–Johansen for the first two; for the third the non-parametric maximum-likelihood estimate, "
            "patients who ended otherwise counted as never resolved up to the data lock (the day the records "
            "were frozen); within a stretch of days that "
            "the data cannot tell apart it is drawn as a box, and stated half-way up it",
            interval=f"{INTERVAL}; of the third, percentiles of {replicates:,} bootstraps of patients "
            f"(seed {seed}), expanded for few patients, the exact limit where nobody or everybody has resolved",
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *NPMLE_REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(
            dict.fromkeys(
                (
                    *curves[0].notes,
                    _caution(ranges.right, ranges.left, resolved & (groups.codes >= 0)),
                    *small,
                    *_lost(int(np.count_nonzero(otherwise & (groups.codes >= 0)))),
                    *record_notes(ends),
                    *imbalance(gap_quartiles(scan_gaps(registry, ends), groups), groups.labels),
                )
            )
        ),
    )


def _first_cause(table: pd.DataFrame, way: str) -> pd.DataFrame:
    """The rows of resolution, under the name of how it was dated."""
    return table[table["cause"].cat.codes == 0].assign(cause=way)


def _between(
    left: np.ndarray, right: np.ndarray, days: np.ndarray, replicates: int, seed: int, level: float
) -> tuple[pd.DataFrame, pd.DataFrame, tuple[Note, ...]]:
    """Rows and medians of one group's interval-censored curve, and its notes."""
    curve = npmle(left, right)
    unknown = np.full(days.size, np.nan)
    leaves = np.where(np.isfinite(right), right, left)
    followed = days <= leaves.max(initial=-1)
    if left.size:
        band = npmle_band(left, right, days, replicates=replicates, random=seed, level=level)
        least, most, low, high, notes = band.least, band.most, band.low, band.high, band.notes
    else:
        least, most, low, high, notes = unknown, unknown, unknown, unknown, ()
    figures = {"least": least, "most": most, "estimate": (least + most) / 2, "low": low, "high": high}
    table = pd.DataFrame(
        {
            "days": days.astype(np.int64),
            "at_risk": (leaves[None] >= days[:, None]).sum(axis=1),
            "events": (right[None] == days[:, None]).sum(axis=1),
            "censored": ((left[None] == days[:, None]) & np.isinf(right)[None]).sum(axis=1),
            **{name: np.where(followed, each, np.nan) for name, each in figures.items()},
        }
    )
    short = tuple(each for each in notes if left.size > 0 and (each.code != "SMALL_N" or left.size < FEWEST_PATIENTS))
    medians = _median(curve, table, banded=left.size >= FEWEST_PATIENTS)
    return _with_exact_limits(table, level), medians, short


def _with_exact_limits(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """The exact limit of none, or of all, on those still at risk (of all: when anybody last was)."""
    none, every = table["most"] < ROUNDING, table["least"] > 1 - ROUNDING
    most = most_of(table["at_risk"].where(table["at_risk"] > 0).ffill().to_numpy(dtype=float), level)
    return table.assign(
        low=table["low"].mask(none, 0.0).mask(every, 1 - most), high=table["high"].mask(none, most).mask(every, 1.0)
    )


def _median(curve: IntervalCensoredCurve, table: pd.DataFrame, *, banded: bool) -> pd.DataFrame:
    """The day by which half are resolved: the middle of its stretch, limits where the band passes one half.

    Where everybody has resolved there is no band, but one half has been passed, so both its edges are 1.
    """
    if banded:
        edges = ["low", "high"]
        table = table.assign(**{name: table[name].mask(table["least"] > 1 - ROUNDING, 1.0) for name in edges})
    where = curve.quantile(0.5) if curve.n else None
    middle = np.nan if where is None else (where.left + where.right) / 2
    return pd.DataFrame({"estimate": [middle], "low": [_passing(table, "high")], "high": [_passing(table, "low")]})


def _passing(table: pd.DataFrame, column: str) -> float:
    passed = table.loc[table[column] >= 0.5, "days"]
    return float(passed.iloc[0]) if len(passed) else np.nan


def _labelled(table: pd.DataFrame, groups: Grouping, place: int) -> pd.DataFrame:
    return table.assign(group=groups.column(np.full(len(table), place)), cause=BETWEEN)


def _stacked(parts: list[pd.DataFrame]) -> pd.DataFrame:
    columns = list(parts[0].columns)
    more = [name for name in parts[-1].columns if name not in columns]
    whole = pd.concat([part.reindex(columns=[*columns, *more]) for part in parts], ignore_index=True)
    whole["group"] = pd.Categorical(whole["group"], categories=parts[0]["group"].cat.categories, ordered=True)
    whole["cause"] = pd.Categorical(whole["cause"], categories=list(WAYS), ordered=True)
    return whole


def _caution(right: np.ndarray, left: np.ndarray, resolved: np.ndarray) -> Note:
    if not resolved.any():
        return Note(code="INTERVAL_CENSORED", text="Nobody has documented resolution: there are no ranges to date it.")
    wide = np.median((right - left)[resolved])
    return Note(
        code="INTERVAL_CENSORED",
        text="Resolution is known only to lie between the last day known unresolved, by scan or by review, and the "
        f"scan that documented it, half of the time {wide:g} days or more apart. The mid-point is an assumption; the "
        "interval-censored estimate assumes that scans were not timed by how the patient was doing.",
    )


def _lost(otherwise: int) -> tuple[Note, ...]:
    if not otherwise:
        return ()
    text = (
        f"{otherwise} {'patient' if otherwise == 1 else 'patients'} died, went on to surgery or ended otherwise "
        "without documented resolution: counted as never resolved up to the data lock, though some may have been "
        "resolved unseen, or been lost before the lock."
    )
    return (Note(code="MISSING", text=text),)


FITTED_WAYS = {DOCUMENTED: "documented", MIDDLE: "mid-point", BETWEEN: "interval-censored, no shape"}
SHAPES = {"log-normal": "interval-censored, log-normal", "weibull": "interval-censored, Weibull"}
FEWEST_FOR_A_MODEL = 10
RISES = Note(
    code="INTERVAL_CENSORED",
    text="Curves of a fixed shape rise to 1 although not everybody resolves: their medians check the others and do not "
    "replace them.",
)


@needing("Median day of resolution, by how it is dated", of_resolution)
def parametric_resolution(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    replicates: int = 500,
    seed: int = SEED,
) -> Estimates:
    """Median days to resolution, other ends competing: the three ways of interval_censored_resolution, then curves of a
    fixed shape fitted to the ranges between scans.

    Log-normal and Weibull curves rise to 1; patients who ended otherwise stand in them as not resolved up to the data
    lock. Fewer than 10 patients, or 5 resolutions, in a group: no fitted curve.

    Counted: patients with an index drainage.
    Source: Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 2002; Aalen and Johansen, Scand J
        Stat 1978;5:141; Marubini and Valsecchi, Analysing Survival Data, 1995; Turnbull, J R Stat Soc B 1976;38:290;
        Gentleman and Geyer, Biometrika 1994;81:618; Hesterberg, Am Stat 2015;69:371.
    """
    curves = interval_censored_resolution(
        registry, by=by, level=level, definition=definition, replicates=replicates, seed=seed
    )
    groups, ends = patient_groups(registry, by), outcomes(registry, definition)
    ranges = scan_ranges(registry, ends, definition)
    left = np.where(ends.cause > 1, never_resolved(registry, ends, definition.horizon_days), ranges.left)
    found: dict[tuple[str, int], Interval] = {}
    for place in range(len(groups.labels)):
        rows = groups.codes == place
        found |= {(name, place): _read(curves, way, groups.labels[place]) for way, name in FITTED_WAYS.items()}
        found |= {
            (name, place): _fitted(left[rows], ranges.right[rows], shape, level) for shape, name in SHAPES.items()
        }
    made = []
    for name in (*FITTED_WAYS.values(), *SHAPES.values()):
        for place, label in enumerate(groups.labels):
            rows, each = groups.codes == place, found[name, place]
            made.append(
                estimate_row(
                    "median day of resolution",
                    name,
                    unit="days",
                    of="patients",
                    n=int(rows.sum()),
                    group=label,
                    events=int(np.count_nonzero(ends.cause[rows] == 1)),
                    estimate=each.estimate,
                    low=each.low,
                    high=each.high,
                )
            )
    return Estimates(
        title="Median day of resolution, by how it is dated",
        frame=estimate_table(made, groups=groups.labels),
        population=curves.population,
        method=Method(
            estimand="day since index drainage by which half of all patients are resolved, "
            f"{competing(ends.causes)} competing",
            estimator="Aalen–Johansen for documented and mid-point; maximum likelihood for the ranges between scans, "
            "without a shape, log-normal and Weibull",
            interval="where the band of the curve passes one half; for a fixed shape normal limits on the log scale",
            level=level,
            definition=curves.method.definition,
            references=(
                "Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 2002",
                *curves.method.references,
            ),
        ),
        notes=tuple(dict.fromkeys((*(note for each in found.values() for note in each.notes), RISES, *curves.notes))),
    )


def _read(curves: Curves, way: str, label: str) -> Interval:
    row = curves.medians[(curves.medians["cause"] == way) & (curves.medians["group"] == label)].iloc[0]
    return Interval(estimate=row["estimate"], low=row["low"], high=row["high"])


def _fitted(left: np.ndarray, right: np.ndarray, shape: str, level: float) -> Interval:
    if left.size < FEWEST_FOR_A_MODEL:
        text = f"Fewer than {FEWEST_FOR_A_MODEL} patients in a group: no curve of a fixed shape is fitted to it."
        few = (Note(code="SMALL_N", text=text),) if left.size else ()
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=few)
    return parametric_times(left, right, shape=shape, level=level).median([])
