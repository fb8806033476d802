"""Groups of patients or sessions by something that was known at the start.

Counts in words, in the singular and the plural.

Rows and tables of the Summary kind.

Rows and tables of the Estimates kind.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.groups import age_band, extent_of_patients
from necrostats.errors import DesignError, unknown_choice
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import Registry
from necrostats.results import Estimates, Note, Summary

ALL = "all"

KNOWN_AT_THE_START = (
    "sex",
    "aetiology",
    "atlanta_severity",
    "organ_failure",
    "infection",
    "asa_class",
    "nutrition",
    "prior_intervention",
    "antithrombotic",
    "index_period",
)
DERIVED = ("age_band", "extent_class")
_USED_LATER = tuple(
    code for code in TABLES["instrument_uses"].column("instrument_class").codes if code not in ("other", "unknown")
)
_WORDS_OF_LATER = {"ever", "never", "died", "dead", "death", "surgery", "operated", "drain", "migrated", "complication"}
OF_THE_SESSION = ("period", "session_type", "planned", "anaesthesia", "carbon_dioxide", "texture")


@dataclass(frozen=True, kw_only=True, eq=False)
class Grouping:
    """Labels in order, and for each row (n,) the place of its label, -1 where it has none."""

    labels: tuple[str, ...]
    codes: np.ndarray

    @property
    def left_out(self) -> int:
        """Rows without a group."""
        return int(np.count_nonzero(self.codes < 0))

    def column(self, places) -> pd.Categorical:
        """The labels at `places` as an ordered categorical that keeps the empty groups."""
        return pd.Categorical.from_codes(np.asarray(places), categories=list(self.labels), ordered=True)


def patient_groups(registry: Registry, by: str | None) -> Grouping:
    """The group of each patient; DesignError for something known only later, ChoiceError for an unknown name."""
    if by is None:
        return one_group(len(registry.patients))
    if by not in (*KNOWN_AT_THE_START, *DERIVED):
        raise _refusal(by)
    return _grouping(_derived(registry, by) if by in DERIVED else registry.patients[by])


def session_groups(registry: Registry, by: str | None) -> Grouping:
    """The group of each session: something of the session, or of its patient."""
    if by in OF_THE_SESSION:
        return _grouping(registry.sessions[by])
    groups = patient_groups(registry, by)
    return Grouping(labels=groups.labels, codes=groups.codes[registry.position("sessions")])


def one_group(rows: int) -> Grouping:
    """Everybody in one group."""
    return Grouping(labels=(ALL,), codes=np.zeros(rows, dtype=np.int64))


def _derived(registry: Registry, by: str) -> pd.Series:
    return age_band(registry.patients["age_years"]) if by == "age_band" else extent_of_patients(registry)


def _grouping(values: pd.Series) -> Grouping:
    if not isinstance(values.dtype, pd.CategoricalDtype):
        values = values.astype(pd.CategoricalDtype(sorted(values.dropna().unique())))
    labels = tuple(label(each) for each in values.cat.categories)
    return Grouping(labels=labels, codes=values.cat.codes.to_numpy().astype(np.int64))


def label(value: object) -> str:
    """A level as it is shown: yes and no for truth values, else as it stands."""
    return {"True": "yes", "False": "no"}.get(str(value), str(value))


def _refusal(by: str) -> Exception:
    if known_only_later(by):
        return DesignError(
            f'"{by}" cannot group patients from day 0: it is known only later, and those who have it had to stay '
            "under treatment long enough to get it (immortal time). "
            f"Group by something recorded at the index drainage: {', '.join((*KNOWN_AT_THE_START, *DERIVED))}. "
            'Or ask it rightly: landmark_resolution(registry, by_ever="snare", landmark=28) groups by what was used up '
            'to a day; ever_used_trap(registry, "snare") compares necrosectomies with and without it.'
        )
    return unknown_choice("grouping", by, (*KNOWN_AT_THE_START, *DERIVED))


def known_only_later(by: str) -> bool:
    """Whether a name speaks of what happens during treatment: a column of a later record, an instrument, a count."""
    name = "_".join(re.findall(r"[a-z0-9]+", str(by).lower()))
    columns = {each for table in TABLES.values() for each in table.names} - {"patient_id"}
    words = set(name.split("_"))
    return (
        by in columns
        or any(f"_{code}_" in f"_{name}_" for code in _USED_LATER)
        or bool(words & _WORDS_OF_LATER)
        or any(word.startswith(("necrosectom", "session", "stent", "exchang", "recur", "resol")) for word in words)
    )


def counted(number: int, one: str, many: str) -> str:
    """ "1 patient was", "2,000 patients were"."""
    return f"{number:,} {one if number == 1 else many}"


def summary_row(variable: str, group: int, measure: str, *, n: int, missing: int, **more) -> dict:
    """One row; `group` is a place in the grouping, and what is not given is blank."""
    blank = {"level": "", "events": pd.NA, "patients": pd.NA, "estimate": np.nan, "low": np.nan, "high": np.nan}
    return {"variable": variable, "group": group, "measure": measure, "n": n, "missing": missing, **blank, **more}


def share_row(variable: str, group: int, *, events: int, n: int, missing: int, **more) -> dict:
    """A row that says `events` of `n`."""
    share = events / n if n else np.nan
    return summary_row(variable, group, "share", events=events, n=n, missing=missing, estimate=share, **more)


def summary_table(rows: list[dict], groups: Grouping) -> pd.DataFrame:
    """The rows as a table with the columns of Summary, the groups in order with empty ones kept."""
    table = pd.DataFrame(rows, columns=list(Summary.columns))
    for name in ("events", "n", "missing", "patients"):
        table[name] = table[name].astype("Int64")
    for name in ("estimate", "low", "high"):
        table[name] = table[name].astype("float64")
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    return table


ALIKE = "there is one patient only, or all are alike in it"
BAND = "there is one patient only, all are alike in it, or the band does not pass one half"


def estimate_row(measure: str, variable: str, *, unit: str, of: str, n: int, estimate: float, **more) -> dict:
    """One row; `group`, `events`, `low` and `high` are blank where they are not given."""
    blank = {"group": ALL, "events": pd.NA, "low": np.nan, "high": np.nan}
    given = blank | more
    return {
        "measure": measure,
        "variable": variable,
        "group": given["group"],
        "unit": unit,
        "of": of,
        "events": given["events"],
        "n": n,
        "estimate": estimate,
        "low": given["low"],
        "high": given["high"],
    }


def estimate_table(rows: list[dict], *, groups: Iterable[str] = (ALL,)) -> pd.DataFrame:
    """The rows as a table with the columns of Estimates: measures and variables in their order, all groups kept."""
    table = pd.DataFrame(rows, columns=list(Estimates.columns))
    for name in ("events", "n"):
        table[name] = table[name].astype("Int64")
    for name in ("estimate", "low", "high"):
        table[name] = table[name].astype("float64")
    orders = {name: dict.fromkeys(table[name]) for name in ("measure", "variable")} | {"group": groups}
    for name, order in orders.items():
        table[name] = pd.Categorical(table[name], categories=list(order), ordered=True)
    return table


def without_limits(table: pd.DataFrame, why: str = ALIKE, *, named_by: str = "variable") -> tuple[Note, ...]:
    """A note on the figures that have an estimate and no limit on either side, by their `named_by` and group."""
    bare = table[table["estimate"].notna() & table["low"].isna() & table["high"].isna()]
    if bare.empty:
        return ()
    listed = "; ".join(
        f"{name} ({', '.join(rows['group'].astype(str))})" for name, rows in bare.groupby(named_by, observed=True)
    )
    return (Note(code="NO_LIMITS", text=f"No limits for {listed}: {why}."),)
