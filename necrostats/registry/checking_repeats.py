"""The same thing entered twice under different ids, or in a table without ids."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from necrostats.registry.drafts import Draft, Flag

SAME = {
    "sessions": ("patient_id", "day"),
    "scans": ("collection_id", "day"),
    "reviews": ("patient_id", "day"),
    "other_interventions": ("patient_id", "day", "kind"),
    "instrument_uses": ("session_id", "instrument_class"),
}
WORDS = {
    "sessions": "the same patient and day as another session",
    "scans": "the same collection and day as another scan",
    "reviews": "the same patient and day as another review",
    "other_interventions": "the same patient, day and kind as another intervention",
    "instrument_uses": "the same class as another row of this session",
}


def same_again(draft: Draft) -> Iterator[Flag]:
    """Rows that agree with another row in all that tells rows of their table apart."""
    for name, columns in SAME.items():
        table = draft[name]
        rows = np.flatnonzero(table.kept)
        alike = pd.DataFrame({column: _numbered(draft, name, column)[rows] for column in columns})
        yield Flag(
            rule="SAME_AGAIN",
            table=name,
            at=rows[alike.duplicated(keep=False).to_numpy()],
            severity="asks",
            column=columns[-1],
            problem=f"this row has {WORDS[name]}",
            remedy="If one of them is a copy, take it away. Both count until then.",
            value="",
        )


def _numbered(draft: Draft, table: str, column: str) -> np.ndarray:
    if column.endswith("_id"):
        return draft.link(table, column)
    cells = draft[table].cells[column]
    return pd.factorize(cells.values)[0][cells.which]
