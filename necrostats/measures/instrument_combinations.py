"""Which classes of instrument were used together in one necrosectomy, and how often."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.measures.credited_yields import CLASSES, Debridements, debridements
from necrostats.measures.grouping import counted
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Statements

NONE_RECORDED = "no class recorded"
COLUMNS = ("classes_used", "necrosectomies", "patients", "first_necrosectomies", "later_necrosectomies")


def instrument_combinations(registry: Registry, *, fewest: int = 3) -> Statements:
    """Necrosectomies and patients of each combination of classes, the most frequent first; adjuncts do not count.

    Combinations of several classes with fewer than `fewest` necrosectomies share one row at the end.

    Counted: necrosectomies with a recorded instrument, and their patients.
    Source: a count or description, common practice.
    """
    found = debridements(registry)
    table = _table(found, fewest)
    shared = int(np.count_nonzero(found.classes > 1))
    return Statements(
        title="Classes of instrument used together",
        frame=table,
        said=(_said(found.session.size, shared),),
        population=Population(patients=np.unique(found.patient).size, sessions=found.session.size),
        method=Method(
            estimand="necrosectomies with each combination of instrument classes",
            estimator="counts",
            interval="none: these are counts",
            level=0.95,
            definition="lavage and peroxide are adjuncts and not counted as a class",
        ),
    )


def _said(total: int, shared: int) -> str:
    if not total:
        return "There are no necrosectomies."
    share = f" ({100 * shared / total:.0f} %)" if shared else ""
    was = "was" if shared == 1 else "were"
    return f"{shared:,} of {counted(total, 'necrosectomy', 'necrosectomies')}{share} {was} shared by several classes."


def _table(found: Debridements, fewest: int) -> pd.DataFrame:
    kinds, place = np.unique(found.used, axis=0, return_inverse=True)
    place = place.reshape(-1)
    sizes, several = np.bincount(place, minlength=len(kinds)), kinds.sum(axis=1) > 1
    rare = several & (sizes < fewest)
    rows = [_row(found, _name(kinds[at]), place == at) for at in np.flatnonzero(~rare & (sizes > 0))]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table = table.sort_values(["necrosectomies", "classes_used"], ascending=[False, True], ignore_index=True)
    if rare.any():
        name = counted(int(rare.sum()), "further combination", "further combinations")
        table.loc[len(table)] = _row(found, f"{name}, each in fewer than {fewest}", rare[place])
    return table.astype(dict.fromkeys(COLUMNS[1:], "int64"))


def _name(kind: np.ndarray) -> str:
    return " + ".join(CLASSES[at].replace("_", " ") for at in np.flatnonzero(kind)) or NONE_RECORDED


def _row(found: Debridements, name: str, here: np.ndarray) -> dict:
    first = int((found.number[here] == 1).sum())
    return {
        "classes_used": name,
        "necrosectomies": int(here.sum()),
        "patients": np.unique(found.patient[here]).size,
        "first_necrosectomies": first,
        "later_necrosectomies": int(here.sum()) - first,
    }
