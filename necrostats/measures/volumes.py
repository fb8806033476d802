"""How large each collection was on each scan, and the median of those scanned in each window of days."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.measures.case_mix import HEADINGS
from necrostats.measures.grouping import Grouping, counted, patient_groups, summary_row, summary_table
from necrostats.measures.needs import SCANNED_SIZES, needing
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Trajectories

SIZES = ("volume_ml", "long_mm")
WINDOW_ENDS = (0, 14, 28, 60, 90, 180)
FEWEST = 5


@needing("Size of collections over time", (SCANNED_SIZES,))
def collection_volumes(
    registry: Registry, *, by: str | None = None, level: float = 0.95, size: str = "volume_ml"
) -> Trajectories:
    """The size of each collection on each scan to day 180, and the median by window of days from the index drainage.

    `size` is "volume_ml" or "long_mm" (longest axis). In each window a collection counts once, with its last value
    there; nothing is carried forward, so a median is that of the collections scanned in the window. `by` is something
    recorded at the index drainage.

    Counted: collections scanned in each window of days.
    Source: a count or description, common practice.
    """
    if size not in SIZES:
        raise unknown_choice("size of a collection", size, SIZES)
    groups = patient_groups(registry, by)
    of_collection = Grouping(labels=groups.labels, codes=groups.codes[registry.position("collections")])
    measured = _measured(registry, size)
    kept = measured[(of_collection.codes[measured["collection"]] >= 0) & (measured["day"] <= WINDOW_ENDS[-1])]
    known = kept[kept["value"].notna()].assign(group=lambda rows: of_collection.codes[rows["collection"]])
    windows, table = _windows(known, registry, of_collection, HEADINGS[size])
    return Trajectories(
        title=f"{'Volume' if size == 'volume_ml' else 'Longest axis'} of collections over time",
        frame=table,
        windows=windows,
        series=_series(known, of_collection),
        population=_population(registry, known, measured, kept, of_collection),
        method=_method(size, level),
        notes=_notes(table, windows),
    )


def _measured(registry: Registry, size: str) -> pd.DataFrame:
    """Each collection's scans, and its baseline where no scan stands on that day: collection (its row), day, value.

    A longest axis of 0 says that there is no collection left, so its volume is 0.
    """
    scans, collections = registry.scans, registry.collections
    value = scans[size].where(scans["long_mm"] != 0, 0.0)
    scanned = pd.DataFrame(
        {"collection": registry.position("scans", "collections"), "day": scans["day"], "value": value}
    )
    baseline = pd.DataFrame(
        {"collection": np.arange(len(collections)), "day": collections["baseline_scan_day"], "value": collections[size]}
    ).dropna()
    rows = pd.concat([scanned, baseline.astype(scanned.dtypes.to_dict())], ignore_index=True)
    rows = rows.assign(unknown=rows["value"].isna(), day=rows["day"].astype("int64"))
    rows = rows.sort_values(["collection", "day", "unknown"], kind="stable")
    return rows.drop_duplicates(["collection", "day"])[["collection", "day", "value"]].reset_index(drop=True)


def _windows(
    known: pd.DataFrame, registry: Registry, groups: Grouping, variable: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    place = np.searchsorted(WINDOW_ENDS, known["day"].to_numpy())
    last = known.assign(window=place).drop_duplicates(["collection", "window"], keep="last")
    patient = registry.position("collections")
    rows, windows = [], []
    for group in range(len(groups.labels)):
        total = int(np.count_nonzero(groups.codes == group))
        for window, end in enumerate(WINDOW_ENDS):
            here = last[(last["group"] == group) & (last["window"] == window)]
            patients = np.unique(patient[here["collection"]]).size
            low, middle, high = _quartiles(here["value"].to_numpy())
            rows.append(
                summary_row(
                    variable,
                    group,
                    "median",
                    level=_window_name(window),
                    n=len(here),
                    missing=total - len(here),
                    patients=patients,
                    estimate=middle,
                    low=low,
                    high=high,
                )
            )
            start = WINDOW_ENDS[window - 1] + 1 if window else min(int(known["day"].min()), 0) if len(known) else 0
            windows.append({"day_from": start, "day_to": end, "day": _quartiles(here["day"].to_numpy())[1]})
    return pd.DataFrame(windows, columns=["day_from", "day_to", "day"]), summary_table(rows, groups)


def _quartiles(values: np.ndarray) -> np.ndarray:
    return np.quantile(values, [0.25, 0.5, 0.75]) if values.size else np.full(3, np.nan)


def _window_name(window: int) -> str:
    return f"days {WINDOW_ENDS[window - 1] + 1}–{WINDOW_ENDS[window]}" if window else "to day 0"


def _series(known: pd.DataFrame, groups: Grouping) -> pd.DataFrame:
    """The values, collections numbered by group and by the size they were first seen with, the largest first."""
    first = known.drop_duplicates("collection")
    scans = known["collection"].value_counts()
    keys = (first["collection"].map(scans).to_numpy(), first["day"], -first["value"], first["group"])
    order = first["collection"].to_numpy()[np.lexsort(keys)]
    number = pd.Series(np.arange(1, order.size + 1), index=order)
    series = pd.DataFrame(
        {
            "collection": known["collection"].map(number).to_numpy(dtype=np.int64),
            "group": groups.column(known["group"].to_numpy(dtype=np.int64)),
            "day": known["day"].to_numpy(dtype=np.int64),
            "value": known["value"].to_numpy(dtype="float64"),
        }
    )
    return series.sort_values(["collection", "day"], kind="stable").reset_index(drop=True)


def _population(
    registry: Registry, known: pd.DataFrame, measured: pd.DataFrame, kept: pd.DataFrame, groups: Grouping
) -> Population:
    drawn = known["collection"].unique()
    without_group = groups.codes < 0
    has_value = np.isin(np.arange(groups.codes.size), drawn)
    return Population(
        patients=np.unique(registry.position("collections")[drawn]).size,
        collections=drawn.size,
        left_out={
            "collections of patients without a group": int(without_group.sum()),
            "collections never measured": int((~without_group & ~has_value).sum()),
            "scans without this size": int(kept["value"].isna().sum()),
            f"scans after day {WINDOW_ENDS[-1]}": int((measured["day"] > WINDOW_ENDS[-1]).sum()),
        },
    )


def _method(size: str, level: float) -> Method:
    said = "volume as reported; a longest axis of 0 is a volume of 0; no volume is worked out from axes"
    return Method(
        estimand="the size of the collections scanned in each window of days from the index drainage",
        estimator="median and quartiles of each collection's last value in the window",
        interval="none: a description, not an inference",
        level=level,
        definition=said if size == "volume_ml" else "longest axis as measured; 0 is no collection left",
    )


def _notes(table: pd.DataFrame, windows: pd.DataFrame) -> tuple[Note, ...]:
    total = int((table["n"] + table["missing"])[windows["day_to"] == 0].sum())
    late = int(table.loc[windows["day_to"] == WINDOW_ENDS[-1], "n"].sum())
    few = int(((table["n"] > 0) & (table["n"] < FEWEST)).sum())
    said = {
        "MISSING": total
        and f"A median is that of the collections scanned in its window: in days {WINDOW_ENDS[-2] + 1}–"
        f"{WINDOW_ENDS[-1]} that was {late:,} of {counted(total, 'collection', 'collections')}. Who is scanned late is "
        "not left to chance, so late medians do not speak for all.",
        "SMALL_N": few
        and f"{counted(few, 'window has', 'windows have')} fewer than {FEWEST} collections and no median is shown.",
    }
    return tuple(Note(code=code, text=text) for code, text in said.items() if text)
