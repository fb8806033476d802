"""The median day of resolution by five routes: documented, mid-point, between scans, log-normal and Weibull."""

from __future__ import annotations

import numpy as np

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.estimates import estimate_row, estimate_table
from necrostats.measures.grouping import patient_groups
from necrostats.measures.interval_censored import BETWEEN, DOCUMENTED, MIDDLE, interval_censored_resolution
from necrostats.measures.resolution import competing
from necrostats.measures.scan_ranges import never_resolved, scan_ranges
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Estimates, Method, Note
from necrostats.stats.intervals import Interval
from necrostats.stats.npmle import SEED
from necrostats.stats.parametric_times import parametric_times

WAYS = {DOCUMENTED: "documented", MIDDLE: "mid-point", BETWEEN: "interval-censored, no shape"}
SHAPES = {"log-normal": "interval-censored, log-normal", "weibull": "interval-censored, Weibull"}
FEWEST_FOR_A_MODEL = 10
RISES = Note(
    code="INTERVAL_CENSORED",
    text="Curves of a fixed shape rise to 1 although not everybody resolves: their medians check the others and do not "
    "replace them.",
)


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
        found |= {(name, place): _read(curves, way, groups.labels[place]) for way, name in WAYS.items()}
        found |= {
            (name, place): _fitted(left[rows], ranges.right[rows], shape, level) for shape, name in SHAPES.items()
        }
    made = []
    for name in (*WAYS.values(), *SHAPES.values()):
        for place, label in enumerate(groups.labels):
            rows, each = groups.codes == place, found[name, place]
            made.append(
                estimate_row(
                    "median day of resolution", name, unit="days", of="patients", n=int(rows.sum()), group=label,
                    events=int(np.count_nonzero(ends.cause[rows] == 1)), estimate=each.estimate, low=each.low,
                    high=each.high,
                )
            )  # fmt: skip
    return Estimates(
        title="Median day of resolution, by how it is dated",
        table=estimate_table(made, groups=groups.labels),
        population=curves.population,
        method=Method(
            estimand="day since index drainage by which half of all patients are resolved, "
            f"{competing(ends)} competing",
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
    return Interval(estimate=row["estimate"], low=row["conf_low"], high=row["conf_high"])


def _fitted(left: np.ndarray, right: np.ndarray, shape: str, level: float) -> Interval:
    if left.size < FEWEST_FOR_A_MODEL:
        text = f"Fewer than {FEWEST_FOR_A_MODEL} patients in a group: no curve of a fixed shape is fitted to it."
        few = (Note(code="SMALL_N", text=text),) if left.size else ()
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=few)
    return parametric_times(left, right, shape=shape, level=level).median([])
