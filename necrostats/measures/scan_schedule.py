"""The scan-schedule meter: were the groups looked at equally often?

How often patients were scanned: days between one scan and the next while they were under treatment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.grouping import Grouping, patient_groups, summary_row, summary_table
from necrostats.measures.needs import SCAN_DAYS, needing
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary

IMBALANCE_ABOVE = 1.2
_SPAN = np.int64(1 << 20)


@dataclass(frozen=True, kw_only=True, eq=False)
class ScanGaps:
    """`days` (S,) from each scan day of a patient to the one before, or to the index drainage; `patient` (S,)."""

    patient: np.ndarray
    days: np.ndarray


def scan_gaps(registry: Registry, ends: Outcomes) -> ScanGaps:
    """Gaps between scan days after the index drainage, up to the end of each course; a day counts once."""
    patient = registry.position("scans").astype(np.int64)
    dated = registry.scans["day"].notna().to_numpy()
    day = registry.scans["day"].fillna(0).to_numpy(dtype=np.int64)
    kept = dated & (day > 0) & (day <= ends.day[patient])
    whose, when = np.divmod(np.unique(patient[kept] * _SPAN + day[kept]), _SPAN)
    starts = np.diff(whose, prepend=-1) != 0
    before = np.where(starts, 0, np.concatenate([[0], when[:-1]])[: when.size])
    return ScanGaps(patient=whose, days=when - before)


def gap_quartiles(gaps: ScanGaps, groups: Grouping) -> np.ndarray:
    """Lower quartile, median and upper quartile (G, 3) of the gaps of each group; NaN where there are none."""
    code = groups.codes[gaps.patient]
    found = np.full((len(groups.labels), 3), np.nan)
    for place in np.unique(code[code >= 0]):
        found[place] = np.quantile(gaps.days[code == place], (0.25, 0.5, 0.75))
    return found


def imbalance(quartiles: np.ndarray, labels: tuple[str, ...]) -> tuple[Note, ...]:
    """The note that goes with groups scanned at different gaps; the ratio 1.2 is common practice, no source."""
    median = quartiles[:, 1]
    known = np.flatnonzero(np.isfinite(median) & (median > 0))
    if known.size < 2:
        return ()
    low, high = known[np.argmin(median[known])], known[np.argmax(median[known])]
    ratio = median[high] / median[low]
    if ratio <= IMBALANCE_ABOVE:
        return ()
    text = (
        f"Scans were {ratio:.1f} times as far apart in {labels[high]} (median {median[high]:g} days) as in "
        f"{labels[low]} ({median[low]:g} days): resolution is dated by scans, so later dates there may mean no more "
        "than that."
    )
    return (Note(code="SCAN_GAP_IMBALANCE", text=text),)


@needing("How often patients were scanned", (SCAN_DAYS,))
def scan_schedule(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
) -> Summary:
    """Days between scans while under treatment: median and quartiles by group.

    The first gap runs from the index drainage; scans after the end of the course do not count. A ratio of medians
    above 1.2 is a note.

    Counted: gaps between scans of patients under treatment.
    Source: a count or description, common practice.
    """
    groups = patient_groups(registry, by)
    gaps = scan_gaps(registry, outcomes(registry, definition))
    quartiles = gap_quartiles(gaps, groups)
    code = groups.codes[gaps.patient]
    unscanned = (groups.codes >= 0) & ~np.isin(np.arange(groups.codes.size), gaps.patient)
    rows = []
    for place, (low, middle, high) in enumerate(quartiles):
        scanned = np.unique(gaps.patient[code == place]).size
        rows.append(
            summary_row(
                "gap between scans, days",
                place,
                "median",
                n=int(np.count_nonzero(code == place)),
                missing=0,
                patients=scanned,
                estimate=middle,
                low=low,
                high=high,
            )
        )
    return Summary(
        title="How often patients were scanned",
        frame=summary_table(rows, groups),
        population=Population(
            patients=int(np.count_nonzero((groups.codes >= 0) & ~unscanned)),
            left_out={
                "patients without a group": groups.left_out,
                "patients without a scan while under treatment": int(np.count_nonzero(unscanned)),
            },
        ),
        method=Method(
            estimand="days from one scan to the next between the index drainage and the end of the course",
            estimator="median and quartiles of the gaps; a patient with many scans counts with each",
            interval="none: a description",
            level=level,
            definition=f"{definition.sentence()} A ratio of medians above {IMBALANCE_ABOVE:g} is said.",
            references=tuple(filter(None, [definition.reference])),
        ),
        notes=imbalance(quartiles, groups.labels),
    )
