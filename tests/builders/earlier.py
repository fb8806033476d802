"""A registry as it would have stood some days before: what was not yet known then is not there."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.measures.locking import definitions_today, figures_of
from necrostats.registry.codebook import TABLES
from necrostats.registry.lock import write_lock
from necrostats.registry.tables import Registry, registry_from

_DAYS = {
    "sessions": "day",
    "stents": "placed_day",
    "scans": "day",
    "reviews": "day",
    "adverse_events": "day",
    "other_interventions": "day",
}


def plain_tables(registry: Registry) -> dict[str, pd.DataFrame]:
    """The tables with ids and periods as plain values, to be changed."""
    return {
        name: frame.astype({each.name: object for each in TABLES[name].all_columns if each.kind in ("id", "period")})
        for name, frame in registry.tables.items()
    }


def days_before(registry: Registry, days: int) -> dict[str, pd.DataFrame]:
    """The tables as they stood so many days before the data lock."""
    tables = plain_tables(registry)
    patients = tables["patients"]
    patients["observed_days"] -= days
    patients = patients[patients["observed_days"] >= 0].reset_index(drop=True)
    seen = patients["observed_days"]
    later = (patients["death_day"] > seen).fillna(False)
    patients["last_contact_day"] = np.minimum(patients["last_contact_day"], seen)
    patients.loc[later, "vital_status"] = "alive"
    patients.loc[later, ["death_day", "death_cause"]] = pd.NA
    lock = dict(zip(patients["patient_id"], seen, strict=True))
    tables["patients"] = patients
    found = _of(tables["collections"], lock)
    later = (found["detected_day"] > found["patient_id"].map(lock)).fillna(False).to_numpy(bool)
    tables["collections"] = found[~later].reset_index(drop=True)
    for name, column in _DAYS.items():
        kept = _of(tables[name], lock)
        tables[name] = kept[kept[column].to_numpy() <= kept["patient_id"].map(lock).to_numpy()].reset_index(drop=True)
    stents = tables["stents"]
    still = (stents["removed_day"] > stents["patient_id"].map(lock)).fillna(False)
    stents.loc[still, "removed_day"] = pd.NA
    stents.loc[still, "end_reason"] = "in_place"
    held = set(tables["sessions"]["session_id"])
    uses = tables["instrument_uses"]
    tables["instrument_uses"] = uses[uses["session_id"].isin(held)].reset_index(drop=True)
    return tables


def _of(frame: pd.DataFrame, lock: Mapping[str, int]) -> pd.DataFrame:
    return frame[frame["patient_id"].isin(set(lock))].reset_index(drop=True)


def locked(tables: Mapping[str, pd.DataFrame], folder: Path, **as_of) -> Path:
    """Tables as a lock; `definitions` and `figures` as of today unless said otherwise."""
    registry = registry_from(tables)
    said = {"definitions": definitions_today(), "figures": figures_of(registry), **as_of}
    write_lock(registry, folder, **said)
    return folder


def without(tables: Mapping[str, pd.DataFrame], table: str, *ids: str) -> dict[str, pd.DataFrame]:
    """Tables without some records of one of them."""
    frame = tables[table]
    return {**tables, table: frame[~frame.iloc[:, 0].isin(ids)].reset_index(drop=True)}


def renumbered(tables: Mapping[str, pd.DataFrame], shift: int) -> dict[str, pd.DataFrame]:
    """Tables whose ids, those of patients apart, are all others, as if the export had been read anew."""
    renamed = {}
    for name, frame in tables.items():
        columns = [each for each in TABLES[name].all_columns if each.kind in ("id", "ids")]
        own = {each.name: [_shifted(cell, shift) for cell in frame[each.name]] for each in columns}
        renamed[name] = frame.assign(**{column: cells for column, cells in own.items() if column != "patient_id"})
    return renamed


def _shifted(cell: object, shift: int) -> object:
    if pd.isna(cell):
        return cell
    return ";".join(f"{each[0]}{int(each[1:]) + shift:05d}" for each in str(cell).split(";"))
