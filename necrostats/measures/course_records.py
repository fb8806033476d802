"""Every record of a registry as a row: whose it is, what it is, and its day from the index drainage."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.grades import AGREE
from necrostats.definitions.outcomes import SURGERY, Outcomes
from necrostats.measures.watching import last_contact, stent_days
from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.tables import Registry

KINDS = (
    "course", "follow-up", "drainage", "necrosectomy", "other session", "stent", "scan", "adverse event", "surgery",
    "percutaneous drain", "other intervention", "resolved", "death",
)  # fmt: skip
_COLUMNS = ("position", "what", "detail", "day", "day_to", "size_mm", "grade")


def records(registry: Registry, ends: Outcomes) -> pd.DataFrame:
    """One row a record. `position` is the patient's row; `what` one of KINDS; `day_to` blank for what has one day."""
    parts = [
        *_spans(registry, ends), *_sessions(registry), _stents(registry), _scans(registry), _events(registry),
        *_interventions(registry), _resolved(ends), _deaths(registry),
    ]  # fmt: skip
    rows = {name: np.concatenate([part[name] for part in parts]) for name in _COLUMNS}
    return pd.DataFrame(
        {
            "position": rows["position"].astype(np.int64),
            "what": pd.Categorical(rows["what"], categories=list(KINDS), ordered=True),
            "detail": pd.array(rows["detail"], dtype="string"),
            "day": pd.array(rows["day"], dtype="Int64"),
            "day_to": pd.array(rows["day_to"], dtype="Int64"),
            "size_mm": rows["size_mm"].astype("float64"),
            "grade": pd.Categorical(rows["grade"], categories=list(AGREE.grades), ordered=True),
        }
    )


def _part(what: str, position: np.ndarray, day, *, detail="", day_to=pd.NA, size_mm=np.nan, grade=None) -> dict:
    """Columns of equal length; what is not given is blank."""
    given = {"what": what, "detail": detail, "day": day, "day_to": day_to, "size_mm": size_mm, "grade": grade}
    return {"position": position} | {name: _column(values, len(position)) for name, values in given.items()}


def _column(values, length: int) -> np.ndarray:
    if isinstance(values, pd.Series):
        return values.astype(object).to_numpy(dtype=object, na_value=pd.NA)
    column = np.empty(length, dtype=object)
    column[:] = values
    return column


def _range_end(frame: pd.DataFrame, column: str = "day") -> pd.Series:
    """The latest day of what is dated to a range; blank where the day is exact."""
    latest = frame[f"{column}_latest"]
    return latest.where((latest != frame[column]).fillna(False), pd.NA)


def _spans(registry: Registry, ends: Outcomes) -> list[dict]:
    everybody, seen = np.arange(len(registry.patients)), last_contact(registry)
    later = seen > ends.day
    followed = _part("follow-up", everybody[later], ends.day[later], day_to=seen[later])
    return [_part("course", everybody, 0, day_to=ends.day), followed]


def _rows_of(registry: Registry, table: str, kept, what: str, detail: str) -> dict:
    kept = np.asarray(kept, dtype=bool)
    frame = registry.tables[table][kept]
    position = registry.position(table)[kept]
    return _part(what, position, frame["day"], detail=frame[detail], day_to=_range_end(frame))


def _sessions(registry: Registry) -> list[dict]:
    kind = registry.sessions["session_type"]
    drainage, necrosectomy = kind.isin(DRAINAGES), kind.isin(NECROSECTOMIES)
    each = {"drainage": drainage, "necrosectomy": necrosectomy, "other session": ~(drainage | necrosectomy)}
    return [_rows_of(registry, "sessions", kept, what, "session_type") for what, kept in each.items()]


def _stents(registry: Registry) -> dict:
    out, known = stent_days(registry)
    day_to = np.where(known, out, pd.NA)
    stents = registry.stents
    return _part(
        "stent", registry.position("stents"), stents["placed_day"], detail=stents["stent_type"], day_to=day_to
    )


def _scans(registry: Registry) -> dict:
    """One row for each day on which a patient was scanned, with the largest longest axis seen on it."""
    scans = pd.DataFrame(
        {
            "position": registry.position("scans"),
            "day": registry.scans["day"].to_numpy(dtype=np.int64),
            "size": registry.scans["long_mm"].to_numpy(dtype="float64"),
            "day_to": _range_end(registry.scans).to_numpy(dtype="float64", na_value=np.nan),
        }
    )
    days = scans.groupby(["position", "day"], as_index=False)[["size", "day_to"]].max()
    day_to = days["day_to"].astype("Int64")
    return _part("scan", days["position"].to_numpy(), days["day"], day_to=day_to, size_mm=days["size"].to_numpy())


def _events(registry: Registry) -> dict:
    events = registry.adverse_events
    return _part(
        "adverse event", registry.position("adverse_events"), events["day"], detail=events["event_type"],
        day_to=_range_end(events), grade=events["agree_grade"],
    )  # fmt: skip


def _interventions(registry: Registry) -> list[dict]:
    kind = registry.other_interventions["kind"]
    surgery, drain = kind.isin(SURGERY), kind == "percutaneous_drain"
    each = {"surgery": surgery, "percutaneous drain": drain, "other intervention": ~(surgery | drain)}
    return [_rows_of(registry, "other_interventions", kept, what, "kind") for what, kept in each.items()]


def _resolved(ends: Outcomes) -> dict:
    resolved = np.flatnonzero(ends.cause == 1)
    return _part("resolved", resolved, ends.day[resolved])


def _deaths(registry: Registry) -> dict:
    patients = registry.patients
    dead = ((patients["vital_status"] == "dead") & patients["death_day"].notna()).to_numpy(dtype=bool)
    died = patients[dead]
    return _part(
        "death", np.flatnonzero(dead), died["death_day"], detail=died["death_cause"],
        day_to=_range_end(died, "death_day"),
    )  # fmt: skip
