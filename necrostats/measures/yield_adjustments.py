"""What was known before a session and may go with both the choice of instrument and the yield."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.errors import DesignError, unknown_choice
from necrostats.measures.credited_yields import Debridements
from necrostats.measures.grouping import DERIVED, KNOWN_AT_THE_START, patient_groups, session_groups
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import Registry

USUAL = ("session number", "texture", "solid fraction", "volume")
_BEFORE_THE_SESSION = ("texture", "planned", "anaesthesia", "carbon_dioxide")
_OF_THE_PATIENT = tuple(name for name in (*KNOWN_AT_THE_START, *DERIVED) if name != "index_period")
ADJUSTMENTS = (*USUAL, "calendar time", "operator", *_BEFORE_THE_SESSION[1:], *_OF_THE_PATIENT)
GROUPS = (*_BEFORE_THE_SESSION, *_OF_THE_PATIENT)
_SYNONYMS = {
    "number": "session number",
    "session_number": "session number",
    "solid_fraction": "solid fraction",
    "solid_percent": "solid fraction",
    "volume_ml": "volume",
    "calendar_time": "calendar time",
    "period": "calendar time",
}
_LATER = {
    name
    for table in ("sessions", "instrument_uses", "adverse_events", "scans", "reviews", "stents")
    for name in TABLES[table].names
}
NUMBER_BANDS = ("1", "2", "3", "4", "5 and later")
VOLUME_EDGES = (250.0, 500.0, 1000.0)  # common practice, no source
VOLUME_BANDS = ("below 250 ml", "250–499 ml", "500–999 ml", "1,000 ml and more")
SOLID_BANDS = ("up to 30 %", "31–60 %", "above 60 %")
BANDED = ("session number", "texture", "solid fraction", "volume")


@dataclass(frozen=True, kw_only=True, eq=False)
class Covariate:
    """One adjustment: its columns for a model (n, k), NaN where not known, and how it enters.

    `later`: values that were recorded only after the session, which are taken as not known.
    """

    name: str
    columns: np.ndarray
    enters: str
    later: int = 0

    @property
    def known(self) -> np.ndarray:
        """Where it is known (n,)."""
        return ~np.isnan(self.columns).any(axis=1)


def adjustment_names(adjust: Sequence[str] | str) -> tuple[str, ...]:
    """The names in their order; DesignError for what is recorded after the session, ChoiceError for the unknown."""
    asked = (adjust,) if isinstance(adjust, str) else tuple(adjust)
    return tuple(dict.fromkeys(_checked(name, ADJUSTMENTS, "adjustment") for name in asked))


def group_name(by: str) -> str:
    """A grouping known before the session; DesignError or ChoiceError as for an adjustment."""
    return _checked(by, GROUPS, "grouping of yields")


def _checked(name: str, choices: Sequence[str], what: str) -> str:
    plain = _SYNONYMS.get(name, name)
    if plain in choices:
        return plain
    if plain in _LATER and plain not in ADJUSTMENTS:
        raise DesignError(
            f'"{name}" is not used as an {what}: it is recorded during or after the session, so it may follow from '
            f"the yield instead of going before it. Choose from what is known before: {', '.join(choices)}."
            if what == "adjustment"
            else f'"{name}" does not group yields: it is recorded during or after the session. '
            f"Choose from what is known before: {', '.join(choices)}."
        )
    raise unknown_choice(what, name, choices)


def covariates(registry: Registry, found: Debridements, names: Sequence[str]) -> tuple[Covariate, ...]:
    """The adjustments by these names, for every debridement."""
    return tuple(_covariate(registry, found, name) for name in names)


def _covariate(registry: Registry, found: Debridements, name: str) -> Covariate:
    if name == "session number":
        return _number(name, found.number - 1.0, "a straight line on the log scale")
    if name in ("solid fraction", "volume"):
        values, later = before_the_session(registry, found, name)
        with np.errstate(divide="ignore", invalid="ignore"):
            scaled = values / 10 if name == "solid fraction" else np.where(values > 0, np.log(values), np.nan)
        how = "a straight line per 10 %" if name == "solid fraction" else "the logarithm of the volume"
        return _number(name, scaled, how, later)
    if name == "calendar time":
        codes = registry.sessions["period"].cat.codes.to_numpy()[found.session].astype(float)
        return _number(name, np.where(codes < 0, np.nan, codes / 4), "a straight line over the quarters")
    codes, _ = _codes(registry, found, name)
    return Covariate(name=name, columns=_indicators(codes), enters="one term for each level")


def _number(name: str, values: np.ndarray, enters: str, later: int = 0) -> Covariate:
    return Covariate(name=name, columns=values[:, None], enters=enters, later=later)


def _codes(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """The level of each debridement, -1 = not known, and the labels."""
    if name == "operator":
        labels = registry.sessions["operator"].astype("string").astype(object)
        codes, names = pd.factorize(labels.where(labels != "", None), sort=True)
        return codes[found.session].astype(np.int64), tuple(f"operator {i + 1}" for i in range(len(names)))
    if name in _BEFORE_THE_SESSION:
        groups = session_groups(registry, name)
        return groups.codes[found.session], groups.labels
    groups = patient_groups(registry, name)
    return groups.codes[found.patient], groups.labels


def _indicators(codes: np.ndarray) -> np.ndarray:
    """Indicators of all levels but the commonest; NaN where there is none."""
    counts = np.bincount(codes[codes >= 0], minlength=1)
    levels = [place for place in np.flatnonzero(counts) if place != counts.argmax()]
    columns = (codes[:, None] == np.array(levels, dtype=np.int64)).astype(float)
    if not levels:
        columns = np.zeros((codes.size, 1))
    columns[codes < 0] = np.nan
    return columns


def before_the_session(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, int]:
    """Solid per cent or volume of the collection treated, by its baseline scan (n,); how many were recorded too late.

    The patient's index collection where the session names none. A baseline scan after the session's day tells nothing
    about it beforehand.
    """
    column = {"solid fraction": "solid_percent", "volume": "volume_ml"}[name]
    collections = registry.collections
    which = registry.position("sessions", "collections")[found.session].astype(np.int64)
    index = np.full(len(registry.patients), -1, dtype=np.int64)
    marked = np.flatnonzero(collections["is_index"].fillna(False).to_numpy(dtype=bool))
    index[registry.position("collections")[marked]] = marked
    which = np.where(which >= 0, which, index[found.patient])
    value, scanned = (
        np.append(collections[each].to_numpy(dtype=float, na_value=np.nan), np.nan)[which]
        for each in (column, "baseline_scan_day")
    )
    day = registry.sessions["day"].to_numpy(dtype=float, na_value=np.nan)[found.session]
    late = (scanned > day) & ~np.isnan(value)
    return np.where(late, np.nan, value), int(np.count_nonzero(late))


def banded(registry: Registry, found: Debridements, name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """The level of each debridement by which classes must meet to be compared, -1 = not known, and the labels."""
    if name == "session number":
        return np.minimum(found.number, len(NUMBER_BANDS)) - 1, NUMBER_BANDS
    if name in ("solid fraction", "volume"):
        values, _ = before_the_session(registry, found, name)
        edges, labels = (
            ((30.0 + 1e-9, 60.0 + 1e-9), SOLID_BANDS) if name == "solid fraction" else (VOLUME_EDGES, VOLUME_BANDS)
        )
        return np.where(np.isnan(values), -1, np.digitize(values, edges)), labels
    if name == "calendar time":
        periods = registry.sessions["period"]
        return periods.cat.codes.to_numpy()[found.session].astype(np.int64), tuple(map(str, periods.cat.categories))
    return _codes(registry, found, name)
