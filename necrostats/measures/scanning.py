"""The scan-schedule meter: were the groups looked at equally often?"""

from __future__ import annotations

import numpy as np

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.grouping import patient_groups
from necrostats.measures.scan_gaps import IMBALANCE_ABOVE, gap_quartiles, imbalance, scan_gaps
from necrostats.measures.summaries import summary_row, summary_table
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Summary


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
                "gap between scans, days", place, "median", n=int(np.count_nonzero(code == place)),
                missing=0, patients=scanned, estimate=middle, low=low, high=high,
            )
        )  # fmt: skip
    return Summary(
        title="How often patients were scanned",
        table=summary_table(rows, groups),
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
