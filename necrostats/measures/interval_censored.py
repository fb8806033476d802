"""Documented, mid-point and interval-censored resolution side by side: how much of the time is waiting for a scan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.curves import incidence
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.resolution import INTERVAL, NAMED_DAYS, REFERENCES, competing, record_notes
from necrostats.measures.scan_gaps import gap_quartiles, imbalance, scan_gaps
from necrostats.measures.scan_ranges import middles, never_resolved, scan_ranges
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note, Population
from necrostats.stats.npmle import FEWEST_PATIENTS, ROUNDING, SEED, IntervalCensoredCurve, npmle, npmle_band

DOCUMENTED, MIDDLE, BETWEEN = "resolved", "resolved, mid-point", "resolved, interval-censored"
WAYS = (DOCUMENTED, MIDDLE, BETWEEN)
NPMLE_REFERENCES = ("Turnbull, J R Stat Soc B 1976;38:290", "Gentleman and Geyer, Biometrika 1994;81:618",
                    "Hesterberg, Am Stat 2015;69:371")  # fmt: skip


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

    "resolved": the day of the scan that documented it, as time_to_resolution. "resolved, mid-point": half-way from the
    last scan that still showed a collection. "resolved, interval-censored": the non-parametric maximum-likelihood
    estimate from those ranges, with a band of expanded percentiles of `replicates` bootstraps of patients from `seed`,
    none while nobody or once everybody has resolved; where the data leave the share open it is given half-way between
    `least` and `most`, two further columns of the table. Of it, `at_risk` counts patients whose range had not ended by
    then and `events` ranges that end on the day.
    Patients who ended otherwise count as never resolved up to the data lock.
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
        table=_stacked(parts),
        medians=_stacked(medians),
        landmarks=landmarks,
        population=Population(
            patients=len(registry.patients) - groups.left_out,
            collections=len(registry.collections),
            left_out={"patients without a group": groups.left_out},
        ),
        method=Method(
            estimand=f"probability of resolution by a day since index drainage, {competing(ends)} competing, dated by "
            "the scan that documented it, half-way from the last scan that still showed a collection, and at any time "
            "between those two scans",
            estimator="Aalen–Johansen for the first two; for the third the non-parametric maximum-likelihood estimate, "
            "patients who ended otherwise counted as never resolved up to the data lock",
            interval=f"{INTERVAL}; of the third, percentiles of {replicates:,} bootstraps of patients "
            f"(seed {seed}), expanded for few patients, none where nobody or everybody has resolved",
            level=level,
            definition=definition.sentence(),
            references=(*REFERENCES, *NPMLE_REFERENCES, *filter(None, [definition.reference])),
        ),
        notes=tuple(dict.fromkeys((
            *curves[0].notes, _caution(ranges.right, ranges.left, resolved & (groups.codes >= 0)), *small,
            *_lost(int(np.count_nonzero(otherwise & (groups.codes >= 0)))), *record_notes(ends),
            *imbalance(gap_quartiles(scan_gaps(registry, ends), groups), groups.labels),
        ))),
    )  # fmt: skip


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
    figures = {"least": least, "most": most, "estimate": (least + most) / 2, "conf_low": low, "conf_high": high}
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
    return table, _median(curve, table, banded=left.size >= FEWEST_PATIENTS), short


def _median(curve: IntervalCensoredCurve, table: pd.DataFrame, *, banded: bool) -> pd.DataFrame:
    """The day by which half are resolved: the middle of its stretch, limits where the band passes one half.

    Where everybody has resolved there is no band, but one half has been passed, so both its edges are 1.
    """
    if banded:
        edges = ["conf_low", "conf_high"]
        table = table.assign(**{name: table[name].mask(table["least"] > 1 - ROUNDING, 1.0) for name in edges})
    where = curve.quantile(0.5) if curve.n else None
    middle = np.nan if where is None else (where.left + where.right) / 2
    return pd.DataFrame(
        {"estimate": [middle], "conf_low": [_passing(table, "conf_high")], "conf_high": [_passing(table, "conf_low")]}
    )


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
        text="Resolution is known only to lie between the last scan that still showed a collection and the scan that "
        f"documented it, half of the time {wide:g} days or more apart. The mid-point is an assumption; the "
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
