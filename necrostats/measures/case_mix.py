"""Who was treated, and what was done: the baseline table, volumes of collections, and the activity of a period.

How much of the record is filled in.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.groups import REFERENCE, extent_of_patients
from necrostats.errors import unknown_choice
from necrostats.measures.grouping import (
    Grouping,
    counted,
    label,
    one_group,
    patient_groups,
    share_row,
    summary_row,
    summary_table,
)
from necrostats.measures.needs import SCANNED_SIZES, needing
from necrostats.registry.codebook import COLLECTIONS, PATIENTS, SESSIONS, TABLES, Column
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary, Trajectories
from necrostats.stats.confounding import largest_gap, mean_gap, share_gap

OF_PATIENTS = (
    "age_years",
    "sex",
    "aetiology",
    "atlanta_severity",
    "organ_failure",
    "infection",
    "asa_class",
    "comorbidity_index",
    "nutrition",
    "prior_intervention",
    "antithrombotic",
)
OF_THE_INDEX_COLLECTION = ("long_mm", "volume_ml", "solid_percent", "quadrants", "site", "encapsulated")
AS_LEVELS = ("asa_class", "quadrants")
FEWEST_FOR_A_DIFFERENCE = 5
DIFFERENCE = "; standardised difference between groups (the largest of any two), among those with a value"
DIFFERENCE_SOURCES = ("Austin, Stat Med 2009;28:3083", "Yang and Dalton, SAS Global Forum 2012, paper 335")


def case_mix(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Summary:
    """The baseline table: medians with quartiles, shares with counts, and what is missing, by group.

    With groups, `difference` is how far apart they are in each variable, in units of its spread (of more than two
    groups the two that lie farthest apart); NaN where a group has fewer than 5 values or no spread. No p-values:
    whether a baseline difference could be chance is not the question.

    Counted: patients with an index drainage; of each variable those who have a value.
    Source: Baroud et al., Gastrointest Endosc 2023;97:300.
    """
    groups = patient_groups(registry, by)
    values = {_heading(PATIENTS.column(name)): registry.patients[name] for name in OF_PATIENTS}
    values |= {_heading(COLLECTIONS.column(name)): _of_index(registry, name) for name in OF_THE_INDEX_COLLECTION}
    values |= {name: _as_levels(each) for name, each in values.items() if name.replace(" ", "_") in AS_LEVELS}
    values["extent class"] = extent_of_patients(registry)
    rows = [row for variable, series in values.items() for row in _describe(variable, series, groups)]
    frame, grouped = summary_table(rows, groups), len(groups.labels) > 1
    if grouped:
        frame["difference"] = frame["variable"].map(
            {name: _standardised_difference(each, groups) for name, each in values.items()}
        )
    return Summary(
        title="Case mix at the index drainage",
        frame=frame,
        population=Population(patients=len(registry.patients), left_out={"patients without a group": groups.left_out}),
        method=Method(
            estimand="the patients treated, as they were at the index drainage",
            estimator="median and quartiles, or count and share of those with a value"
            + (DIFFERENCE if grouped else ""),
            interval="none: a description, not an inference",
            level=level,
            definition="size, site and extent are those of the index collection",
            references=(REFERENCE, *(DIFFERENCE_SOURCES if grouped else ())),
        ),
    )


def activity(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """What was done: sessions by type.

    Counted: sessions held, and the patients treated in them.
    Source: a count or description, common practice.
    """
    rows = list(_describe("session type", registry.sessions["session_type"], one_group(len(registry.sessions))))
    return Summary(
        title="Activity",
        frame=summary_table(rows, one_group(0)),
        population=Population(patients=len(registry.patients), sessions=len(registry.sessions)),
        method=Method(
            estimand="the sessions held",
            estimator="count and share",
            interval="none",
            level=level,
            definition=SESSIONS.row,
        ),
    )


HEADINGS = {"long_mm": "longest axis, mm", "volume_ml": "volume, ml", "solid_percent": "solid contents, %"}


def _heading(column) -> str:
    if column.name in HEADINGS:
        return HEADINGS[column.name]
    words = column.name.replace("_", " ")
    unit = {"years": " years", "mm": " mm", "ml": " ml", "%": " percent"}.get(column.unit, "")
    return f"{words.removesuffix(unit)}, {column.unit}" if unit else words


def _of_index(registry: Registry, name: str) -> pd.Series:
    """A column of each patient's index collection, in the order of patients; blank where there is none."""
    index = registry.collections["is_index"].fillna(False).to_numpy(dtype=bool)
    kept = registry.collections.loc[index, name]
    place = pd.Series(kept.to_numpy(), index=registry.position("collections")[index], dtype=kept.dtype)
    return place[~place.index.duplicated()].reindex(range(len(registry.patients))).reset_index(drop=True)


