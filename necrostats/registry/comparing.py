"""One registry at two times: which record is which, and what differs.

Ids that reading an export makes are numbered anew at every reading, so a record is known by what it says before it is
known by its id; a patient is known by the study code.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.writing import texts_of
from necrostats.registry.tables import Recorded, Registry

ADDED, REMOVED, CHANGED = "added", "removed", "changed"
DIFFERENCES = ("kind", "table", "record", "patient", "column", "was", "now")
AT_THE_LOCK = " at the lock"
_STABLE = 0.9
_ANCHORS = {
    "patients": (),
    "collections": ("is_index", "site"),
    "sessions": ("day",),
    "instrument_uses": ("instrument_class",),
    "stents": ("placed_day", "stent_type"),
    "scans": ("day", "collection_id"),
    "reviews": ("day",),
    "adverse_events": ("day", "event_type"),
    "other_interventions": ("day", "kind"),
}
"""What a record of a table keeps when its id is another."""

Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, kw_only=True, eq=False)
class Versions:
    """The nine tables then and now, a record under the same label and id in both, and their differences.

    The ids are those of today; one of a record that is gone says so where today's registry has that id too.
    `differences` has a row for each record that was added or removed, and for each value that changed, as text.
    `recorded` is what the unit kept at either time.
    """

    then: Tables
    now: Tables
    differences: pd.DataFrame
    recorded: Recorded


def versions(then: Registry, now: Registry) -> Versions:
    """Two registries, record by record."""
    before, after = _plain(then), _plain(now)
    told = [_matched(before, after, table) for table in TABLES.values()]
    return Versions(
        then=before,
        now=after,
        differences=pd.concat(told, ignore_index=True),
        recorded=Recorded(
            tables=then.recorded.tables | now.recorded.tables, columns=then.recorded.columns | now.recorded.columns
        ),
    )


def _plain(registry: Registry) -> Tables:
    """The tables with ids and periods as plain values, so that those of two registries can stand in one column."""
    return {
        name: frame.astype(
            {each.name: object for each in TABLES[name].all_columns if each.kind in ("id", "ids", "period")}
        )
        for name, frame in registry.tables.items()
    }


def _matched(before: Tables, after: Tables, table: Table) -> pd.DataFrame:
    """The differences of a table, whose records get their common labels and ids; those of its parents have them."""
    then, now = before[table.name], after[table.name]
    pair = _pairs(_texts(then), _texts(now), table)
    now.index = pd.Index([f"now {row}" for row in range(len(now))], dtype=object)
    labels = [f"now {pair[row]}" if row in pair else f"then {row}" for row in range(len(then))]
    then.index = pd.Index(labels, dtype=object)
    if table.key:
        _renamed(before, table, _common_ids(then, now, table.key))
    return _differences(before, after, table)


def _texts(frame: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame({name: texts_of(frame[name]) for name in frame}, dtype=object)


def _pairs(then: pd.DataFrame, now: pd.DataFrame, table: Table) -> dict[int, int]:
    """Row then → row now of the same record, from the surest sign to the least sure."""
    owner = "patient_id" if "patient_id" in then else "session_id"
    key = [table.key] if table.key else []
    said = [column.name for column in table.all_columns if column.name not in key and column.refers_to != table.name]
    anchored = [owner, *_ANCHORS[table.name]]
    signs = [said, anchored]
    if table.name == "patients":
        signs = [key]
    elif key and _keeps_ids(then, now, table.key, said):
        signs = [[*said, *key], [*anchored, *key], said, anchored, [owner, *key]]
    found: dict[int, int] = {}
    for columns in signs:
        found = _paired(then, now, columns, found)
    return found


def _keeps_ids(then: pd.DataFrame, now: pd.DataFrame, key: str, said: Sequence[str]) -> bool:
    """Whether records that say what no other does have the ids they had."""
    alone = [side[~side.duplicated(said, keep=False)] for side in (then, now)]
    same = alone[0].merge(alone[1], on=list(said), suffixes=("", "_now"))
    return same.empty or float((same[key] == same[f"{key}_now"]).mean()) >= _STABLE


def _paired(then: pd.DataFrame, now: pd.DataFrame, by: Sequence[str], found: Mapping[int, int]) -> dict[int, int]:
    """Further pairs among the rows not yet paired, alike in some columns; of several alike the first with the first."""
    sides = [
        side[~side.index.isin(taken)][list(by)] for side, taken in ((then, list(found)), (now, list(found.values())))
    ]
    ranked = [side.assign(rank=side.groupby(list(by), sort=False).cumcount(), row=side.index) for side in sides]
    both = ranked[0].merge(ranked[1], on=[*by, "rank"], suffixes=("", "_now"))
    return {**found, **dict(zip(both["row"], both["row_now"], strict=True))}


def _common_ids(then: pd.DataFrame, now: pd.DataFrame, key: str) -> dict[str, str]:
    """The id of each record then → the one it has in both tables."""
    today, used = now[key].to_dict(), set(now[key])
    return {old: today.get(label, f"{old}{AT_THE_LOCK}" if old in used else old) for label, old in then[key].items()}


def _renamed(before: Tables, table: Table, ids: Mapping[str, str]) -> None:
    """Ids of a table, and every reference to them, by their common names."""
    for name, frame in before.items():
        for column in TABLES[name].columns:
            if column.refers_to == table.name or column.name == table.key == TABLES[name].key:
                frame[column.name] = [_name(each, ids) for each in frame[column.name]]


def _name(cell: object, ids: Mapping[str, str]) -> object:
    if pd.isna(cell):
        return cell
    return ";".join(ids.get(each.strip(), each.strip()) for each in str(cell).split(";"))


def _differences(before: Tables, after: Tables, table: Table) -> pd.DataFrame:
    then, now = before[table.name], after[table.name]
    told = [
        _listed(ADDED, table, after, now.index[~now.index.isin(then.index)]),
        _listed(REMOVED, table, before, then.index[~then.index.isin(now.index)]),
    ]
    both = then.index[then.index.isin(now.index)]
    for column in table.all_columns:
        was, is_now = texts_of(then.loc[both, column.name]), texts_of(now.loc[both, column.name])
        differ = was != is_now
        told.append(
            _listed(CHANGED, table, after, both[differ], column=column.name, was=was[differ], now=is_now[differ])
        )
    return pd.concat([each for each in told if len(each)] or told[:1], ignore_index=True)


def _listed(kind: str, table: Table, tables: Tables, labels: pd.Index, **values) -> pd.DataFrame:
    about = {"kind": kind, "table": table.name, "record": labels, "patient": patients_of(tables, table.name)[labels]}
    return pd.DataFrame({**about, **{"column": "", "was": "", "now": "", **values}}, dtype=object)[list(DIFFERENCES)]


def patients_of(tables: Tables, name: str) -> pd.Series:
    """The patient of each record of a table, by label."""
    frame = tables[name]
    if "patient_id" in frame:
        return frame["patient_id"]
    sessions = tables["sessions"]
    return frame["session_id"].map(dict(zip(sessions["session_id"], sessions["patient_id"], strict=True)))
