"""Which classes of instrument were used together in one necrosectomy, and how often."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.measures.credited_yields import CLASSES, Debridements, debridements
from necrostats.measures.grouping import counted
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Statements

NONE_RECORDED = "no class recorded"
COLUMNS = ("classes_used", "how_many", "necrosectomies", "patients", "first_necrosectomies", "later_necrosectomies")


def instrument_combinations(registry: Registry) -> Statements:
    """Necrosectomies and patients of each combination of classes, the most frequent first; adjuncts do not count."""
    found = debridements(registry)
    table = _table(found)
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


def _table(found: Debridements) -> pd.DataFrame:
    kinds, place = np.unique(found.used, axis=0, return_inverse=True)
    place = place.reshape(-1)
    rows = [_row(found, kind, place == at) for at, kind in enumerate(kinds) if (place == at).any()]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for name in COLUMNS[1:]:
        table[name] = table[name].astype("int64")
    return table.sort_values(["necrosectomies", "classes_used"], ascending=[False, True], ignore_index=True)


def _row(found: Debridements, kind: np.ndarray, here: np.ndarray) -> dict:
    names = [CLASSES[at].replace("_", " ") for at in np.flatnonzero(kind)]
    first = int((found.number[here] == 1).sum())
    return {
        "classes_used": " + ".join(names) or NONE_RECORDED,
        "how_many": len(names),
        "necrosectomies": int(here.sum()),
        "patients": np.unique(found.patient[here]).size,
        "first_necrosectomies": first,
        "later_necrosectomies": int(here.sum()) - first,
    }