def _as_levels(values: pd.Series) -> pd.Series:
    """A whole number as levels in order, so that every group has every level seen in any."""
    return values.astype(pd.CategoricalDtype(sorted(values.dropna().unique()), ordered=True))


def _describe(variable: str, values: pd.Series, groups: Grouping):
    as_levels = not pd.api.types.is_numeric_dtype(values) or pd.api.types.is_bool_dtype(values)
    for group in range(len(groups.labels)):
        here = values[groups.codes == group]
        yield from _shares(variable, here, group) if as_levels else [_median(variable, here, group)]


def _standardised_difference(values: pd.Series, groups: Grouping) -> float:
    known = [values[groups.codes == group].dropna() for group in range(len(groups.labels))]
    kept = [each for each in known if len(each) >= FEWEST_FOR_A_DIFFERENCE]
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        return largest_gap([each.to_numpy(dtype=float) for each in kept], mean_gap)
    levels = pd.unique(values.dropna())
    return largest_gap([each.value_counts().reindex(levels, fill_value=0).to_numpy(float) for each in kept], share_gap)


def _shares(variable: str, values: pd.Series, group: int):
    counted = values.value_counts(dropna=True, sort=False)
    levels = values.cat.categories if isinstance(values.dtype, pd.CategoricalDtype) else sorted(counted.index)
    known = int(values.notna().sum())
    for level in levels:
        events = int(counted.get(level, 0))
        yield share_row(variable, group, level=label(level), events=events, n=known, missing=len(values) - known)


def _median(variable: str, values: pd.Series, group: int) -> dict:
    known = values.dropna().to_numpy(dtype=float)
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75]) if known.size else (np.nan,) * 3
    return summary_row(
        variable, group, "median", n=known.size, missing=len(values) - known.size, estimate=middle, low=low, high=high
    )


def data_completeness(registry: Registry, *, by: None = None, level: float = 0.95) -> Summary:
    """For each expected column, the share of rows that hold a value, among the rows it applies to.

    Of a registry narrowed with `during`, rows of the period and whole histories of its patients: title and method
    say which is which.

    Counted: rows of each table to which the column applies.
    Source: a count or description, common practice.
    """
    rows = [
        _completeness(f"{table.name}.{column.name}", registry.tables[table.name], column)
        for table in TABLES.values()
        for column in table.columns
        if column.expected and not column.required
    ]
    return Summary(
        title=f"Completeness of the record{_narrowed_title(registry)}",
        frame=summary_table(rows, one_group(0)),
        population=Population(
            patients=len(registry.patients), collections=len(registry.collections), sessions=len(registry.sessions)
        ),
        method=Method(
            estimand="share of rows with a value, column by column",
            estimator="filled rows over rows the column applies to",
            interval="none: a count, not an inference",
            level=level,
            definition="blank or marked as not recorded is missing; columns that may rightly be blank are not listed"
            f"{_narrowed_definition(registry)}",
        ),
    )


def _narrowed_title(registry: Registry) -> str:
    if not registry.narrowed_to:
        return ""
    return f": sessions and events of {registry.narrowed_to}, and all other records of the patients treated then"


def _narrowed_definition(registry: Registry) -> str:
    """Which tables are of the period: a day from the index drainage cannot be placed in a quarter."""
    if not registry.narrowed_to:
        return ""
    return (
        f". Sessions, their instruments and adverse events are those of {registry.narrowed_to}; patients, collections, "
        "stents, scans, reviews and other interventions are whole histories of the patients treated then, since a day "
        "counted from the index drainage does not say in which quarter it fell"
    )


def _completeness(variable: str, frame: pd.DataFrame, column: Column) -> dict:
    condition, codes = column.applies
    rows = frame[frame[condition].isin(codes)] if condition else frame
    filled = int(rows[column.name].notna().sum())
    return share_row(variable, 0, events=filled, n=len(rows), missing=len(rows) - filled)


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
