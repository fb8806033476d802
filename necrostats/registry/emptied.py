"""A table whose rows were all set aside is not one of noes: with its headings only it would say that none happened."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

import pandas as pd

from necrostats.registry.checking import RELATED
from necrostats.registry.codebook import TABLES
from necrostats.registry.findings import DUPLICATE_ROW, FOLLOWS, NO_RECORD, OF_NO_KIND, findings_frame

NOTHING_LOST = (DUPLICATE_ROW, FOLLOWS, NO_RECORD, OF_NO_KIND)
"""Rules that set rows aside of which nothing is missing: copies, what follows its patient, what is no record or of a
kind that the layout says nothing of."""


def emptied(given: Collection[str], kept: Mapping[str, int], set_aside: pd.DataFrame) -> frozenset[str]:
    """Of the tables given those of which no row was kept, and one at least of a patient who counts was set aside."""
    lost = set_aside[(set_aside["scope"] == "row") & ~set_aside["rule"].isin(NOTHING_LOST)]
    patients = lost.loc[lost["table"] == "patients", "patient_id"].dropna()
    gone = set(lost.loc[~lost["patient_id"].isin(patients), "table"])
    return frozenset(name for name in given if name in gone and not kept[name] and not TABLES[name].required)


def about_emptied(names: Collection[str], source: str) -> Iterator[pd.DataFrame]:
    """One finding for each."""
    for name in (each for each in TABLES if each in names):
        yield findings_frame(
            row=[pd.NA],
            severity="asks",
            scope="table",
            rule="ALL_SET_ASIDE",
            table=name,
            file=source,
            problem=f"every row of {name} was set aside, so the table counts as not recorded: nothing is known about "
            f"{RELATED[name]}",
            remedy="Mend the rows. The table is not written until then: with its headings only it would say none.",
        )
